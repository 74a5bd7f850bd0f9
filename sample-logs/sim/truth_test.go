package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// watched is a match stepped by hand, with what the truth does not use.
type watched struct {
	*Match
	world *world
	volts []float64 // bus, every step
	held  []bool    // some piece is caught
	watts []float64 // J from the bus a step
}

func watch(t *testing.T, name string, seed uint64) watched {
	t.Helper()
	s, ok := findScenario(name)
	require.True(t, ok)
	w := newWorld(s, Options{Seed: seed})
	out := watched{world: w}
	for last := int((w.bell + s.tailS) / step); w.steps < last; w.steps++ {
		w.advance()
		out.volts = append(out.volts, w.supply.voltage)
		out.held = append(out.held, slices.ContainsFunc(w.path.pieces, (*piece).held))
		out.watts = append(out.watts, w.supply.voltage*w.supply.current*step)
	}
	out.Match = &Match{Log: w.recorder.log(), Profile: profileFor(w), Robot: s.robot}
	out.Truth = truth(w, out.Match)
	return out
}

func (w watched) at(i int) float64 { return w.world.begin + float64(i)*step }

// Over a match, charge and energy add up: charge drawn is what the battery lost, and energy
// from the bus went into idling, windings and rotors.
func TestChargeAndEnergyAddUp(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"clean", "brownout"} {
		w := watch(t, name, 4)
		b := w.world.battery
		fresh := newWorld(w.world.scenario, Options{Seed: 4}).battery
		assert.InEpsilon(t, (fresh.charge-b.charge)*b.capacity, b.drawn, 1e-9)

		drawn, idle := 0.0, 0.0
		for i, j := range w.watts {
			drawn += j
			idle += w.volts[i] * w.world.supply.idle * step
		}
		assert.InEpsilon(t, drawn, b.energy, 1e-9)
		used := idle
		for _, a := range w.world.axes {
			used += a.heat + a.work
		}
		assert.InEpsilon(t, drawn, used, 1e-9)
	}
}

// The brownouts in the truth are those of the noise-free voltage at every step: each lies
// on a dip, and each dip that lasts longer than three samples is there.
func TestBrownoutsAgreeWithEveryStep(t *testing.T) {
	t.Parallel()
	w := watch(t, "brownout", 6)
	type dip struct{ start, end, low float64 }
	var dips []dip
	open := false
	for i, v := range w.volts {
		switch {
		case !open && v < 6.8:
			open, dips = true, append(dips, dip{w.at(i), math.Inf(1), v})
		case open && v >= 7.4:
			open, dips[len(dips)-1].end = false, w.at(i)
		}
		if open {
			dips[len(dips)-1].low = math.Min(dips[len(dips)-1].low, v)
		}
	}
	require.NotEmpty(t, dips)
	assert.Greater(t, len(w.Truth.Brownouts), 2)
	found := func(d dip) int {
		return slices.IndexFunc(w.Truth.Brownouts, func(b schemas.Brownout) bool {
			return b.StartS >= d.start-0.001 && b.StartS < d.end
		})
	}
	matched := 0
	for _, d := range dips {
		k := found(d)
		if k < 0 {
			assert.Less(t, d.end-d.start, 0.062, "a dip at %g is missing", d.start)
			continue
		}
		matched++
		b := w.Truth.Brownouts[k]
		assert.InDelta(t, d.start, b.StartS, 0.041)
		assert.InDelta(t, d.end, *b.EndS, 0.041)
		assert.GreaterOrEqual(t, b.MinV, d.low-1e-6)
		assert.Less(t, b.MinV, 6.8)
		sum := *b.OtherShare
		for _, s := range b.Branches {
			sum += s.Share
		}
		assert.InDelta(t, 1, sum, 1e-5)
	}
	assert.Equal(t, len(w.Truth.Brownouts), matched)
}

// Jams in the truth, found from how pieces moved, are the stretches in which the scenario's
// edge held one.
func TestJamsAreWhenAPieceWasHeld(t *testing.T) {
	t.Parallel()
	for _, name := range []string{"jam-reversed", "jam-stuck", "demo"} {
		w := watch(t, name, 0)
		var start, end []float64
		for i := 1; i < len(w.held); i++ {
			if w.held[i] && !w.held[i-1] {
				start, end = append(start, w.at(i)), append(end, math.NaN())
			}
			if !w.held[i] && w.held[i-1] {
				end[len(end)-1] = w.at(i)
			}
		}
		require.Len(t, w.Truth.Jams, len(start), name)
		for k, j := range w.Truth.Jams {
			assert.Equal(t, "lift", j.Stage)
			assert.InDelta(t, start[k], j.StartS, 0.05, name)
			assert.Equal(t, math.IsNaN(end[k]), !j.Cleared, name)
			if j.Cleared {
				assert.InDelta(t, end[k], j.EndS, 0.15, name)
			} else {
				_, last, _ := w.Log.Bounds()
				assert.InDelta(t, schemas.Seconds(last), j.EndS, 1e-6, name)
			}
		}
	}
}

// Before the match nothing moves, and the bus is the open circuit less what the computer
// draws.
func TestLeadInIsAtRest(t *testing.T) {
	t.Parallel()
	w := watch(t, "clean", 3)
	b := w.world.battery
	full := newWorld(w.world.scenario, Options{Seed: 3}).battery.openCircuit()
	assert.InDelta(t, full-w.world.supply.idle*(b.r0+b.r1), *w.Truth.Battery.RestV, 0.02)
	x := w.world.recorder.clean("pose/x")
	for i, at := range x.t {
		if schemas.Seconds(at) < w.Truth.Match.StartS {
			assert.InDelta(t, x.v[0], x.v[i], 1e-6)
		}
	}
}

// Sensors differ from the truth by about their noise and their step, and lose few samples.
func TestSensorsAreNoisyAsSaid(t *testing.T) {
	t.Parallel()
	w := watch(t, "clean", 5)
	for i, c := range w.world.recorder.channels {
		if c.kind != schemas.Float64 || c.every == 0 {
			continue
		}
		s, clean := w.world.recorder.signals[i], w.world.recorder.cleans[i]
		require.Equal(t, s.Len(), len(clean.v))
		sum := 0.0
		for k, v := range s.Float {
			sum += (v - clean.v[k]) * (v - clean.v[k])
		}
		want := math.Sqrt(c.noise*c.noise + 1/(12*c.per*c.per))
		// Where noise is smaller than the step and the signal stands still, rounding is no
		// noise of its own: it may hide all or show twice as much.
		assert.Less(t, math.Sqrt(sum/float64(s.Len())), 1.5*want, c.name)
		if c.noise*c.per > 0.5 {
			assert.Greater(t, math.Sqrt(sum/float64(s.Len())), 0.8*want, c.name)
		}
		if c.when == nil {
			seconds := w.world.bell + w.world.scenario.tailS
			assert.InEpsilon(t, seconds*100/float64(c.every), s.Len(), 0.01, c.name)
		}
	}
}
