package balance

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// approach is how long the robot climbed, from its first tilt to the last moment at the top
// of it (the platform tips then), and how fast it came, m/s over the half second before by the
// pose. climbS is nil where the platform never tipped, speed without a pose.
func approach(tr trace, a attempt, in Input, cfg Config) (climbS, speed *float64) {
	top, tipped := a.top(tr, in)
	if tipped {
		climbS = schemas.Some(max(0, seconds(tr.t[top]-a.startT)))
	}
	const before = 500_000 // µs
	if way, ok := wayOf(in, cfg, a.startT-before-200_000, a.startT+200_000); ok {
		x0, y0 := way.at(a.startT - before)
		x1, y1 := way.at(a.startT)
		speed = schemas.Some(math.Hypot(x1-x0, y1-y0) / seconds(before))
	}
	return climbS, speed
}
