package findings

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

func TestChargeIsSaidOnlyWhenTheBatteryHadBeenAtRest(t *testing.T) {
	some := schemas.Some
	assert.Empty(t, charge(schemas.Battery{}))
	assert.Empty(t, charge(schemas.Battery{RestV: some(16.8)}), "no lead-acid battery")
	assert.Equal(t, " At rest it showed 12.2 V: 25 to 50 % charged.", charge(schemas.Battery{RestV: some(12.15), RestChargeLow: some(0.25), RestChargeHigh: some(0.5)}))
	assert.Equal(t, " At rest it showed 12.9 V: fully charged.", charge(schemas.Battery{RestV: some(12.9), RestChargeLow: some(1), RestChargeHigh: some(1)}))
}
