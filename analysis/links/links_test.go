package links

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/before"
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func some(v float64) *float64 { return &v }

var jam = schemas.Jam{Stage: "lift", StartS: 50, EndS: 58}

func sagged(v, speed float64, lower, slower int) before.Facts {
	return before.Facts{LowestV: v, UsualV: 11, Speed: speed, Lower: lower, Slower: slower, OfSupply: 10, OfSpeed: 10, From: 49_500_000, To: 50_000_000}
}

// A d.c. motor's no-load speed is proportional to its voltage (common practice), so a sag
// explains the part of the speed that it took of the voltage, and no more.
func TestASagThatSlowedTheRoller(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name  string
		facts before.Facts
		want  bool
	}{
		{"both down by a quarter", sagged(8.25, 0.75, 10, 10), true},
		{"roller as usual", sagged(8.25, 1, 10, 5), false},
		{"supply as usual", sagged(10.9, 0.7, 6, 10), false},
		{"roller far slower than the sag explains", sagged(9.35, 0.5, 10, 10), false},
		{"good passes had that too", sagged(8.25, 0.75, 6, 10), false},
		{"no voltage logged", sagged(nan, 0.75, 0, 10), false},
		{"no speed logged", sagged(8.25, nan, 10, 0), false},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := Find(Input{Jams: []schemas.Jam{jam}, Facts: []before.Facts{c.facts}}, DefaultConfig())[0]
			if !c.want {
				assert.Empty(t, got)
				return
			}
			require.Len(t, got, 1)
			assert.Equal(t, "cause", got[0].Role)
			assert.Equal(t, "Just before, the supply fell to 8.2 V (usual there 11.0 V) and the roller turned at 75 % of its usual speed.", got[0].Text)
		})
	}
	in := Input{Jams: []schemas.Jam{jam}, Facts: []before.Facts{sagged(6, 0.6, 10, 10)}, Brownouts: []schemas.Brownout{{StartS: 20, EndS: some(21)}, {StartS: 49.6, EndS: some(49.7)}}}
	assert.Equal(t, "brownouts[1]", Find(in, DefaultConfig())[0][0].To)
}

func TestACycleTheJamMadeSlow(t *testing.T) {
	why, other := "jam", "collect"
	in := Input{Jams: []schemas.Jam{jam}, Facts: []before.Facts{sagged(11, 1, 0, 0)}, Usual: schemas.Usual{CycleS: some(11.5)}, Cycles: []schemas.Cycle{
		{Kind: "score", Period: "driver", StartS: 30, EndS: 45, DurationS: 15, Complete: true, Slow: true, Why: &why},
		{Kind: "handover", StartS: 45, EndS: 48, DurationS: 3, Complete: true},
		{Kind: "score", Period: "driver", StartS: 45, EndS: 70, DurationS: 25, Complete: true, Slow: true, Why: &why},
		{Kind: "score", Period: "driver", StartS: 57, EndS: 80, DurationS: 23, Complete: true, Slow: true, Why: &other},
	}}
	got := Find(in, DefaultConfig())[0]
	require.Len(t, got, 1)
	assert.Equal(t, "cycles[2]", got[0].To)
	assert.Equal(t, "It made cycle 2 slow: 25.0 s where 11.5 s is usual.", got[0].Text)
}

func TestADipWithinTheJam(t *testing.T) {
	at := []int64{50_000_000, 51_000_000, 51_100_000, 51_200_000}
	in := Input{
		Jams: []schemas.Jam{jam}, Facts: []before.Facts{sagged(11, 1, 0, 0)}, StartS: 10,
		Stages: []path.Stage{{Name: "lift", Current: &series.Float{T: at, V: []float64{5, 60, 60, 60}}, Command: &series.Float{T: at[:1], V: []float64{0.8}}}},
		Brownouts: []schemas.Brownout{
			{StartS: 51, EndS: some(51.2), CurrentA: some(160)},
			{StartS: 51, EndS: some(51.2), CurrentA: some(500)}, // of which it drew a tenth
			{StartS: 51, EndS: some(51.2)},                      // nobody knows how much
			{StartS: 70, EndS: some(71), CurrentA: some(160)},   // after the jam
		},
	}
	got := Find(in, DefaultConfig())[0]
	require.Len(t, got, 1)
	assert.Equal(t, "brownouts[0]", got[0].To)
	assert.Equal(t, "The brownout at 41.0 s fell into it: its roller drew 48 of 160 A.", got[0].Text)
}
