package lately

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

const heron = `profile: 1
robot: heron
mode: {signal: mode}
power: {voltage: {signal: volts, unit: mV}, current: amps}
path: {stages: [{name: mouth, sensor: beam}]}
cycles: {align: {error: aim, good: 0.05}}
balance: {tilt: pitch}
`

func tracker(t testing.TB) *Tracker {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(heron))
	require.NoError(t, err)
	return New(p)
}

// feed lets a signal come every step µs from one time up to another.
func feed(t *Tracker, name string, boot uint32, from, to, step int64, value func(at int64) float64) {
	for at := from; at < to; at += step {
		t.See(t.Index(name), boot, at, at, value(at), true, "")
	}
}

func told(t *Tracker, disabled bool, runningS float64) (schemas.LiveRobot, map[string]schemas.LiveSignal) {
	var r schemas.LiveRobot
	t.Tell(&r, disabled, runningS)
	by := map[string]schemas.LiveSignal{}
	for _, s := range r.Signals {
		by[s.Signal] = s
	}
	return r, by
}

func noise(seed uint64, around, width float64) func(int64) float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	return func(int64) float64 { return around + width*r.NormFloat64() }
}

func TestStates(t *testing.T) {
	x := tracker(t)
	feed(x, "volts", 0, 0, 60e6, 20e3, noise(1, 12600, 10))
	feed(x, "amps", 0, 0, 50e6, 20e3, noise(2, 2, 0.3)) // silent for 10 s
	feed(x, "pitch", 0, 0, 60e6, 10e3, func(at int64) float64 {
		if at > 40e6 {
			return 0.2
		}
		return float64(at%7) / 10
	})
	feed(x, "mode", 0, 0, 60e6, 500e3, func(int64) float64 { return 0 })
	r, by := told(x, true, 0)
	assert.Equal(t, schemas.LiveCame, by["volts"].State)
	assert.Equal(t, schemas.LiveLate, by["amps"].State)
	assert.InDelta(t, 10, *by["amps"].AgeS, 0.05)
	assert.InDelta(t, 0.02, *by["amps"].EveryS, 0.001)
	assert.Equal(t, schemas.LiveSame, by["pitch"].State)
	assert.InDelta(t, 20, *by["pitch"].SameS, 0.1)
	assert.Equal(t, schemas.LiveNever, by["beam"].State)
	assert.Equal(t, schemas.LiveCame, by["mode"].State, "a mode may stay as it is")
	assert.Equal(t, 6, r.Mapped)
	assert.Equal(t, 3, r.Came)
	assert.Equal(t, []string{
		"never came: beam (sensor of stage mouth)", "never came: aim (aiming error)",
		"silent for 10 s: amps (supply current), usually every 0.02 s", "the same reading for 20 s: pitch (tilt)",
	}, schemas.Noteworthy(r.Signals))
	require.NotNil(t, r.VoltsRest)
	assert.InDelta(t, 12.6, *r.VoltsRest, 0.01, "in V, though sent in mV")
}

// A measured quantity that is 0 all along is told; a beam, a command that rest are not.
func TestZero(t *testing.T) {
	x := tracker(t)
	feed(x, "pitch", 0, 0, 10e6, 10e3, func(int64) float64 { return 0 })
	feed(x, "beam", 0, 0, 10e6, 10e3, func(int64) float64 { return 0 })
	_, by := told(x, true, 0)
	assert.Equal(t, schemas.LiveZero, by["pitch"].State)
	assert.Equal(t, schemas.LiveCame, by["beam"].State)
}

// What is seen now and then is not late each time it pauses, and has lost nothing.
func TestWhatPausesIsNotLate(t *testing.T) {
	x := tracker(t)
	for at := int64(0); at < 100e6; at += 20e3 {
		x.See(x.Index("volts"), 0, at, at, 12600, true, "")
		if at%20e6 < 5e6 && at < 90e6 {
			x.See(x.Index("aim"), 0, at, at, 1, true, "")
		}
	}
	r, by := told(x, true, 0)
	assert.Equal(t, schemas.LiveCame, by["aim"].State)
	assert.Zero(t, *r.Lost)
}

