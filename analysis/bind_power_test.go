package analysis

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
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
