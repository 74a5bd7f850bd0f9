package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Without a condition nothing of what the conditions add is there.
func TestBalanceConditionsAreOff(t *testing.T) {
	s, _ := findScenario("clean")
	w := newWorld(s, Options{Seed: 3})
	p, l, a, o := w.platform, w.program.level, w.arm, w.program.orders
	assert.Zero(t, p.dry+p.static+p.click+p.latch+p.slack+p.slick)
	assert.Empty(t, p.guests)
	assert.Zero(t, l.zero+l.ki+l.bang+l.ramp+l.sticky+l.jitter)
	assert.Zero(t, a.length+a.static+a.grows+a.soft)
	assert.Zero(t, w.program.loop.creep+float64(w.program.loop.late))
	assert.Zero(t, o.tremble+o.nudge+o.doubts)
	assert.Nil(t, w.body.floor)
	assert.Nil(t, s.balance.hand)
	assert.Empty(t, s.balance.tries)
}

// beyond are the times for which the tilt is beyond mount in the match before the endgame, s.
func (s stepped) beyond() []float64 {
	var out []float64
	run := 0
	for i, v := range s.tilt[:int((s.world.bell-endgameS-5)/step)] {
		switch {
		case float64(i)*step < s.world.scenario.leadS:
		case math.Abs(v) > mountDeg:
			run++
		case run > 0:
			out, run = append(out, float64(run)*step), 0
		}
	}
	return out
}

func outcomes(r *schemas.Report) []string {
	var out []string
	for _, b := range r.Balances {
		out = append(out, b.Outcome)
	}
	return out
}

// What happens on the platform is what the condition's summary says.
func TestVisits(t *testing.T) {
	t.Parallel()
	s := stepThrough(t, 3, "drives-over")
	assert.Equal(t, []string{"left"}, outcomes(s.truth))
	assert.Less(t, s.world.chassis.x, s.world.platform.x-s.world.platform.half)

	s = stepThrough(t, 3, "backs-off")
	assert.Equal(t, []string{"left"}, outcomes(s.truth))
	assert.Greater(t, s.world.chassis.x, s.world.platform.x+s.world.platform.half)

	s = stepThrough(t, 3, "tries-again")
	assert.GreaterOrEqual(t, len(s.truth.Balances), 2)

	s = stepThrough(t, 3, "leaves-level")
	require.GreaterOrEqual(t, len(s.truth.Balances), 2)
	assert.Equal(t, "level", s.truth.Balances[0].Outcome)
	assert.Equal(t, "left", s.truth.Balances[1].Outcome)

	s = stepThrough(t, 3, "climbs-in-autonomous")
	assert.Equal(t, schemas.PeriodAutonomous, s.truth.Balances[0].Period)
	assert.Equal(t, schemas.PeriodDriver, s.truth.Balances[len(s.truth.Balances)-1].Period)

	s = stepThrough(t, 3, "partner-tips-late")
	require.GreaterOrEqual(t, len(s.truth.Balances), 2)
	assert.Equal(t, "level", s.truth.Balances[0].Outcome)
}

// Bumps and cables are beyond mount for a moment only and start no attempt; nor does the slope
// a robot starts on.
func TestUnevenFloor(t *testing.T) {
	t.Parallel()
	clean := stepThrough(t, 3)
	assert.Empty(t, clean.beyond())
	for name, most := range map[string]float64{"bumps": 0.25, "cable": 0.3} {
		s := stepThrough(t, 3, name)
		found := s.beyond()
		assert.NotEmpty(t, found, name)
		assert.Less(t, slices.Max(found), most, name)
		if name == "cable" {
			assert.Greater(t, slices.Max(found), 0.19)
		}
		assert.Len(t, s.truth.Balances, len(clean.truth.Balances), name)
	}
	s := stepThrough(t, 3, "starts-on-slope")
	assert.Greater(t, math.Abs(s.tilt[0]), 6.9)
	assert.Equal(t, len(clean.truth.Balances), len(s.truth.Balances))
	for _, b := range s.truth.Balances {
		assert.Greater(t, b.StartS, s.truth.Match.StartS+60)
	}
	rms := func(s stepped) float64 {
		sum := 0.0
		for _, v := range s.tilt[:60000] {
			sum += v * v
		}
		return math.Sqrt(sum / 60000)
	}
	assert.Greater(t, rms(stepThrough(t, 3, "rough-floor")), 1.3*rms(clean))
}

// The lift's troubles and confounders, by what becomes of its moves.
func TestLiftConditions(t *testing.T) {
	t.Parallel()
	count := func(s stepped, outcome string) int {
		n := 0
		for _, m := range s.truth.Moves {
			if m.Outcome == outcome {
				n++
			}
		}
		return n
	}
	most := func(s stepped, of func(schemas.Move) float64) float64 {
		out := 0.0
		for _, m := range s.truth.Moves {
			out = math.Max(out, of(m))
		}
		return out
	}
	overshoot := func(m schemas.Move) float64 { return m.Overshoot }
	clean := stepThrough(t, 3)
	n := len(clean.truth.Moves)
	assert.Equal(t, n, count(clean, "settled"))
	assert.Less(t, most(clean, overshoot), withinM)

	for _, name := range []string{"sagging-lift", "heavy-lift"} {
		assert.Greater(t, count(stepThrough(t, 3, name), "short"), 2, name)
	}
	assert.Greater(t, most(stepThrough(t, 3, "overshooting-lift"), overshoot), withinM)
	assert.Positive(t, count(stepThrough(t, 3, "changes-mind"), "superseded"))
	for _, name := range []string{"trembling-target", "small-changes", "drifting-lift"} {
		s := stepThrough(t, 3, name)
		assert.Equal(t, len(s.truth.Moves), count(s, "settled"), name)
		assert.InDelta(t, n, len(s.truth.Moves), 4, name)
	}
	median := func(s stepped) float64 {
		var took []float64
		for _, m := range s.truth.Moves {
			took = append(took, m.EndS-m.StartS)
		}
		slices.Sort(took)
		return took[len(took)/2]
	}
	assert.Greater(t, median(stepThrough(t, 3, "slow-lift")), 1.3*median(clean))
}
