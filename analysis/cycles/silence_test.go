package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// silent is a pose that stands in the goal from 10 to 20 s, at x = 5 and from 13 s on at x = then, and is silent
// from 12 s for gap seconds.
func silent(then, gap float64) places {
	pose := &series.Float{}
	for t := 0.0; t < 30; t += 0.1 {
		if t > 12.05 && t < 12+gap {
			continue
		}
		x := 1.0
		switch {
		case t >= 12+gap && t < 20:
			x = then
		case t >= 10 && t < 20:
			x = 5
		}
		pose.T, pose.V = append(pose.T, schemas.Micros(t)), append(pose.V, x)
	}
	y := &series.Float{T: pose.T, V: make([]float64, len(pose.T))}
	square := func(name, use string, x0, x1 float64) profile.Zone {
		return profile.Zone{Name: name, Use: use, Corners: [][2]float64{{x0, -1}, {x1, -1}, {x1, 1}, {x0, 1}}}
	}
	return placesOf(Input{X: pose, Y: y, Zones: []profile.Zone{square("pile", profile.UsePickup, 0, 2), square("shelf", profile.UseGoal, 4, 8)}, End: 29_900_000}, DefaultConfig())
}

// A robot at the same place before and after a short silence has stayed there; over a longer one, or
// at another place, it may have been anywhere.
func TestItStaysOverAShortSilence(t *testing.T) {
	for name, c := range map[string]struct {
		then, gap float64
		place     *float64
	}{
		"the same place":    {5.05, 0.9, schemas.Some(9.0)},
		"for too long":      {5.05, 1.5, nil},
		"moved in the zone": {5.5, 0.9, nil},
	} {
		p := silent(c.then, c.gap)
		got := p.phases(0, 19_000_000, 4_000_000, true)
		if c.place == nil {
			assert.Nil(t, got.PlaceS, name)
			continue
		}
		require.NotNil(t, got.PlaceS, name)
		assert.InDelta(t, *c.place, *got.PlaceS, 0.15, name)
	}
}

// What a silence leaves open is told about, by how much it may be wrong, and may be the reason.
func TestAboutWhereThePoseWasSilent(t *testing.T) {
	p := silent(5.5, 0.9)
	about, off := p.aboutThen(0, 19_000_000, 4_000_000, true)
	require.NotNil(t, about.PlaceS)
	assert.InDelta(t, 6.1, *about.PlaceS, 0.15, "since it was seen again")
	assert.InDelta(t, 0.9, off, 0.15)
	assert.Nil(t, p.phases(0, 19_000_000, 4_000_000, true).PlaceS, "which the report does not say")

	cfg := DefaultConfig()
	mine := phased([]float64{3, 3.1, 2.9, 3, 3.1, 3}, []float64{5, 5.1, 4.9, 5, 5, 11})
	phaseChances(mine, mine, nil, cfg)
	last := mine[5]
	last.ExcessS, last.about = schemas.Some(6.0), last.Phases
	last.Phases.CarryS, last.PhaseP.Carry = nil, nil
	last.offS = 1
	require.NotNil(t, why(last, mine, nil, cfg))
	assert.Equal(t, WhyCarry, *why(last, mine, nil, cfg))
	last.offS = 5.5
	assert.Nil(t, why(last, mine, nil, cfg), "that may be all of it")
}
