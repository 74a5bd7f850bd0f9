package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// liftRun is what a lift did in a match.
type liftRun struct {
	world *world
	truth *schemas.Report
	still int     // steps at rest while enabled
	amps  float64 // most in its winding
	turns float64 // changes of direction a move, of more than 5 mm (mrad), in the 2 s from its start
	wild  float64 // m (rad) off a target that has stood for 3 s, at most, and not at a stop
}

func watchLift(t *testing.T, seed uint64, with ...string) liftRun {
	t.Helper()
	out := liftRun{}
	target, since, turns, top, way := 0.0, 0, 0, 0.0, 1.0
	out.world, out.truth = follow(t, seed, func(w *world) {
		a := w.arm
		if now := w.program.armTarget; now != target {
			target, since, top, way = now, 0, a.position, math.Copysign(1, now-a.position)
		}
		since++
		if w.enabled() && a.v == 0 {
			out.still++
		}
		out.amps = max(out.amps, math.Abs(a.axis.winding))
		if since < 2000 {
			if way*(a.position-top) > 0 {
				top = a.position
			} else if math.Abs(a.position-top) > 0.005 {
				turns, way, top = turns+1, -way, a.position
			}
		}
		if since > 3000 && w.enabled() {
			out.wild = max(out.wild, math.Abs(a.position-target))
		}
	}, with...)
	out.turns = float64(turns) / float64(len(out.truth.Moves))
	return out
}

// The lifts of which no move need fail do what their summaries say, and the usual one does not.
func TestLiftsDoWhatTheySay(t *testing.T) {
	t.Parallel()
	holds := func(w *world) float64 { return w.arm.pull() / (w.arm.axis.motor.ke * w.arm.ratio() * w.arm.yield) }
	took := func(r *schemas.Report) (mean float64) {
		for _, m := range r.Moves {
			mean += (m.EndS - m.StartS) / float64(len(r.Moves))
		}
		return mean
	}
	for seed := uint64(3); seed <= 4; seed++ {
		usual := watchLift(t, seed)
		assert.Zero(t, usual.still)
		assert.Less(t, usual.turns, 0.5)
		assert.Greater(t, usual.amps, 2.1*holds(usual.world))

		assert.Greater(t, watchLift(t, seed, "sticky-lift").still, 50_000, "it stands dead still")
		assert.Greater(t, watchLift(t, seed, "hunting-lift").turns, 1.0)

		weak := watchLift(t, seed, "weak-lift")
		assert.LessOrEqual(t, weak.amps, 2*holds(weak.world)+1e-9)
		assert.Greater(t, took(weak.truth), took(usual.truth))
	}
	for _, c := range []struct {
		with  []string
		least int // pieces
	}{
		{[]string{"pivoting-arm"}, 9},
		{[]string{"pivoting-arm", "hunting-lift"}, 6},
		{[]string{"pivoting-arm", "overshooting-lift"}, 6},
		{[]string{"pivoting-arm", "weak-lift", "sticky-lift"}, 6},
	} {
		s := watchLift(t, 3, c.with...)
		a := *s.world.arm
		a.position = 0
		low := a.pull()
		a.position = 0.6
		assert.Greater(t, math.Abs(a.pull()-low), 0.02*low, "gravity pulls by the angle")
		assert.GreaterOrEqual(t, s.world.field.score, c.least, "%v", c.with)
	}
	// A gearbox that binds takes as much at the rotor of an arm as at that of a carriage.
	bound := 0
	for seed := uint64(1); seed <= 20; seed++ {
		w, free := ready(t, seed, "stiff-gearbox", "pivoting-arm"), ready(t, seed, "pivoting-arm")
		if rub := (w.arm.rub - free.arm.rub) / w.arm.ratio(); rub > 0 {
			bound++
			assert.InDelta(t, 0.18, rub, 0.037, "N m, seed %d", seed)
		}
	}
	assert.Positive(t, bound)
}

// What happens at the platform beside levelling, by when the robot came onto it and left it.
func TestShortVisits(t *testing.T) {
	t.Parallel()
	ons := func(s stepped) (out []float64) {
		for _, b := range s.world.boarded {
			if b.on {
				out = append(out, s.world.begin+s.world.bell-b.at)
			}
		}
		return out
	}
	last := func(s stepped) float64 { // s before the bell the loop last ran
		w := s.world
		return w.begin + w.bell - w.levelled[len(w.levelled)-1].at
	}
	usual := stepThrough(t, 3)
	require.Len(t, ons(usual), 1)
	assert.Greater(t, ons(usual)[0], 15.0)
	assert.Less(t, last(usual), 0.1)

	twice := 0
	for seed := uint64(3); seed <= 6; seed++ {
		touches := stepThrough(t, seed, "touches")
		if len(ons(touches)) > 1 { // it may turn back with its wheels at the very edge
			twice++
			assert.Less(t, touches.world.boarded[1].at-touches.world.boarded[0].at, 4.0, "and turns back at once")
		}
	}
	assert.GreaterOrEqual(t, twice, 2)

	late := stepThrough(t, 3, "late-climb")
	for _, before := range ons(late) {
		assert.Less(t, before, 14.0)
	}

	lets := stepThrough(t, 3, "lets-go")
	assert.Greater(t, last(lets), 1.0)

	hand := stepThrough(t, 3, "by-hand")
	assert.Empty(t, hand.world.levelled, "the loop never runs")
	assert.NotEmpty(t, hand.truth.Balances)

	on := ready(t, 3, "partner-on-board").platform.guests
	require.Len(t, on, 1)
	assert.True(t, on[0].aboard)
	joins := ready(t, 3, "partner-joins").platform.guests
	require.Len(t, joins, 1)
	assert.False(t, joins[0].aboard)
	joined := stepThrough(t, 3, "partner-joins")
	assert.True(t, joined.world.platform.guests[0].aboard)
}

// Pieces roll away only where that is on, and the robot takes them all the same.
func TestPiecesRoll(t *testing.T) {
	t.Parallel()
	rolled := func(with ...string) (steps int, w *world) {
		w, _ = follow(t, 3, func(w *world) {
			if w.field.roll != (spot{}) {
				steps++
			}
		}, with...)
		return steps, w
	}
	steps, w := rolled("rolling-pieces")
	assert.Greater(t, steps, 500)
	assert.Greater(t, w.field.score, 5)
	none, _ := rolled()
	assert.Zero(t, none)
}
