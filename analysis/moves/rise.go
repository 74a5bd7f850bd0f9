package moves

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// rise is how long the position took from a tenth of the way to nine tenths, s: the last
// time it left the first tenth before it first came to the last. Times are read straight
// between samples, so that a rise of a few samples comes out right as far as it can. nil
// when it did not come that far, began past the first tenth, had no farther to go than the
// tolerance, or was silent for longer than cfg.GapS on the way.
func rise(during *series.Float, from, to, within float64, cfg Config) *float64 {
	way := to - from
	if !(math.Abs(way) > within) {
		return nil
	}
	part := func(i int) float64 { return (during.V[i] - from) / way }
	left := math.NaN()
	for i := 1; i < len(during.T); i++ {
		before, now := part(i-1), part(i)
		crossing := func(level float64) float64 {
			step := seconds(during.T[i] - during.T[i-1])
			return seconds(during.T[i-1]-during.T[0]) + step*(level-before)/(now-before)
		}
		if seconds(during.T[i]-during.T[i-1]) > cfg.GapS {
			left = math.NaN()
			if now >= 0.9 {
				return nil
			}
		}
		if before < 0.1 && now >= 0.1 {
			left = crossing(0.1)
		}
		if now >= 0.9 {
			return schemas.Some(crossing(0.9) - left) // NaN, nil, when nobody saw it leave
		}
	}
	return nil
}
