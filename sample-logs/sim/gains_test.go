package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
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

// A robot that has half the gain from the tip on comes up the slope as the one that always had its own,
// and swings as one with half of it does; with half of it up the slope, too, it tips later.
func TestGainsFromTheTipOn(t *testing.T) {
	o := Options{Scenario: "clean", Seed: 3, With: []string{"smooth-board", "levels-well"}}
	own, err := RunOptions(o)
	require.NoError(t, err)
	half := Gains{Tilt: own.Levelling.Tilt / 2, Rate: own.Levelling.Rate / 2}
	o.Gains = &half
	always, err := RunOptions(o)
	require.NoError(t, err)
	fromTip := half
	fromTip.FromTip = true
	o.Gains = &fromTip
	swing, err := RunOptions(o)
	require.NoError(t, err)

	tips := func(m *Match) float64 {
		tilt, start := m.Log.Find("imu/pitch").Numbers(nil), m.Truth.Balances[0].StartS
		for i, at := range m.Log.Find("imu/pitch").Time {
			if s := schemas.Seconds(at); s > start+0.2 && math.Abs(tilt[i]) < 8 {
				return s
			}
		}
		return math.Inf(1)
	}
	assert.InDelta(t, tips(own), tips(swing), 0.15)
	assert.Greater(t, tips(always), tips(own)+0.5)
	assert.Equal(t, half, *swing.Levelling)
	assert.InDelta(t, always.Damping(half)[0], swing.Damping(half)[0], 0.1)
}
