package findings

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// arms are n settled moves of the arm up and down in turn.
func arms(n int) []schemas.Move {
	var out []schemas.Move
	for k := range n {
		at := 20 + 5*float64(k)
		out = append(out, schemas.Move{
			Name: "arm", StartS: at, EndS: at + 1, From: float64(k % 2), To: float64(1 - k%2), SettleS: schemas.Some(1),
			RiseS: schemas.Some(0.6), Outcome: "settled", UsualSettleS: schemas.Some(1), UsualCount: 9, UsualSource: "this match",
		})
	}
	return out
}

func moveFindings(t *testing.T, change func(*schemas.Report)) []schemas.Finding {
	t.Helper()
	found, _ := build(t, func(r *schemas.Report) {
		r.Moves = arms(8)
		change(r)
	})
	return ofKind(found, "move")
}

func TestMovesThatAreWell(t *testing.T) {
	assert.Empty(t, moveFindings(t, func(*schemas.Report) {}))
}

func TestSlowMoves(t *testing.T) {
	found := moveFindings(t, func(r *schemas.Report) {
		r.Moves[3].SettleS, r.Moves[3].Slow = schemas.Some(2.1), true
		r.Moves[5].SettleS, r.Moves[5].Slow = schemas.Some(1.9), true
	})
	assert.Empty(t, found, "two may have been pushed")
	found = moveFindings(t, func(r *schemas.Report) {
		r.Moves[3].SettleS, r.Moves[3].Slow = schemas.Some(2.1), true
		r.Moves[5].SettleS, r.Moves[5].Slow = schemas.Some(1.9), true
		r.Moves[7].SettleS, r.Moves[7].Slow = schemas.Some(1.9), true
	})
	require.Len(t, found, 1)
	f := found[0]
	assert.Equal(t, "The arm was slower than usual three times in eight moves.", f.Title)
	assert.Equal(t, "At 25.0 s it took 2.10 s from 1.00 to 0.00; 9 moves like it, of this match, took 1.00 s. The way itself (a tenth to nine tenths) took 0.60 s of that.", f.Because)
	require.NotNil(t, f.Numbers[0].Usual)
	assert.InDelta(t, 1, *f.Numbers[0].Usual, 0)
	assert.NotEmpty(t, f.Caution)
	require.Len(t, f.Spans, 3)
	assert.Equal(t, schemas.Span{StartS: 35, EndS: 36}, f.Spans[0])
}

func TestAMatchOfSlowMovesIsToldOnce(t *testing.T) {
	found := moveFindings(t, func(r *schemas.Report) {
		r.Moves[3].Slow = true
		r.Mechanisms = []schemas.Mechanism{{
			Name: "arm", Slower: true, Pace: schemas.Some(1.31), PaceUsualLow: schemas.Some(0.93), PaceUsualHigh: schemas.Some(1.08), PaceMatches: 4,
			UpA: schemas.Some(15), DownA: schemas.Some(9), WeightA: schemas.Some(12), WeightLowA: schemas.Some(11.5), WeightHighA: schemas.Some(12.5), FrictionA: schemas.Some(3),
		}}
	})
	require.Len(t, found, 1)
	assert.Equal(t, "The arm is slower than in earlier matches.", found[0].Title)
	assert.Contains(t, found[0].Because, "1.31 times as long as moves like them in 4 earlier matches; a match like those lies from 0.93 to 1.08.")
	assert.Contains(t, found[0].Because, "It draws 15.0 A going up and 9.0 A going down; 12.0 A (11.5 to 12.5) of both carry its weight")
}

func TestACounterbalanceThatWouldSpareNothing(t *testing.T) {
	found := moveFindings(t, func(r *schemas.Report) {
		r.Moves[3].Outcome = "short"
		r.Mechanisms = []schemas.Mechanism{{
			Name: "arm", UpA: schemas.Some(5), DownA: schemas.Some(-5.1), WeightA: schemas.Some(-0.05), WeightLowA: schemas.Some(-0.3), WeightHighA: schemas.Some(0.2), FrictionA: schemas.Some(5),
		}}
	})
	require.Len(t, found, 1)
	assert.NotContains(t, found[0].Because, "counterbalance")
}

func TestAMoveThatTheEndOfAPeriodCutOffDidNotStopShort(t *testing.T) {
	short := func(endS, pauseS float64) func(*schemas.Report) {
		return func(r *schemas.Report) {
			m := &r.Moves[3]
			m.Outcome, m.EndS = "short", m.StartS+4
			r.Match.Periods = []schemas.Period{{Name: "autonomous", StartS: 0, EndS: m.StartS + endS}, {Name: "driver", StartS: m.StartS + endS + pauseS, EndS: 500}}
		}
	}
	assert.Empty(t, moveFindings(t, short(0.3, 1)))
	assert.Len(t, moveFindings(t, short(0.3, 0)), 1, "one period passed into the other")
	assert.Len(t, moveFindings(t, short(2.5, 1)), 1, "it had the time")
	assert.Len(t, moveFindings(t, short(400, 1)), 1)
}

func TestSwingsOfMoves(t *testing.T) {
	swinging := func(over, zeta float64, n int) func(*schemas.Report) {
		return func(r *schemas.Report) {
			for k := range n {
				m := &r.Moves[k]
				m.Overshoot, m.Swing, m.DampingRatio, m.NaturalHz = over, "damped", schemas.Some(zeta), schemas.Some(1.4)
			}
		}
	}
	found := moveFindings(t, swinging(0.06, 0.15, 4))
	require.Len(t, found, 1)
	assert.Equal(t, "The arm goes past its target and swings, on four of eight moves.", found[0].Title)
	assert.Contains(t, found[0].Because, "0.060 past 1.00, 3.0 times its tolerance; its swings die down with a damping ratio of 0.15 at 1.4 Hz.")
	assert.Contains(t, found[0].Caution, cautionGains)
	assert.Empty(t, moveFindings(t, swinging(0.06, 0.15, 2)), "two of eight")
	assert.Empty(t, moveFindings(t, swinging(0.06, 0.5, 8)), "it comes back well")
	assert.Empty(t, moveFindings(t, swinging(0.03, 0.15, 8)), "not two tolerances")

	// No damped swing fits an arm whose command is at its limit; it goes past all the same.
	past := func(over float64, outcome string) func(*schemas.Report) {
		return func(r *schemas.Report) {
			for k := range r.Moves {
				r.Moves[k].Overshoot, r.Moves[k].Outcome = over*math.Abs(r.Moves[k].To-r.Moves[k].From), outcome
			}
		}
	}
	found = moveFindings(t, past(0.26, schemas.MoveSettled))
	require.Len(t, found, 1)
	assert.Equal(t, "The arm goes far past its target, on eight of eight moves.", found[0].Title)
	assert.Contains(t, found[0].Caution, cautionGains)
	assert.Empty(t, moveFindings(t, past(0.24, schemas.MoveSettled)), "a loop of damping ratio 0.4 goes so far")
	assert.Empty(t, moveFindings(t, past(0.5, schemas.MoveSuperseded)), "each began at the speed of the one before")
}
