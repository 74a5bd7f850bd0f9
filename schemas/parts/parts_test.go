package parts

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestParseAsATeamWritesIt(t *testing.T) {
	zone := time.FixedZone("here", 2*3600)
	entries, problems := Parse([]byte("\ufeff# Parts log of heron\n\n"+
		"2031-04-05  battery  B5 bought\r\n"+
		"2031-03-22 09:30\tgains\tpeel gains 0.8 to 0.5\n"+
		"2031-03-22T08:00 driver someone else\n"+
		"  2031-03-01 part   wider mouth  \n"+
		"2031-03-01 part second of the day\n"+
		"tomorrow part nothing\n2031-02-30 part no such day\n2031-03-02 colour blue\n2031-03-03 part\n"), zone)
	var said []string
	for _, e := range entries {
		said = append(said, e.String())
	}
	require.Equal(t, []string{
		"2031-03-01        part     wider mouth",
		"2031-03-01        part     second of the day",
		"2031-03-22 08:00  driver   someone else",
		"2031-03-22 09:30  gains    peel gains 0.8 to 0.5",
		"2031-04-05        battery  B5 bought",
	}, said)
	require.Equal(t, 6, entries[0].Line)
	require.True(t, time.Date(2031, 3, 22, 7, 30, 0, 0, time.UTC).Equal(entries[3].At))
	require.Len(t, problems, 4)
	require.Equal(t, `line 8, "tomorrow part nothing": "tomorrow" is no day such as 2031-03-22`, problems[0].Error())
	require.ErrorContains(t, problems[1], `"2031-02-30" is no day`)
	require.ErrorContains(t, problems[2], `"colour" is no kind of entry: part, gains`)
	require.ErrorContains(t, problems[3], "says what was changed")
}

func TestWhatIsWrittenIsReadAgain(t *testing.T) {
	words := rapid.Map(rapid.StringMatching(`[^\x00-\x1f\x7f]{1,40}`), strings.TrimSpace).Filter(func(s string) bool { return s != "" })
	rapid.Check(t, func(t *rapid.T) {
		e := Entry{
			At:   time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(rapid.IntRange(0, 500_000).Draw(t, "minutes")) * time.Minute),
			Kind: rapid.SampledFrom(Kinds).Draw(t, "kind"), Text: words.Draw(t, "text"),
		}
		if e.Day = rapid.Bool().Draw(t, "day"); e.Day {
			e.At = e.At.Truncate(24 * time.Hour)
		}
		require.NoError(t, e.Check())
		got, problems := Parse([]byte(e.String()+"\n"), time.UTC)
		require.Empty(t, problems)
		e.Line = 1
		require.Equal(t, []Entry{e}, got)
	})
}

func TestLetters(t *testing.T) {
	for i, want := range map[int]string{0: "a", 25: "z", 26: "aa", 27: "ab", 51: "az", 52: "ba", 701: "zz", 702: "aaa"} {
		require.Equal(t, want, Letter(i))
	}
}

func TestCheckRefuses(t *testing.T) {
	good := Entry{At: time.Date(2031, 3, 1, 0, 0, 0, 0, time.UTC), Kind: "part", Text: "belt"}
	require.NoError(t, good.Check())
	for want, change := range map[string]func(*Entry){
		"one line of text": func(e *Entry) { e.Text = "a\nb" },
		"200 are the most": func(e *Entry) { e.Text = strings.Repeat("x", 201) },
		"no day":           func(e *Entry) { e.At = time.Time{} },
	} {
		e := good
		change(&e)
		require.ErrorContains(t, e.Check(), want)
	}
}
