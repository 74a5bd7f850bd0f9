package clock

import "math"

// point is a limit on a line: u seconds from the reference the line passes at or below y
// microseconds.
type point struct{ u, y float64 }

// hull keeps of points, ascending in u, those that a line below all of them can touch: their
// lower convex hull (Andrew 1979, monotone chain). The result overwrites points.
func hull(points []point) []point {
	kept := points[:0]
	for _, p := range points {
		if n := len(kept); n > 0 && p.u <= kept[n-1].u { // one moment: the lower counts
			if p.y >= kept[n-1].y {
				continue
			}
			kept = kept[:n-1]
		}
		for n := len(kept); n >= 2 && slope(kept[n-2], kept[n-1]) >= slope(kept[n-1], p); n-- {
			kept = kept[:n-1]
		}
		kept = append(kept, p)
	}
	return kept
}

// slope is the drift of the line through two points, in microseconds per second.
func slope(a, b point) float64 { return (b.y - a.y) / (b.u - a.u) }

// walk goes along a hull as the drift of the line that touches it grows.
type walk struct {
	hull []point
	i    int
}

// height is where the highest line of a drift below all points stands at u = 0. Drifts must
// not fall from one call to the next.
func (w *walk) height(drift float64) float64 {
	for w.i+1 < len(w.hull) && slope(w.hull[w.i], w.hull[w.i+1]) <= drift {
		w.i++
	}
	return w.hull[w.i].y - drift*w.hull[w.i].u
}

// line is an offset at u = 0, in microseconds, and a drift in microseconds per second, which
// are parts per million.
type line struct{ offset, drift float64 }

// underline is the line nearest under all points of a hull (not empty), in the sum of its
// distances to points whose mean time is middle, seconds from the reference: the linear
// programme of Moon, Skelly and Towsley (1999). It is the edge of the hull over the middle;
// where a corner stands there, all drifts between its two edges are as good, and it takes the
// one between them. With a middle beside the hull the drift cannot be told, and is 0.
func underline(hull []point, middle float64) line {
	if middle <= hull[0].u || middle >= hull[len(hull)-1].u {
		return level(hull)
	}
	var left, right float64
	for k := 0; hull[k].u < middle; k++ {
		left = slope(hull[k], hull[k+1])
	}
	for k := len(hull) - 1; hull[k].u > middle; k-- {
		right = slope(hull[k-1], hull[k])
	}
	drift := (clamp(left) + clamp(right)) / 2
	touching := walk{hull: hull}
	return line{offset: touching.height(drift), drift: drift}
}

// level is the highest line without drift below all points.
func level(hull []point) line {
	lowest := math.Inf(1)
	for _, p := range hull {
		lowest = min(lowest, p.y)
	}
	return line{offset: lowest}
}

// clamp keeps a drift to what a clock may have.
func clamp(drift float64) float64 { return max(-MaxDrift, min(MaxDrift, drift)) }
