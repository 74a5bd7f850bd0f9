package jsonlog

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// What is written is read back the same, and written again it is the same bytes. Every line is
// a JSON object to encoding/json, which had no part in writing.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := anylog.Any.Draw(t, "log")
		text := write(t, log)
		for line := range strings.Lines(text) {
			var row struct {
				Time   json.Number `json:"time_s"`
				Signal string
				Value  any
			}
			require.NoError(t, json.Unmarshal([]byte(line), &row), line)
			require.NotNil(t, row.Value)
		}
		in, err := readAll(columns.Options{}, text)
		require.NoError(t, err)
		require.False(t, in.Twice)
		require.Equal(t, anylog.Describe(log), anylog.Describe(in.Log))
		require.Equal(t, text, write(t, in.Log))
	})
}

func TestWriteLong(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: `say "a"`, Kind: schemas.Text, Time: []int64{0}, Boot: []int32{2}, Text: []string{"<\n>"}},
		{Name: "n", Kind: schemas.Int64, Time: []int64{-1, 1}, Int: []int64{1 << 53, 1<<53 + 1}},
		{Name: "ok", Kind: schemas.Bool, Time: []int64{1_500_000}, Bool: []bool{true}},
		{Name: "v", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{5, math.NaN()}},
	}}
	assert.Equal(t, `{"time_s":0,"signal":"say \"a\"","value":"<\n>","boot":2,"type":"text"}`+"\n"+
		`{"time_s":-0.000001,"signal":"n","value":9007199254740992,"type":"int64"}`+"\n"+
		`{"time_s":0.000001,"signal":"n","value":"9007199254740993","type":"int64"}`+"\n"+
		`{"time_s":1.5,"signal":"ok","value":true}`+"\n"+
		`{"time_s":0.000001,"signal":"v [V]","value":5}`+"\n"+
		`{"time_s":0.000002,"signal":"v [V]","value":"nan"}`+"\n", write(t, log))

	log.Signals[0].Text[0] = "\xfe"
	var b bytes.Buffer
	assert.EqualError(t, WriteLong(&b, log), `signal say "a" at 0 s: the text "\xfe" is not UTF-8 and cannot be written as JSON lines`)
	log.Signals[0].Text[0], log.Signals[0].Name = "", "a [V]"
	assert.EqualError(t, WriteLong(&b, log), `signal "a [V]" with unit "" cannot be written as JSON lines: rename it`)
	assert.Zero(t, b.Len())
	log.Signals = log.Signals[1:]
	assert.EqualError(t, WriteLong(full{}, log), "write JSON lines: disk full")
}

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

var _ io.Writer = full{}

// bothWays reads text the usual and the general way, which must agree.
func bothWays(t require.TestingT, text string, o columns.Options) (imported, error) {
	in, err := readWay(true, o, text)
	general, generalErr := readWay(false, o, text)
	require.Equal(t, fmt.Sprint(generalErr), fmt.Sprint(err), text)
	if err != nil {
		return in, err
	}
	require.Equal(t, anylog.DescribeBits(general.Log), anylog.DescribeBits(in.Log), text)
	require.Equal(t, general.First, in.First)
	require.Equal(t, general.Bad, in.Bad)
	require.Equal(t, general.Ignored, in.Ignored)
	require.Equal(t, general.Twice, in.Twice)
	return in, nil
}

var piece = rapid.OneOf(
	rapid.SampledFrom([]string{
		"1", "-1", "0", "-0", "0.5", "2.50", "1e3", "1E-7", "1e400", "01", "1.", ".5", "+1", "9007199254740993", "12345678901234567890",
		"9223372036854775808", "true", "false", "null", `"nan"`, `"-Inf"`, `"on"`, `""`, `"12"`, `"\u006fn"`, `"\ud800"`, "[1]", "{}", "NaN", "\"\x01\"", "\"\xff\"",
	}),
	rapid.Map(rapid.Float64(), func(f float64) string { return fmt.Sprint(f) }),
)

// Lines of any members in any order: long, wide, broken.
var anyLine = rapid.Custom(func(t *rapid.T) string {
	var b strings.Builder
	b.WriteString(rapid.SampledFrom([]string{"{", "{", "{", " { ", "[", ""}).Draw(t, "open"))
	for i := range rapid.IntRange(0, 5).Draw(t, "members") {
		if i > 0 {
			b.WriteString(rapid.SampledFrom([]string{",", ",", ",", " ,\t", "", ",,"}).Draw(t, "comma"))
		}
		key := rapid.SampledFrom([]string{"time_s", "time_s", "time_s", "time_us", "signal", "signal", "value", "value", "value_int", "value_bool", "value_text", "type", "boot", "a", "b [V]", "b [mV]", `\u0061`, ""}).Draw(t, "key")
		value := piece.Draw(t, "value")
		switch key {
		case "time_s", "time_us", "boot":
			value = rapid.SampledFrom([]string{"1", "2", "1.0000004", "-3", "1e-7", value}).Draw(t, "number")
		case "signal":
			value = rapid.SampledFrom([]string{`"a"`, `"b [V]"`, `"c"`, value}).Draw(t, "name")
		case "type":
			value = rapid.SampledFrom([]string{`"float64"`, `"int64"`, `"bool"`, `"text"`, value}).Draw(t, "type")
		}
		fmt.Fprintf(&b, `"%s"%s%s`, key, rapid.SampledFrom([]string{":", ":", ":", " : ", ""}).Draw(t, "colon"), value)
	}
	b.WriteString(rapid.SampledFrom([]string{"}", "}", "}", "} ", "", "}}", "} x"}).Draw(t, "close"))
	return b.String() + rapid.SampledFrom([]string{"\n", "\r\n", "\n\n"}).Draw(t, "end")
})

