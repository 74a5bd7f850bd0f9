package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// twoGoals is a robot at 2.5 m/s that scores twice at x = 13, twice at x = 5, and so on, from pickups at x = 1,
// a second at each, and stands stands[k] seconds on its way with piece k.
func twoGoals(stands []float64) Input {
	pose := &series.Float{}
	var scored []float64
	var passes []schemas.Pass
	t, x := 0.0, 13.0
	stay := func(s float64) {
		for until := t + s; t < until-1e-9; t += 0.02 {
			pose.T, pose.V = append(pose.T, schemas.Micros(t)), append(pose.V, x)
		}
	}
	drive := func(to float64) {
		for x != to {
			if d := to - x; d > 0 {
				x += min(0.05, d)
			} else {
				x += max(-0.05, d)
			}
			stay(0.02)
		}
	}
	for k, s := range stands {
		drive(1)
		stay(1)
		enter := t
		drive(3)
		stay(s)
		goal := 13.0
		if k%4 >= 2 {
			goal = 5
		}
		drive(goal)
		stay(1)
		leave := t - 0.1
		passes = append(passes, schemas.Pass{Piece: k + 1, Outcome: schemas.PassReleased, EnterS: &enter, LeaveS: &leave})
		scored = append(scored, t)
	}
	stay(1)
	y := &series.Float{T: pose.T, V: make([]float64, len(pose.T))}
	square := func(name, use string, x0, x1 float64) profile.Zone {
		return profile.Zone{Name: name, Use: use, Corners: [][2]float64{{x0, -1}, {x1, -1}, {x1, 1}, {x0, 1}}}
	}
	return Input{
		Score: counter(-1, scored...), X: pose, Y: y, Passes: passes,
		Zones:   []profile.Zone{square("pile", profile.UsePickup, 0, 2), square("far", profile.UseGoal, 12, 14), square("near", profile.UseGoal, 4.5, 5.5)},
		Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: t}}, Start: 0, End: schemas.Micros(t),
	}
}

// A near and a far goal: every trip is held against trips of its own length. By arithmetic the
// ways are 12 and 4 m; a robot that scored far sets out from there.
func TestTripsBetweenOtherZonesAreOfAnotherLength(t *testing.T) {
	r := Detect(twoGoals(make([]float64, 10)), DefaultConfig())
	assert.Empty(t, slowOnes(r))
	for k, want := range []float64{24, 24, 16, 8, 16, 24, 16, 8, 16, 24} {
		c := r.Cycles[k]
		assert.Equal(t, "pile", c.Pickup)
		assert.Equal(t, []string{"far", "far", "near", "near"}[k%4], c.Goal)
		require.NotNil(t, c.WayM)
		assert.InDelta(t, want, *c.WayM, 1.2, "to the edge of the goal")
		assert.InDelta(t, 0, *c.ExcessS, 0.9, "usual for its length")
	}

	stands := make([]float64, 10)
	stands[5] = 6
	assert.Equal(t, []int{5}, slowOnes(Detect(twoGoals(stands), DefaultConfig())))
}

// The scale of a way is its metres at the robot's speed over the middle trip, where trips of
// several routes were made.
func TestWays(t *testing.T) {
	trip := func(goal string, way, took float64) *cycle {
		c := row(schemas.CycleScore, schemas.PeriodDriver, 0, schemas.Micros(took), 0, 1, true)
		c.Goal, c.WayM = goal, &way
		return &c
	}
	mine := []*cycle{trip("near", 8, 10), trip("near", 8, 10), trip("near", 8, 10), trip("far", 20, 16), trip("far", 20, 16)}
	w := waysOf(mine, 2)
	assert.InDelta(t, 1.6, w.scale(schemas.Some(20)), 1e-9, "12 m more at 2 m/s are 6 s more than 10 s")
	assert.Equal(t, 1.0, w.scale(schemas.Some(8)))
	assert.Equal(t, 1.0, w.scale(nil))
	assert.Equal(t, 1.0, waysOf(mine[:3], 2).scale(schemas.Some(20)), "one route: one kind")
	assert.Equal(t, 1.0, waysOf(mine[:4], 2).scale(schemas.Some(20)), "once is no route")
	far := waysOf(append(mine, trip("far", 20, 16), trip("far", 20, 16)), 2)
	assert.InDelta(t, 0.625, far.scale(schemas.Some(8)), 1e-9, "12 m less are 6 s less than 16 s")
	assert.Equal(t, 1.0, far.scale(schemas.Some(12)), "no other was about as short: it makes no kind")
	assert.Equal(t, 1.0, waysOf(mine, 0).scale(schemas.Some(20)))
}
