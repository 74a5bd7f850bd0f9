package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// stepped is a match with the tilt and the place of every step.
type stepped struct {
	world *world
	truth *schemas.Report
	tilt  []float64 // deg
	on    []bool    // a wheel on the board
}

// stepThrough plays a clean match with conditions on.
func stepThrough(t *testing.T, seed uint64, with ...string) stepped {
	t.Helper()
	s, ok := findScenario("clean")
	require.True(t, ok)
	o := Options{Seed: seed, With: with}
	require.NoError(t, s.prepare(o))
	w := newWorld(s, o)
	out := stepped{world: w}
	for last := int((w.bell + s.tailS) / step); w.steps < last; w.steps++ {
		w.advance()
		out.tilt = append(out.tilt, w.body.tilt())
		out.on = append(out.on, w.platform.carries(w.chassis))
	}
	m := &Match{Log: w.recorder.log(), Profile: profileFor(w), Robot: s.robot}
	out.truth = truth(w, m)
	return out
}

// stay is a stretch of steps on one side: -1, 0 in the band, or 1.
type stay struct {
	side, from, to int // to is the first step that is not in it
	past           int // the last step beyond mount, -1 for none
	first          int // the first
}

// stays cuts the match where the tilt crosses the band.
func (s stepped) stays() []stay {
	var out []stay
	for i, v := range s.tilt {
		side := 0
		if math.Abs(v) > levelDeg {
			side = int(math.Copysign(1, v))
		}
		if len(out) == 0 || out[len(out)-1].side != side {
			out = append(out, stay{side: side, from: i, past: -1, first: -1})
		}
		last := &out[len(out)-1]
		last.to = i + 1
		if math.Abs(v) > mountDeg {
			last.past = i
			if last.first < 0 {
				last.first = i
			}
		}
	}
	return out
}

// oracle tells the attempts another way than the truth does: by stays outside and inside the
// band, at every step. Times are s since the log's begin.
func (s stepped) oracle(start, bell float64) []schemas.Balance {
	const ms = 1000
	var out []schemas.Balance
	all := s.stays()
	for k := 0; k < len(all); {
		// An excursion may swing through the band's other edge without a stay in the band.
		n, first, past := k, -1, -1
		for ; n < len(all) && all[n].side != 0; n++ {
			if all[n].first >= 0 && first < 0 {
				first = all[n].first
			}
			past = max(past, all[n].past)
		}
		if n == k {
			k++
			continue
		}
		at := float64(first) / ms
		if first < 0 || float64(past-first+1)/ms < bumpS || at < start || at >= bell {
			k = n
			continue
		}
		b := schemas.Balance{StartS: at, EndS: bell, Outcome: schemas.BalanceRanOut}
		side := int(math.Copysign(1, s.tilt[first]))
		end := len(all)
		for j := k; j < len(all); j++ {
			st := all[j]
			if float64(st.from)/ms >= bell {
				break
			}
			if st.side != 0 {
				if st.to > first && st.side != side {
					side, b.Overshoots = st.side, b.Overshoots+1
				}
				continue
			}
			for i := st.from + ms; i < st.to && float64(i)/ms < bell; i++ {
				off := !slices.Contains(s.on[i-ms:i+1], true)
				if !s.on[i] && !off {
					continue // off, but not for long enough
				}
				b.Outcome, b.EndS = schemas.BalanceLevel, float64(i)/ms
				if off {
					b.Outcome, b.EndS = schemas.BalanceLeft, float64(st.from)/ms
				} else {
					b.SettleS = schemas.Some(float64(st.from)/ms - at)
				}
				break
			}
			if b.Outcome != schemas.BalanceRanOut {
				end = j + 1
				break
			}
		}
		out = append(out, b)
		k = end
	}
	return out
}

// The truth of attempts against the oracle on 24 matches with drawn conditions of board, loop,
// driver and floor. They may differ by what lies between two samples of the log.
func TestBalancesAgreeWithEveryStep(t *testing.T) {
	t.Parallel()
	attempts := 0
	for seed := uint64(1); seed <= 24; seed++ {
		var with []string
		drawn, _ := findScenario(Drawn)
		for _, name := range drawn.draw(seed) {
			if c := slices.IndexFunc(Conditions(), func(c Condition) bool { return c.Name == name }); Conditions()[c].Subject == "balance" {
				with = append(with, name)
			}
		}
		s := stepThrough(t, seed, with...)
		match, begin := s.truth.Match, s.world.begin
		want := s.oracle(match.StartS-begin, match.EndS-begin)
		require.Len(t, s.truth.Balances, len(want), "seed %d, %v", seed, with)
		for i, b := range s.truth.Balances {
			attempts++
			assert.InDelta(t, want[i].StartS+begin, b.StartS, 0.03, "seed %d, %v", seed, with)
			assert.InDelta(t, want[i].EndS+begin, b.EndS, 0.03, "seed %d, %v", seed, with)
			assert.Equal(t, want[i].Outcome, b.Outcome, "seed %d, %v", seed, with)
			assert.Equal(t, want[i].Overshoots, b.Overshoots, "seed %d, %v", seed, with)
			if assert.Equal(t, want[i].SettleS == nil, b.SettleS == nil) && b.SettleS != nil {
				assert.InDelta(t, *want[i].SettleS, *b.SettleS, 0.04, "seed %d, %v", seed, with)
			}
		}
	}
	assert.Greater(t, attempts, 24)
}
