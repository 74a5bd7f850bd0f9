package standby

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// branch reads f(seconds) at 50 Hz for 10 s.
func branch(f func(s float64) float64) []Branch {
	c := &series.Float{Name: "power/branch/3"}
	for i := range 500 {
		c.T, c.V = append(c.T, int64(i)*20_000), append(c.V, f(float64(i)/50))
	}
	return []Branch{{Name: "lift", Current: c}}
}

var disabled = []series.Interval{{Start: 0, End: 10e6}}

func TestDrawsThatCount(t *testing.T) {
	limit := DefaultConfig().Amps
	for _, c := range []struct {
		name string
		f    func(s float64) float64
		want int
	}{
		{"electronics", func(float64) float64 { return 0.6 }, 0},
		{"at the limit", func(float64) float64 { return limit }, 0},
		{"just above it", func(float64) float64 { return math.Nextafter(limit, 9) }, 1},
		{"a motor that coasts", func(s float64) float64 { return 30 * math.Exp(-s*8) }, 0},
		{"spikes on electronics", func(s float64) float64 { return 0.6 + 20*math.Floor(math.Mod(s*5, 1)+0.1) }, 0},
	} {
		t.Run(c.name, func(t *testing.T) {
			assert.Len(t, Detect(Input{branch(c.f), disabled}, DefaultConfig()), c.want)
		})
	}
}

func TestWhereAndHowMuch(t *testing.T) {
	got := Detect(Input{branch(func(float64) float64 { return 7 }), disabled}, DefaultConfig())
	require.Len(t, got, 1)
	assert.Equal(t, "lift", got[0].Branch)
	assert.Equal(t, [3]float64{1, 10, 7}, [3]float64{got[0].StartS, got[0].EndS, got[0].MedianA})
}

func TestShortPausesAndNoReadingsAreLeftOut(t *testing.T) {
	stuck := branch(func(float64) float64 { return 7 })
	assert.Empty(t, Detect(Input{stuck, []series.Interval{{Start: 0, End: 2_999_999}}}, DefaultConfig()))
	assert.Empty(t, Detect(Input{stuck, nil}, DefaultConfig()), "a robot that was never disabled")
	assert.Empty(t, Detect(Input{stuck, []series.Interval{{Start: 20e6, End: 40e6}}}, DefaultConfig()), "no samples there")
}