// One in ten missing is lost; what comes late after all is not.
func TestLost(t *testing.T) {
	x := tracker(t)
	var held []int64
	n := 0
	for at := int64(0); at < 20e6; at += 20e3 {
		n++
		x.See(x.Index("amps"), 0, at, at, float64(n), true, "")
		if n%10 == 5 && n > 100 {
			held = append(held, at)
			continue
		}
		x.See(x.Index("volts"), 0, at, at, 12600, true, "")
	}
	r, _ := told(x, true, 0)
	assert.Equal(t, int64(len(held)), *r.Lost)
	assert.Equal(t, int64(2*n), *r.LostOf)
	for _, at := range held {
		x.See(x.Index("volts"), 0, at, 21e6, 12600, true, "")
	}
	r, _ = told(x, true, 0)
	assert.Zero(t, *r.Lost)

	// A loss of the whole radio is one of all signals.
	feed(x, "volts", 0, 25e6, 26e6, 20e3, noise(1, 12600, 1))
	r, _ = told(x, true, 0)
	assert.InDelta(t, 250, float64(*r.Lost), 2)
}

func TestRest(t *testing.T) {
	x := tracker(t)
	rest := func(disabled bool) *float64 {
		r, _ := told(x, disabled, 0)
		return r.VoltsRest
	}
	assert.Nil(t, rest(true), "nothing came")
	feed(x, "volts", 0, 0, 4e6, 20e3, noise(1, 12500, 10))
	assert.Nil(t, rest(true), "not for long enough")
	feed(x, "volts", 0, 4e6, 12e6, 20e3, noise(1, 12500, 10))
	require.NotNil(t, rest(true))
	assert.InDelta(t, 12.5, *rest(true), 0.01)
	assert.Nil(t, rest(false), "it is driven")
	feed(x, "volts", 0, 12e6, 13e6, 20e3, noise(1, 11000, 10))
	assert.Nil(t, rest(true), "it sagged a second ago")
	feed(x, "volts", 0, 13e6, 19e6, 20e3, noise(1, 12500, 10))
	assert.NotNil(t, rest(true))
	feed(x, "volts", 1, 0, 2e6, 20e3, noise(1, 12500, 10))
	assert.Nil(t, rest(true), "another power-up has another clock")
}

func TestStripGrowsWithTheMatch(t *testing.T) {
	x := tracker(t)
	feed(x, "volts", 0, 0, 30e6, 20e3, func(at int64) float64 { return 12600 - float64(at/1e6)*10 })
	r, _ := told(x, false, 0)
	assert.Empty(t, r.Strip)
	r, _ = told(x, false, 10)
	require.Len(t, r.Strip, 11)
	for i, s := range r.Strip {
		assert.InDelta(t, float64(i), s.S, 1e-9)
		assert.LessOrEqual(t, s.LowV, s.HighV)
	}
	assert.InDelta(t, 12.6-0.29, r.Strip[10].LowV, 1e-9)
	feed(x, "volts", 0, 30e6, 1000e6, 100e3, noise(1, 12600, 1))
	assert.LessOrEqual(t, len(x.strip), mostSeconds)
}

func TestRobotWithoutProfile(t *testing.T) {
	x := New(nil)
	assert.Equal(t, -1, x.Index("volts"))
	r, _ := told(x, true, 10)
	assert.Zero(t, r.Mapped)
	assert.Empty(t, r.Signals)
	assert.NotNil(t, r.Signals, "arrays are never null")
	assert.NotNil(t, r.Strip)
	assert.Nil(t, r.Lost)
}

// Whatever comes in whatever order: nothing is negative, nothing is told twice.
func TestAnythingMayCome(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		p, err := profile.Parse("robot.yaml", []byte(heron))
		require.NoError(t, err)
		x := New(p)
		for range rapid.IntRange(0, 300).Draw(t, "n") {
			v := rapid.OneOf(rapid.Float64(), rapid.Just(math.NaN()), rapid.Just(math.Inf(1))).Draw(t, "v")
			x.See(rapid.IntRange(0, 5).Draw(t, "i"), rapid.Uint32Range(0, 2).Draw(t, "boot"),
				rapid.Int64Range(-1e9, 1e9).Draw(t, "at"), rapid.Int64Range(0, 1e9).Draw(t, "arrived"), v, rapid.Bool().Draw(t, "number"), "")
		}
		var r schemas.LiveRobot
		x.Tell(&r, true, rapid.Float64Range(0, 200).Draw(t, "running"))
		require.LessOrEqual(t, r.Came, r.Mapped)
		require.Len(t, r.Signals, r.Mapped)
		if r.Lost != nil {
			require.GreaterOrEqual(t, *r.Lost, int64(0))
			require.LessOrEqual(t, *r.Lost, *r.LostOf)
		}
		for _, s := range r.Signals {
			require.True(t, s.AgeS == nil || *s.AgeS >= 0)
		}
		schemas.Noteworthy(r.Signals)
	})
}

func BenchmarkSee(b *testing.B) {
	x := tracker(b)
	i, at := x.Index("volts"), int64(0)
	for b.Loop() {
		at += 20e3
		x.See(i, 0, at, at, 12600, true, "mV")
	}
}
