package cycles

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// aim is the distance from the aiming point, ready to be read: a lone spike of the camera is
// out of it, and what its noise moves is known.
type aim struct {
	series.Float
	good  float64 // m, near enough to place
	noise float64 // m, standard deviation
	limit int64   // µs, the longest silence across which it is believed
	pause int64   // µs without getting nearer that end a move
}

func aimOf(in Input, cfg Config) *aim {
	if in.AimError == nil || len(in.AimError.T) == 0 || !(in.AimGoodM > 0) {
		return nil
	}
	a := &aim{
		good: in.AimGoodM, pause: schemas.Micros(cfg.CorrectS),
		limit: max(schemas.Micros(cfg.PoseGapS), 3*series.Step(in.AimError.T)),
	}
	s := in.AimError
	a.noise = stat.Noise(s.T, s.V)
	a.T, a.V = s.T, make([]float64, len(s.V))
	for i := range s.V {
		a.V[i] = math.Abs(stat.Median(s.V[max(0, i-1):min(len(s.V), i+2)]))
	}
	return a
}

// margin is by how much the distance must change to be a move of the robot: half of what is
// good enough, and more than the noise does.
func (a *aim) margin() float64 { return max(a.good/2, 5*a.noise) }

// alignOf says how the robot lined up in a complete cycle: from its entry into the goal zone, or
// without zones from when it came to see its target, until the piece left it. nil where the
// target was not seen then.
func alignOf(c *cycle, a *aim, in Input) *schemas.Align {
	if a == nil {
		return nil
	}
	from, _, zoned := c.span(WhyPlace)
	to, known := lastLeft(in.Passes, c.own, c.end)
	if !known {
		to = c.end
	}
	if !zoned {
		from = a.cameUp(c, to)
	}
	seen := a.Between(from, to+1)
	n := len(seen.T)
	if n == 0 || to-seen.T[n-1] > a.limit {
		return nil
	}
	out := &schemas.Align{Assisted: during(in.Assist, to)}
	if known {
		out.PlacedM = schemas.Some(seen.V[n-1])
	}
	if seen.T[0]-from > a.limit {
		return out // it was not seen to arrive
	}
	moves := a.approaches(seen)
	again := len(moves) - 1
	out.ArrivedM, out.Corrections = schemas.Some(moves[0]), &again
	if at, ok := a.settled(seen); ok {
		out.AlignS, out.Assisted = schemas.Some(schemas.Seconds(at-from)), during(in.Assist, at)
	}
	return out
}

// cameUp is when the robot came to see its target, the last time before to that it had not for
// long, and with the piece where that is known.
func (a *aim) cameUp(c *cycle, to int64) int64 {
	seen := a.Between(c.own, to+1)
	if c.hasPiece && c.entered > c.own {
		seen = a.Between(c.entered, to+1)
	}
	if len(seen.T) == 0 {
		return to
	}
	at := seen.T[0]
	for i := 1; i < len(seen.T); i++ {
		if seen.T[i]-seen.T[i-1] > 4*a.limit {
			at = seen.T[i]
		}
	}
	return at
}

// approaches are the least distances of each move towards the aiming point, m, one at least.
// A move ends where the robot moved off by the margin, or got no nearer for a pause; another
// begins when it has come nearer by the margin than it was since.
func (a *aim) approaches(seen *series.Float) []float64 {
	margin := a.margin()
	step := max(a.noise, a.good/10) // nearer by less is none
	nearest, progress, nearestAt := seen.V[0], seen.V[0], seen.T[0]
	var out []float64
	near := true
	farthest := 0.0
	for i, t := range seen.T {
		v := seen.V[i]
		if near {
			nearest = min(nearest, v)
			if v < progress-step {
				progress, nearestAt = v, t
			}
			if v > nearest+margin || t-nearestAt > a.pause {
				out, near, farthest = append(out, nearest), false, v
			}
			continue
		}
		farthest = max(farthest, v)
		if v < farthest-margin {
			near, nearest, progress, nearestAt = true, v, v, t
		}
	}
	if near {
		out = append(out, nearest)
	}
	return out
}

// settled is since when the distance was good enough until the end, give or take its noise.
func (a *aim) settled(seen *series.Float) (at int64, ok bool) {
	for i := len(seen.T) - 1; i >= 0 && seen.V[i] <= a.good+3*a.noise; i-- {
		if seen.V[i] <= a.good {
			at, ok = seen.T[i], true
		}
	}
	return at, ok
}

// during says whether the robot steered itself at t; nil where nothing tells.
func during(assist *series.Bool, t int64) *bool {
	if assist == nil {
		return nil
	}
	on, ok := assist.At(t)
	if !ok {
		return nil
	}
	return &on
}
