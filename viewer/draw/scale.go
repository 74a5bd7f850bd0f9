package draw

import "math"

// scale maps values to pixels, v0 to p0 and v1 to p1, straight.
type scale struct{ v0, v1, p0, p1 float64 }

func (s scale) at(v float64) float64 {
	if s.v1 == s.v0 {
		return s.p0
	}
	return s.p0 + (v-s.v0)/(s.v1-s.v0)*(s.p1-s.p0)
}

// clamped is at(v) kept between p0 and p1.
func (s scale) clamped(v float64) float64 {
	lo, hi := min(s.p0, s.p1), max(s.p0, s.p1)
	return min(max(s.at(v), lo), hi)
}

// Ticks are about count round values from lo to hi inclusive, spaced by 1, 2 or 5 times a
// power of ten: the spacing nearest to (hi-lo)/count by ratio. It returns nil for a range
// that is empty, reversed or not finite, or for a count under 1.
//
// The rule is that of ticks in d3-array 3.2.5, against which the test checks it.
func Ticks(lo, hi float64, count int) []float64 {
	if count < 1 || !(hi > lo) || math.IsInf(hi-lo, 0) {
		return nil
	}
	step := (hi - lo) / float64(count)
	power := math.Floor(math.Log10(step))
	factor := 1.0
	switch ratio := step / math.Pow(10, power); {
	case ratio >= math.Sqrt(50):
		factor = 10
	case ratio >= math.Sqrt(10):
		factor = 5
	case ratio >= math.Sqrt2:
		factor = 2
	}
	// A step under 1 is kept as its inverse, a whole number, so that 0.1 times 3 is 0.3.
	var at func(i float64) float64
	if power < 0 {
		inverse := math.Pow(10, -power) / factor
		at = func(i float64) float64 { return i / inverse }
		lo, hi = lo*inverse, hi*inverse
	} else {
		spacing := math.Pow(10, power) * factor
		at = func(i float64) float64 { return i * spacing }
		lo, hi = lo/spacing, hi/spacing
	}
	const slack = 1e-9 // of a step: a bound that is a tick but for rounding counts as one
	var ticks []float64
	for i := math.Ceil(lo - slack); i <= math.Floor(hi+slack); i++ {
		ticks = append(ticks, at(i))
	}
	return ticks
}
