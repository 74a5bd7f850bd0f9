package analysis

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
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
