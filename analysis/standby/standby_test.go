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

// A computer, a radio and lights draw 3 to 4 A without a break. Common practice.
func TestElectronicsDrawTheSameEnabledOrNot(t *testing.T) {
	matchOf := func(f func(s float64) float64) []Branch {
		c := &series.Float{Name: "power/branch/7"}
		for i := range 60 * 50 {
			c.T, c.V = append(c.T, int64(i)*20_000), append(c.V, f(float64(i)/50))
		}
		return []Branch{{Name: "controls", Current: c}}
	}
	before := []series.Interval{{Start: 0, End: 10e6}}
	hum := func(s float64) float64 { return 3 + 0.5*math.Sin(7*s) + 0.4*math.Sin(61*s) }
	assert.Empty(t, Detect(Input{matchOf(hum), before}, DefaultConfig()))
	used := func(s float64) float64 { // one stroke of 1 s in eight, on a controller that never lets go
		if s > 10 && math.Mod(s, 8) < 1 {
			return 25
		}
		return hum(s)
	}
	assert.Len(t, Detect(Input{matchOf(used), before}, DefaultConfig()), 1)
	let := func(s float64) float64 { // it obeys only while enabled
		if s > 10 {
			return 0.2
		}
		return hum(s)
	}
	assert.Len(t, Detect(Input{matchOf(let), before}, DefaultConfig()), 1)
	assert.Len(t, Detect(Input{matchOf(hum), []series.Interval{{Start: 0, End: 55e6}}}, DefaultConfig()), 1, "hardly ever enabled")
}
