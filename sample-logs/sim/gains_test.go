package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A match played again with the gains it had is the same match; with less rate it is damped
// less; and a match that a person levels has no gains.
func TestLevellingWithOtherGains(t *testing.T) {
	o := Options{Scenario: "clean", Seed: 3, With: []string{"smooth-board", "levels-well"}}
	first, err := RunOptions(o)
	require.NoError(t, err)
	require.NotNil(t, first.Levelling)
	was := first.Damping(*first.Levelling)
	require.Len(t, was, len(first.Truth.Balances))
	require.NotEmpty(t, was)
	require.False(t, math.IsNaN(was[0]))

	o.Gains = first.Levelling
	same, err := RunOptions(o)
	require.NoError(t, err)
	assert.Equal(t, first.Truth.Balances, same.Truth.Balances)
	assert.Equal(t, was, same.Damping(*same.Levelling))

	o.Gains = &Gains{Tilt: first.Levelling.Tilt, Rate: first.Levelling.Rate / 4}
	swings, err := RunOptions(o)
	require.NoError(t, err)
	assert.Equal(t, *o.Gains, *swings.Levelling)
	assert.Equal(t, first.Truth.Balances[0].StartS, swings.Truth.Balances[0].StartS, "the way up is the same")
	assert.Less(t, first.Damping(*o.Gains)[0], was[0]-0.1)

	byHand, err := RunOptions(Options{Scenario: "clean", Seed: 3, With: []string{"by-hand"}})
	require.NoError(t, err)
	assert.Nil(t, byHand.Levelling)
	assert.Nil(t, byHand.Damping)
}
