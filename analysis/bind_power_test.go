package analysis

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

func TestResistancesOfEarlierMatches(t *testing.T) {
	match := func(id string, ohm float64, loose, brownout bool) *schemas.Report {
		r := &schemas.Report{Battery: schemas.Battery{ID: id}}
		if ohm > 0 {
			r.Battery.ResistanceOhm = schemas.Some(ohm)
		}
		if loose {
			r.Battery.LooseHighOhm = schemas.Some(0.08)
		}
		if brownout {
			r.Brownouts = make([]schemas.Brownout, 1)
		}
		return r
	}
	history := []*schemas.Report{
		match("B1", 0.018, false, false), match("B2", 0.030, false, true), match("B1", 0.020, false, false),
		match("B1", 0.060, true, false), match("B1", 0, false, false), match("", 0.050, false, false), match("B3", 0.022, false, false),
	}
	assert.InDelta(t, 0.019, *usualResistance(history, "B1"), 1e-12, "not of the match whose connection jumped, nor of one without")
	assert.InDelta(t, 0.030, *usualResistance(history, "B2"), 1e-12, "a brownout takes nothing from what was measured")
	assert.Nil(t, usualResistance(history, "B9"))
	assert.Nil(t, usualResistance(history, ""), "two batteries without a name need not be one")
	assert.InDelta(t, 0.021, soundResistance(history), 1e-12, "of the four in which nothing was wrong")
	assert.Zero(t, soundResistance(history[:3]), "two are not enough")
	assert.Zero(t, soundResistance(nil))
}

// A supply in mV, and one that holds nothing but NaN, are not looked at, and the reason is said.
func TestASupplyThatCannotBeOne(t *testing.T) {
	reason := func(values ...float64) string {
		s := &schemas.Signal{Name: "v", Kind: schemas.Float64, Float: values}
		for i := range values {
			s.Time = append(s.Time, int64(i)*20_000)
		}
		in := Input{Log: &schemas.Log{Signals: []*schemas.Signal{s}}, Profile: &profile.Profile{Power: &profile.Power{Voltage: &profile.Ref{Signal: "v"}}}}
		r, err := Run(in)
		require.NoError(t, err)
		for _, a := range r.Analyses {
			if a.Name == "power" && !a.Ran {
				return a.Reason
			}
		}
		return ""
	}
	assert.Empty(t, reason(12.4, 11.9, 12.1))
	readings := []float64{12.4, 11.9, 12.1}
	reason(readings...)
	assert.Equal(t, []float64{12.4, 11.9, 12.1}, readings, "in the order they came")
	assert.Equal(t, "voltage: v is at 12270 V, on which no robot runs: set its unit or scale", reason(12400, 12270, 11900))
	assert.Equal(t, "voltage: v holds no reading", reason(math.NaN(), math.NaN()))
}

// Sensors whose zero is off by the same are faults, and only a branch that reads more is a draw.
func TestASharedZeroIsNoDraw(t *testing.T) {
	m := &match{
		Input:  Input{Match: period.Match{Modes: []period.Span{{Start: 0, End: 10e6, Mode: schemas.ModeDisabled}}}},
		report: &schemas.Report{}, end: 40e6,
	}
	var branches []power.Branch
	for n, name := range []string{"left", "right", "lift", "roller", "intake"} {
		c := &series.Float{Name: "power/branch/" + name}
		for i := range 40 * 20 {
			amps := 2.4
			if name == "intake" {
				amps = 9
			}
			if i > 200 && (i/20+n)%5 == 0 {
				amps += 15
			}
			c.T, c.V = append(c.T, int64(i)*50_000), append(c.V, amps)
		}
		branches = append(branches, power.Branch{Name: name, Current: c})
	}
	lookForStandbyDraws(m, branches, nil)
	require.Len(t, m.report.StandbyDraws, 1)
	assert.Equal(t, "intake", m.report.StandbyDraws[0].Branch)
	require.Len(t, m.report.Quality.Faults, 4)
	assert.Equal(t, schemas.FaultZero, m.report.Quality.Faults[0].Kind)
	assert.Equal(t, "left reads 2.4 A at rest", m.report.Quality.Faults[0].Note)
}
