package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// The kinds of trouble are told by what the world was made of.
func TestAttemptsAreToldByTheirCause(t *testing.T) {
	for _, c := range []struct {
		scenario, with string
		want           func(a Attempt, b schemas.Balance) bool
	}{
		{"demo", "by-hand", func(a Attempt, b schemas.Balance) bool {
			return a.Diagnosis == "" && a.ByHand == (b.Period == schemas.PeriodDriver)
		}},
		{"demo", "tilt-only", func(a Attempt, b schemas.Balance) bool {
			return !a.ByHand && a.Diagnosis != "too little damping"
		}},
		{"demo", "levels-well", func(a Attempt, _ schemas.Balance) bool {
			return !a.ByHand && a.Diagnosis != "proportional only"
		}},
	} {
		m, err := RunOptions(Options{Scenario: c.scenario, Seed: 5, With: []string{c.with}})
		require.NoError(t, err)
		require.Len(t, m.Attempts, len(m.Truth.Balances))
		require.NotEmpty(t, m.Attempts)
		for i, a := range m.Attempts {
			assert.True(t, c.want(a, m.Truth.Balances[i]), "%s with %s: %+v", c.scenario, c.with, a)
		}
	}
}

// Three even swings past level, the last one cut off, are a swing of constant size; one that
// dies down is none.
func TestSwingsOnAtOneSize(t *testing.T) {
	tilts := func(peaks ...float64) *clean {
		out := &clean{}
		for i, p := range peaks {
			for k, part := range []float64{0.1, 1, 0.1} {
				out.t, out.v = append(out.t, int64(3*i+k)*100_000), append(out.v, part*p)
			}
		}
		return out
	}
	w, b := &world{}, schemas.Balance{EndS: 100}
	assert.True(t, w.swingsOn(b, tilts(12, -5, 5.2, -5.1, 3)))
	assert.False(t, w.swingsOn(b, tilts(12, -7, 5, -3.5, 3)))
	assert.False(t, w.swingsOn(b, tilts(12, -5, 5, -5)), "too few to tell")
}

// A robot on the board from the beginning disturbs nothing; one that comes does.
func TestDisturbedByGuests(t *testing.T) {
	w := &world{begin: 10, platform: &platform{guests: []*guest{{aboard: true}, {aboard: true, appearedAt: 95, settledAt: 97}, {}}}}
	assert.Nil(t, w.disturbed(schemas.Balance{StartS: 90, EndS: 104}))
	assert.InDelta(t, 105, *w.disturbed(schemas.Balance{StartS: 100, EndS: 110}), 1e-9)
	assert.InDelta(t, 106, *w.disturbed(schemas.Balance{StartS: 106, EndS: 110}), 1e-9)
	assert.Nil(t, w.disturbed(schemas.Balance{StartS: 108, EndS: 110}))
}

// Who turns back before there was a second of levelling with the stick levelled nothing.
func TestLevelledByHandTakesASecond(t *testing.T) {
	w := &world{}
	for k := range 51 {
		w.stuck = append(w.stuck, 100+0.02*float64(k))
	}
	assert.True(t, w.levelledByHand(schemas.Balance{StartS: 99, EndS: 110}))
	assert.False(t, w.levelledByHand(schemas.Balance{StartS: 99, EndS: 100.9}))
	assert.False(t, w.levelledByHand(schemas.Balance{StartS: 102, EndS: 110}))
}

// Swings that come to the stops of a board without a damper, under a loop that answers the tilt alone and
// late, are those of a loop that makes them grow: it has less than no damping, whatever holds them.
func TestSwingsHeldByTheStopsGrow(t *testing.T) {
	grown := 0
	for seed := range uint64(4) {
		m, err := RunOptions(Options{Scenario: "demo", Seed: 5 + seed, With: []string{"free-board", "tilt-only", "late-levelling"}})
		require.NoError(t, err)
		for i, a := range m.Attempts {
			if m.Truth.Balances[i].Overshoots >= 4 && a.DisturbedAtS == nil {
				assert.Equal(t, "swings grow", a.Diagnosis)
				assert.True(t, a.NoRate)
				grown++
			}
		}
	}
	assert.Positive(t, grown)
}

// Without friction, slack or a limit the swings of a board with its robot go on from stop to stop where
// the loop damps next to nothing of them, and die down where it damps them well.
func TestSwingsGoOnByTheLoopAlone(t *testing.T) {
	for _, c := range []struct {
		with []string
		want bool
	}{
		{[]string{"free-board", "tilt-only", "late-levelling"}, true},
		{[]string{"damped-board", "levels-well"}, false},
	} {
		m, w, err := playWorld(Options{Scenario: "demo", Seed: 5, With: c.with})
		require.NoError(t, err)
		looked := 0
		for i, b := range m.Truth.Balances {
			if m.Attempts[i].DisturbedAtS == nil {
				assert.Equal(t, c.want, w.goesOn(b.StartS, b.EndS), "%v at %.1f s", c.with, b.StartS)
				looked++
			}
		}
		assert.Positive(t, looked)
	}
}
