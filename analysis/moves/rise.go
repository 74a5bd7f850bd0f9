package moves

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// stroke is the middle of a move, from a tenth of the way to nine tenths: the last time the
// position left the first tenth before it first came to the last, in s from the first sample.
// Times are read straight between samples, so that a stroke of a few samples comes out right as
// far as it can. ok is false when it did not come that far, began past the first tenth, had
// no farther to go than the tolerance, or was silent for longer than cfg.GapS on the way.
func stroke(during *series.Float, from, to, within float64, cfg Config) (left, came float64, ok bool) {
	way := to - from
	if !(math.Abs(way) > within) {
		return 0, 0, false
	}
	part := func(i int) float64 { return (during.V[i] - from) / way }
	left = math.NaN()
	for i := 1; i < len(during.T); i++ {
		before, now := part(i-1), part(i)
		crossing := func(level float64) float64 {
			step := seconds(during.T[i] - during.T[i-1])
			return seconds(during.T[i-1]-during.T[0]) + step*(level-before)/(now-before)
		}
		if seconds(during.T[i]-during.T[i-1]) > cfg.GapS {
			left = math.NaN()
			if now >= 0.9 {
				return 0, 0, false
			}
		}
		if before < 0.1 && now >= 0.1 {
			left = crossing(0.1)
		}
		if now >= 0.9 {
			came = crossing(0.9)
			return left, came, !math.IsNaN(left) // nobody saw it leave
		}
	}
	return 0, 0, false
}

// rise is how long the stroke took, s; nil without one.
func rise(during *series.Float, from, to, within float64, cfg Config) *float64 {
	left, came, ok := stroke(during, from, to, within, cfg)
	if !ok {
		return nil
	}
	return schemas.Some(came - left)
}
