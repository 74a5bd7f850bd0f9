package wire

import (
	"bytes"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// example is a block of schemas/live.md, by who says it.
type example struct{ form, who, text string }

func examples(t *testing.T) (all []example, document string) {
	t.Helper()
	data, err := os.ReadFile("../../schemas/live.md")
	require.NoError(t, err)
	for _, m := range regexp.MustCompile("(?ms)^```(json|hex) (robot|collector)\n(.*?)^```$").FindAllStringSubmatch(string(data), -1) {
		all = append(all, example{m[1], m[2], strings.TrimSpace(m[3])})
	}
	return all, string(data)
}

// The examples are one conversation. Each is read by what reads it in earnest, and every key
// in it is one that is known.
func TestExamplesOfTheDocument(t *testing.T) {
	all, _ := examples(t)
	require.Len(t, all, 14)
	r := Reader{Names: &Names{}}
	var numbers []uint32
	seen := map[string]int{}
	for _, e := range all {
		if e.form == "hex" {
			data, err := hex.DecodeString(strings.Join(strings.Fields(e.text), ""))
			require.NoError(t, err)
			b, f := r.Record(data, numbers)
			require.Nil(t, f)
			require.EqualValues(t, 42, b.Seq)
			require.Equal(t, [][3]any{
				{"power/voltage", int64(1250000), 11.9},
				{"game/score", int64(1250000), int64(3)},
				{"path/mouth/beam", int64(1251000), true},
				{"robot/mode", int64(1252000), "driver"},
			}, readable(b, r.Names))
			seen["binary"]++
			continue
		}
		what, f := r.Type([]byte(e.text))
		require.Nil(t, f, e.text)
		seen[e.who+" "+what]++
		if what == "batch" {
			b, f := r.Batch([]byte(e.text))
			require.Nil(t, f, e.text)
			if b.Len() > 0 {
				require.True(t, math.IsNaN(readable(b, r.Names)[3][2].(float64)))
			}
			continue
		}
		m := map[string]any{
			"hello": &Hello{}, "welcome": &Welcome{}, "ack": &Ack{}, "clock": &Clock{}, "signals": &Signals{}, "error": &Error{}, "match": &Match{},
		}[what]
		if e.who == "collector" && what == "match" {
			m = &MatchState{}
		}
		require.NotNil(t, m, e.text)
		d := json.NewDecoder(bytes.NewReader([]byte(e.text)))
		d.DisallowUnknownFields()
		require.NoError(t, d.Decode(m), e.text)
		require.JSONEq(t, e.text, string(Encode(m)), "no field is missing")
		if s, ok := m.(*Signals); ok {
			for i, name := range s.Names {
				kind, ok := schemas.ParseKind(s.Types[i])
				require.True(t, ok)
				number, f := r.Names.Add(name, kind, MaxSignals)
				require.Nil(t, f)
				numbers = append(numbers, number)
			}
		}
	}
	require.Equal(t, map[string]int{
		"robot hello": 1, "collector welcome": 1, "robot batch": 2, "collector ack": 1, "robot signals": 1, "binary": 1,
		"robot clock": 2, "collector clock": 1, "robot match": 2, "collector match": 1, "collector error": 1,
	}, seen)
}

// What the document says of limits and codes is what the code has.
func TestNumbersOfTheDocument(t *testing.T) {
	_, text := examples(t)
	require.Contains(t, text, "`"+Path+"`")
	require.Contains(t, text, "`"+Subprotocol+"`")
	require.Contains(t, text, fmt.Sprintf("up to %d bytes", schemas.MaxSignalName))
	require.Contains(t, text, fmt.Sprintf("%d KiB", MaxText>>10))
	require.Contains(t, text, fmt.Sprintf("%d %03d signals", MaxSignals/1000, MaxSignals%1000))
	for _, c := range []Code{Gap, BadMessage, BadName, TooLarge, TooMany, Storage, NoHello} {
		require.Contains(t, text, "| `"+string(c)+"` |")
	}
	for _, f := range RecordSchema().Fields() {
		require.Contains(t, text, "| `"+f.Name+"` | "+f.Type.Name())
	}
}
