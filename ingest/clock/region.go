package clock

import (
	"math"
	"slices"
)

// slice is what a region holds at one drift: the lines from low to high at u = 0.
type slice struct{ drift, low, high float64 }

// region is the convex polygon of all lines that break no limit, cut into slices at its
// corners, ascending in drift. Between two slices its edges are straight.
type region struct {
	slices []slice
	drifts []float64 // room to work in
}

// fit makes the region of the lines that pass at or below every point of upper and at or above
// every point of lower, both hulls, lower turned by half a turn about the origin: the lowest
// line above points is the highest below them, turned. It says whether there is such a line.
func (r *region) fit(upper, lower []point) bool {
	r.drifts = append(r.drifts[:0], -MaxDrift, MaxDrift)
	r.corners(upper)
	r.corners(lower)
	slices.Sort(r.drifts)
	r.slices = r.slices[:0]
	below, above := walk{hull: upper}, walk{hull: lower}
	var last slice
	for i, drift := range r.drifts {
		s := slice{drift: drift, low: -above.height(drift), high: below.height(drift)}
		if i > 0 && (s.room() < 0) != (last.room() < 0) {
			r.slices = append(r.slices, meeting(last, s))
		}
		if s.room() >= 0 {
			r.slices = append(r.slices, s)
		}
		last = s
	}
	return len(r.slices) > 0
}

// corners notes the drifts at which a line that touches a hull passes from one corner to the
// next.
func (r *region) corners(hull []point) {
	for k := 0; k+1 < len(hull); k++ {
		if drift := slope(hull[k], hull[k+1]); -MaxDrift < drift && drift < MaxDrift {
			r.drifts = append(r.drifts, drift)
		}
	}
}

func (s slice) room() float64 { return s.high - s.low }

// meeting is the slice without room between one that has some and one that lacks some.
func meeting(a, b slice) slice {
	f := a.room() / (a.room() - b.room())
	height := a.high + f*(b.high-a.high)
	return slice{drift: a.drift + f*(b.drift-a.drift), low: height, high: height}
}

// at is the least and the greatest offset of the region's lines at u seconds.
func (r *region) at(u float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	for _, s := range r.slices {
		low = min(low, s.low+s.drift*u)
		high = max(high, s.high+s.drift*u)
	}
	return low, high
}

// drift is the drift of the region's centroid and the farthest from it that a line has.
func (r *region) drift() (drift, bound float64) {
	least, greatest := r.slices[0].drift, r.slices[len(r.slices)-1].drift
	var area, moment float64
	for i := 1; i < len(r.slices); i++ {
		a, b := r.slices[i-1], r.slices[i]
		wide := b.drift - a.drift
		part := wide * (a.room() + b.room()) / 2
		area += part
		moment += part*(a.drift-least) + wide*wide*(a.room()+2*b.room())/6
	}
	drift = (least + greatest) / 2
	if area > 0 {
		drift = max(least, min(greatest, least+moment/area))
	}
	return drift, max(greatest-drift, drift-least)
}