func TestBothWaysAreOne(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		text := strings.Join(rapid.SliceOfN(anyLine, 1, 8).Draw(t, "lines"), "")
		_, _ = bothWays(t, text, columns.Options{})
		_, _ = bothWays(t, text, columns.Options{SkipBadRows: true})
	})
}

// Lines that are alike but for their values, as programs write them, go the shortest way; with
// values of all sorts, it must come to the same.
func TestBothWaysAreOneForLinesAlike(t *testing.T) {
	templates := []string{
		`{"time_s":%s,"signal":%s,"value":%s}`, `{"time_s":%[1]s,"signal":%[2]s,"value":%[3]s,"type":%[4]s}`, `{ "signal" : %[2]s, "value" : %[3]s, "time_us" : %[1]s }`,
		`{"type":%[4]s,"time_s":%[1]s,"value":%[3]s,"value":%[3]s,"signal":%[2]s}`, `{"time_s":%[1]s,"time_s":%[1]s,"signal":%[2]s,"signal":%[2]s,"value":%[3]s}`,
	}
	rapid.Check(t, func(t *rapid.T) {
		two := rapid.SliceOfN(rapid.SampledFrom(templates), 1, 3).Draw(t, "templates")
		var text strings.Builder
		for range rapid.IntRange(2, 15).Draw(t, "lines") {
			template := rapid.SampledFrom(two).Draw(t, "template")
			line := fmt.Sprintf(template+"%[5]s\n",
				rapid.SampledFrom([]string{"1", "2", "3", "-1", "1.5", "01", "1e1", "null", `"1"`, "9e12", "9000000000000000001"}).Draw(t, "time"),
				rapid.SampledFrom([]string{`"a"`, `"a"`, `"b [V]"`, `"b [mV]"`, `"c\\d"`, `"c\d"`, `"e, f"`, `""`, "1", "\"\xff\""}).Draw(t, "signal"),
				piece.Draw(t, "value"),
				rapid.SampledFrom([]string{`"float64"`, `"int64"`, `"text"`, `"bool"`, `"double"`, "null", "1"}).Draw(t, "type"),
				rapid.SampledFrom([]string{"", "", "", "", " ", "}"}).Draw(t, "behind"))
			text.WriteString(strings.ReplaceAll(line, "%!(EXTRA", "%"))
		}
		_, _ = bothWays(t, text.String(), columns.Options{})
		_, _ = bothWays(t, text.String(), columns.Options{SkipBadRows: true})
	})
}

// Order on input never changes a result, as long as no time of a signal comes twice.
func TestOrderOfLinesChangesNothing(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := 0
		lines := rapid.SliceOfN(rapid.Custom(func(t *rapid.T) string {
			n++
			value := rapid.SampledFrom([]string{"1", "2.5", `"nan"`, `"on"`, `"7"`, "true", `7,"type":"int64"`, `"x","type":"text"`, `null,"value_int":3`}).Draw(t, "value")
			return fmt.Sprintf(`{"time_s":%d,"signal":"%s","value":%s}`+"\n", n, rapid.SampledFrom([]string{"a", "b", "b [V]", "b [mV]"}).Draw(t, "name"), value)
		}), 1, 10).Draw(t, "lines")
		want, err := readAll(columns.Options{SkipBadRows: true}, strings.Join(lines, ""))
		require.NoError(t, err)
		mixed := rapid.Permutation(lines).Draw(t, "mixed")
		got, err := readAll(columns.Options{SkipBadRows: true}, strings.Join(mixed, ""))
		require.NoError(t, err)
		require.Equal(t, anylog.Describe(want.Log), anylog.Describe(got.Log))
		require.Equal(t, want.Bad, got.Bad)
	})
}

func FuzzRead(f *testing.F) {
	for _, text := range []string{
		line("11.9"), line(`"nan"`), line("1e400"), `{"time_us":5,"a":1,"b [V]":"x"}`, "{}", "[1,]", "\ufeff{\"time_s\":1,\"a\":1}\r\n\r\n", `{"time_s":1,"a":1,"a":null}`,
		`{"time_s":1,"signal":"a","value_int":"9223372036854775807","type":"int64","boot":3}`, `{"time_s":1,"signal":"\ud800","value":{"a":[]}}`, "\x00",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) {
		if _, err := bothWays(t, text, columns.Options{}); err != nil {
			checkError(t, err)
		}
		in, err := bothWays(t, text, columns.Options{SkipBadRows: true})
		if err != nil {
			checkError(t, err)
			return
		}
		previous := ""
		for _, s := range in.Log.Signals {
			require.Less(t, previous, s.Name)
			require.True(t, utf8.ValidString(s.Name))
			previous = s.Name
		}
		if in.Log.Samples() > 0 {
			again, err := readAll(columns.Options{}, write(t, in.Log))
			require.NoError(t, err)
			require.Equal(t, anylog.Describe(in.Log), anylog.Describe(again.Log))
		}
	})
}

func checkError(t *testing.T, err error) {
	var row *columns.BadRow
	require.ErrorAs(t, err, &row)
	require.Positive(t, row.Line)
	require.NotContains(t, err.Error(), "\n")
}
