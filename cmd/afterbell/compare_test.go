package main

import (
	"encoding/json"
	"os"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func compared(t *testing.T, args ...string) schemas.Comparison {
	t.Helper()
	o := done(t, afterbell(append([]string{"analyze", "--json"}, args...)...))
	var c schemas.Comparison
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &c))
	return c
}

// The jammed pass leaves the band where it jams: the truth beside the log says where and when.
func TestTheJammedPassLeavesTheBand(t *testing.T) {
	text, err := os.ReadFile(sample("jam-stuck.truth.json"))
	require.NoError(t, err)
	var truth schemas.Report
	require.NoError(t, json.Unmarshal(text, &truth))
	require.Len(t, truth.Jams, 1)
	jam := truth.Jams[0]

	args := []string{sample("jam-stuck.csv.zst"), "--profile", sample("heron.yaml")}
	r := analyzed(t, args...)
	require.Len(t, r.Jams, 1)
	c := compared(t, append(args, "--compare", "8")...)
	assert.Equal(t, 8, *r.Jams[0].Piece)
	assert.Equal(t, "throat", c.Stage, "the last beam before the "+jam.Stage)
	require.GreaterOrEqual(t, len(c.Passes), 5)
	left := map[string]schemas.Leave{}
	for _, s := range c.Signals {
		require.Len(t, s.Value, len(c.TimeS))
		require.Len(t, s.Count, len(c.TimeS))
		for _, l := range s.Leaves {
			if _, ok := left[s.Stage+" "+s.Role]; !ok && c.EnterS+l.EndS > jam.StartS {
				left[s.Stage+" "+s.Role] = l
			}
		}
	}
	slow, ok := left[jam.Stage+" speed"]
	require.True(t, ok, "the roller that stands: %v", left)
	assert.Equal(t, "below", slow.Side)
	assert.InDelta(t, jam.StartS, c.EnterS+slow.StartS, 0.3)
	draws, ok := left[jam.Stage+" current"]
	require.True(t, ok)
	assert.Equal(t, "above", draws.Side)
	assert.InDelta(t, jam.StartS, c.EnterS+draws.StartS, 0.5)
	assert.Greater(t, draws.By, 10.0, "a stalled motor draws several times its usual current")

	plain := done(t, afterbell(append([]string{"analyze", "--compare", "8"}, args...)...))
	assert.Contains(t, plain.stdout, "piece 8 against 7 good passes")
	assert.Contains(t, plain.stdout, "path/lift/speed below the band by up to")
}

// A good pass keeps to the band of the others for the most part: 8 in 10 of the values of
// each good pass lie in it by the band's own making, less for so few passes.
func TestAGoodPassKeepsToTheBand(t *testing.T) {
	args := []string{sample("clean.csv.gz"), "--profile", sample("heron.yaml"), "--compare", "6"}
	c := compared(t, append(args, "--at", "mouth")...)
	assert.Equal(t, "mouth", c.Stage)
	for _, s := range c.Signals {
		if s.Role != "speed" {
			continue
		}
		out := 0.0
		for _, l := range s.Leaves {
			out += l.EndS - l.StartS
		}
		whole := c.TimeS[len(c.TimeS)-1] - c.TimeS[0]
		assert.Less(t, out, 0.4*whole, s.Signal)
	}
}

// A stored match is held against its robot's earlier matches too.
func TestCompareWithEarlierMatches(t *testing.T) {
	data := dataFolder(t)
	for _, m := range []struct{ log, match, at string }{
		{"clean.csv.gz", "q3", "2031-03-01T10:00:00Z"}, {"jam-stuck.csv.zst", "q14", "2031-03-01T14:32:00Z"},
	} {
		done(t, afterbell("import", sample(m.log), "--profile", sample("heron.yaml"), "--data", data,
			"--season", "2031", "--event", "millbrook-open", "--match", m.match, "--at", m.at))
	}
	c := compared(t, "q14", "--data", data, "--compare", "8")
	from := map[string]int{}
	for _, p := range c.Passes {
		from[p.Match]++
	}
	assert.Greater(t, from["2031/millbrook-open/q3"], 5)
	assert.Greater(t, from[""], 3)
	assert.Len(t, from, 2)
}

func TestCompareWhatCannotBe(t *testing.T) {
	heron := []string{"analyze", sample("jam-stuck.csv.zst"), "--profile", sample("heron.yaml"), "--json"}
	for _, c := range []struct{ args, says []string }{
		{[]string{"--compare", "99"}, []string{"--compare: no piece 99: the match has 1 to 8"}},
		{[]string{"--compare", "first"}, []string{`--compare "first" is not the number of a piece`}},
		{[]string{"--compare", "8", "--at", "lift"}, []string{`piece 8 was not seen to come to stage "lift"`, "use mouth, throat"}},
		{[]string{"--at", "lift"}, []string{"--at names where --compare aligns", "give --compare PIECE too"}},
		{[]string{"--compare", "8", "--explain", "jam-lift-1"}, []string{"--explain and --compare exclude each other"}},
	} {
		failed(t, afterbell(append(heron[:len(heron):len(heron)], c.args...)...), exitUsage, c.says...)
	}
}
