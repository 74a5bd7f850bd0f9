package score

import (
	"math"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

// poorDamping is the damping under which gains should be advised: a loop with less swings past
// by a sixth and more.
const poorDamping = 0.5

// Retuned is one attempt whose loop was poorly damped, and the same match played again with
// the gains that the report advises. Damping is that of the simulator's own straight equations
// at the size of swing there was; NaN where the loop never had the board to itself.
type Retuned struct {
	Advised       bool
	Drive         bool    // the log has a drive command: without one nothing tells of gains
	InReach       bool    // some gains bring the damping within a tenth of 0.7 at all
	Said          float64 // damping that the advice promised
	Before, After float64
	Unstable      bool // it swings by itself with them
	Past, PastNow int  // swings past level, before and when played again
	Level         bool // it was level when played again, or it was not before either
}

// tryAdvice plays a match again for the first attempt with poor damping that has advice,
// with the advised gains in place of the robot's own; the rest of the match is the same.
func tryAdvice(o Options, seed uint64, m *sim.Match, got *schemas.Report, noDrive bool) ([]Retuned, error) {
	if m.Levelling == nil {
		return nil, nil
	}
	var out []Retuned
	was := m.Damping(*m.Levelling)
	var reach []bool
	for i, b := range m.Truth.Balances {
		if !(was[i] < poorDamping) {
			continue
		}
		if reach == nil {
			reach = inReach(m)
		}
		r := Retuned{Before: was[i], After: math.NaN(), InReach: reach[i], Drive: !noDrive}
		change := retuneOf(got, b.StartS)
		if change == nil {
			out = append(out, r)
			continue
		}
		gains := *m.Levelling
		gains.Tilt *= change.GainFactor
		gains.Rate = change.RateFactor*gains.Rate + change.RateS*gains.Tilt
		gains.FromTip = change.FromTip
		again, err := sim.RunOptions(sim.Options{Scenario: o.Scenario, Seed: seed, With: o.With, Gains: &gains})
		if err != nil {
			return nil, err
		}
		r.Advised, r.After, r.Said = true, m.Damping(gains)[i], change.Damping
		r.Unstable = r.After < 0
		if a := sameAttempt(again.Truth.Balances, b); a != nil {
			r.Unstable = r.Unstable || a.Outcome == schemas.BalanceRanOut && a.Overshoots > 2
			r.Past, r.PastNow = b.Overshoots, a.Overshoots
			r.Level = a.Outcome == schemas.BalanceLevel || b.Outcome != schemas.BalanceLevel
		}
		return append(out, r), nil
	}
	return out, nil
}

// sameAttempt is the attempt of a match played again that another one became: the one that shares
// most time with it, as those before it take another time too; nil when none does.
func sameAttempt(again []schemas.Balance, was schemas.Balance) (same *schemas.Balance) {
	most := 0.0
	for i, a := range again {
		if shared := min(a.EndS, was.EndS) - max(a.StartS, was.StartS); shared > most {
			most, same = shared, &again[i]
		}
	}
	return same
}

// inReach says for each attempt whether any of some gains bring the damping within a tenth of
// 0.7: on many platforms none does.
func inReach(m *sim.Match) []bool {
	out := make([]bool, len(m.Truth.Balances))
	reaches := func(g sim.Gains) {
		for i, d := range m.Damping(g) {
			out[i] = out[i] || math.Abs(d-0.7) <= 0.1
		}
	}
	for _, factor := range [...]float64{1, 0.7, 0.5, 0.35, 0.2} {
		for _, rateS := range [...]float64{0, 0.2, 0.4, 0.7, 1, 1.5, 2.5} {
			g := sim.Gains{Tilt: factor * m.Levelling.Tilt}
			g.Rate = m.Levelling.Rate + rateS*g.Tilt
			reaches(g)
		}
		for _, part := range [...]float64{0.7, 0.5, 0.35} {
			reaches(sim.Gains{Tilt: factor * m.Levelling.Tilt, Rate: part * m.Levelling.Rate})
		}
	}
	return out
}

// retuneOf is the change advised for the attempt that starts at a time.
func retuneOf(got *schemas.Report, start float64) *schemas.Retune {
	for _, b := range got.Balances {
		if math.Abs(b.StartS-start) <= nearAttempt {
			return b.Retune
		}
	}
	return nil
}

func scoreAdvice(t *Tally, all []Retuned) {
	for _, r := range all {
		t.hit("gains advised, where the damping was under 0.5", r.Advised)
		if r.Drive {
			t.hit("the same, where a drive command is logged", r.Advised)
		}
		t.hit("some gains bring 0.7, where the damping was under 0.5", r.InReach)
		if !r.Advised {
			continue
		}
		t.hit("with the advised gains the loop swings by itself", r.Unstable)
		if !math.IsNaN(r.After) {
			t.value("damping before the advised gain", r.Before)
			t.value("damping with the advised gain", r.After)
			t.value("damping with the advised gain, off 0.7", r.After-0.7)
			t.value("damping with the advised gain, off what was said", r.After-r.Said)
			t.hit("the advised gain damps better", r.After > r.Before)
		}
		t.hit("played again with them, no more swings past level", r.PastNow <= r.Past)
		t.hit("played again with them, level where it was", r.Level)
	}
}
