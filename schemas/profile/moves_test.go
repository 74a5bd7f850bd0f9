package profile_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func TestMoveBind(t *testing.T) {
	pair := func(positionUnit, targetUnit string) *schemas.Log {
		return logOf(
			&schemas.Signal{Name: "p", Unit: positionUnit, Kind: schemas.Float64, Time: []int64{0}, Float: []float64{90}},
			&schemas.Signal{Name: "t", Unit: targetUnit, Kind: schemas.Float64, Time: []int64{0}, Float: []float64{180}},
		)
	}
	plain := profile.Move{Name: "arm", Position: signal("p"), Target: signal("t")}
	byHand := profile.Move{Name: "arm", Position: signal("p"), Target: &profile.Ref{Signal: "t", Scale: ptr(0.01)}}
	inProfile := profile.Move{Name: "arm", Position: signal("p"), Target: &profile.Ref{Signal: "t", Unit: "cm"}}
	for name, c := range map[string]struct {
		move             profile.Move
		log              *schemas.Log
		position, target float64
	}{
		"no unit":              {plain, pair("", ""), 90, 180},
		"both":                 {plain, pair("deg", "rad"), math.Pi / 2, 180},
		"position's for both":  {plain, pair("deg", ""), math.Pi / 2, math.Pi},
		"target's for both":    {plain, pair("", "in"), 2.286, 4.572},
		"the profile's too":    {inProfile, pair("", ""), 0.9, 1.8},
		"not what is scaled":   {byHand, pair("cm", ""), 0.9, 1.8},
		"unit of nobody":       {plain, pair("ticks", ""), 90, 180},
		"unit of nobody, both": {plain, pair("ticks", "ticks"), 90, 180},
	} {
		position, target, err := c.move.Bind(c.log)
		require.NoError(t, err, name)
		assert.InDelta(t, c.position, position.V[0], 1e-12, name)
		assert.InDelta(t, c.target, target.V[0], 1e-12, name)
	}

	_, _, err := plain.Bind(pair("deg", "m"))
	assert.EqualError(t, err, `position "p" of arm is an angle, but its target "t" is a length; set the unit of one in the profile`)
	position, target, err := plain.Bind(logOf(&schemas.Signal{Name: "p", Unit: "in", Kind: schemas.Float64, Time: []int64{0}, Float: []float64{1}}))
	require.NoError(t, err)
	assert.Equal(t, []float64{0.0254}, position.V)
	assert.Nil(t, target)
	_, _, err = plain.Bind(logOf(&schemas.Signal{Name: "t", Kind: schemas.Text, Time: []int64{0}, Text: []string{"up"}}))
	assert.EqualError(t, err, `signal "t" is text where a number is needed`)
}
