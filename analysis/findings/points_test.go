package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// played is a match of 20 s autonomous and 120 s driver from 0 on, in a game that says what
// things are worth; the usual cycle takes 10 s.
func played() Input {
	return Input{
		Profile: &profile.Profile{
			Game:  &profile.Game{Points: map[string]float64{"autonomous_piece": 5, "driver_piece": 3, "autonomous_level": 9, "level": 7}},
			Power: &profile.Power{Voltage: &profile.Ref{Signal: "v"}}, Balance: &profile.Balance{Tilt: &profile.Ref{Signal: "tilt"}},
			Cycles: &profile.Cycles{Score: &profile.Ref{Signal: "score"}},
		},
		Report: &schemas.Report{
			Match: schemas.Match{EndS: 140, Periods: []schemas.Period{{Name: "autonomous", StartS: 0, EndS: 20}, {Name: "driver", StartS: 20, EndS: 140}}},
			Usual: schemas.Usual{CycleS: schemas.Some(10)},
		},
		LogEnd: 150,
	}
}

func TestBalanceInPoints(t *testing.T) {
	ranOut := func(period string, start float64) schemas.Balance {
		return schemas.Balance{Outcome: schemas.BalanceRanOut, Period: period, StartS: start, EndS: start + 9}
	}
	level := schemas.Balance{Outcome: schemas.BalanceLevel, Period: "driver", StartS: 125, EndS: 138, SettleS: schemas.Some(12), Overshoots: 4}
	for name, c := range map[string]struct {
		all  []schemas.Balance
		want float64 // of the last one
	}{
		"the bell came first":             {[]schemas.Balance{ranOut("driver", 131)}, 7},
		"in autonomous":                   {[]schemas.Balance{ranOut("autonomous", 11)}, 9},
		"level late":                      {[]schemas.Balance{level}, 0},
		"level in the other period":       {[]schemas.Balance{level, ranOut("autonomous", 11)}, 9},
		"another of the period was level": {[]schemas.Balance{level, ranOut("driver", 131)}, 0},
		"drove off":                       {[]schemas.Balance{{Outcome: schemas.BalanceLeft, Period: "driver", StartS: 100, EndS: 104}}, 0},
	} {
		t.Run(name, func(t *testing.T) {
			in := played()
			in.Report.Balances = c.all
			found := balances(in)
			last := found[len(found)-1].Finding
			if c.want == 0 {
				assert.Nil(t, last.CostPoints)
				return
			}
			require.NotNil(t, last.CostPoints)
			assert.Equal(t, c.want, *last.CostPoints)
			assert.Contains(t, last.Because, "would have been worth")
		})
	}
	in := played()
	in.Report.Balances = []schemas.Balance{ranOut("driver", 120), ranOut("driver", 131)}
	found := balances(in)
	assert.Nil(t, found[0].CostPoints, "what two attempts did not reach is lost once")
	assert.Equal(t, 7.0, *found[1].CostPoints)
	in.Profile.Game = nil
	assert.Nil(t, balances(in)[1].CostPoints)
}

func TestSlowCyclesAutonomousAndBrownoutsInPoints(t *testing.T) {
	in := played()
	slow := func(period string, took, over float64) schemas.Cycle {
		return schemas.Cycle{Kind: "score", Complete: true, Slow: true, Period: period, DurationS: took, ExcessS: &over}
	}
	in.Report.Cycles = []schemas.Cycle{slow("autonomous", 9, 4), slow("driver", 20, 10)}
	found := slowCycles(in)
	assert.InDelta(t, 4.0, *found[0].CostPoints, 1e-9, "4 s of usual autonomous cycles of 5 s, 5 points each")
	assert.InDelta(t, 3.0, *found[1].CostPoints, 1e-9)

	zero, start, end := 0, 0.0, 20.0
	in.Report.Autonomous = schemas.Autonomous{StartS: &start, EndS: &end, Pieces: &zero, UsualPieces: schemas.Some(2)}
	assert.InDelta(t, 10.0, *auto(in)[0].CostPoints, 1e-9, "two pieces of 5 points")

	in.Report.Brownouts = []schemas.Brownout{{StartS: 30, EndS: schemas.Some(32), MinV: 5}, {StartS: 139, EndS: schemas.Some(141), MinV: 5}}
	dips := brownouts(in)[0]
	assert.InDelta(t, 0.9, *dips.CostPoints, 1e-9, "2 s and 1 s inside the period, at 0.3 points a second")
	assert.True(t, in.touches(dips.Finding, "pieces"))
	delete(in.Profile.Game.Points, "driver_piece")
	assert.Nil(t, brownouts(in)[0].CostPoints)
	assert.Nil(t, slowCycles(in)[1].CostPoints)
}

// A balance that cost points touches the autonomous period too where that breaks a tie.
func TestPointsLostInAutonomousTouchATie(t *testing.T) {
	in := played()
	in.Report.Balances = []schemas.Balance{{Outcome: schemas.BalanceRanOut, Period: "autonomous", StartS: 11, EndS: 20}}
	assert.True(t, in.touches(balances(in)[0].Finding, "autonomous"))
	in.Profile.Game.Points = nil
	assert.False(t, in.touches(balances(in)[0].Finding, "autonomous"), "nothing says that it cost anything")
}
