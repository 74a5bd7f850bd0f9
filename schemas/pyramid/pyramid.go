package pyramid

import "math"

const (
	base = 16 // samples of a lowest bucket
	fan  = 4  // buckets of the next one up
)

// Pyramid finds the least and the greatest reading between any two samples of a line.
type Pyramid struct {
	line   *Line
	levels []level // lowest first; the last has one bucket at most
}

// level is where the least and the greatest reading of each bucket lie, -1 for a bucket
// without one. Of equal readings it is the first.
type level struct{ least, greatest []int32 }

// Build is the pyramid of a line of less than 2^31 samples, which must not change as long as
// the pyramid is used.
func Build(l *Line) *Pyramid {
	n := len(l.V)
	low := newLevel((n + base - 1) / base)
	for b := range low.least {
		lo, hi := scan(l.V, b*base, min((b+1)*base, n))
		low.least[b], low.greatest[b] = int32(lo), int32(hi)
	}
	return rise(l, low)
}

// rise builds the levels above the lowest.
func rise(l *Line, low level) *Pyramid {
	p := &Pyramid{l, []level{low}}
	for below := low; len(below.least) > 1; {
		n := len(below.least)
		up := newLevel((n + fan - 1) / fan)
		for b := range up.least {
			lo, hi := -1, -1
			for c := b * fan; c < min((b+1)*fan, n); c++ {
				lo, hi = widen(l.V, lo, hi, int(below.least[c]), int(below.greatest[c]))
			}
			up.least[b], up.greatest[b] = int32(lo), int32(hi)
		}
		p.levels = append(p.levels, up)
		below = up
	}
	return p
}

func newLevel(n int) level { return level{make([]int32, n), make([]int32, n)} }

// scan finds the least and the greatest reading of V[i:j], -1 for none.
func scan(V []float64, i, j int) (lo, hi int) {
	lo, hi = -1, -1
	least, greatest := math.Inf(1), math.Inf(-1)
	for ; i < j; i++ {
		v := V[i]
		if !reading(v) {
			continue
		}
		if v < least {
			lo, least = i, v
		}
		if v > greatest {
			hi, greatest = i, v
		}
	}
	return lo, hi
}

// widen is the better of two pairs of least and greatest; of equal readings the earlier.
func widen(V []float64, lo, hi, lo2, hi2 int) (int, int) {
	if lo2 >= 0 && (lo < 0 || V[lo2] < V[lo] || V[lo2] == V[lo] && lo2 < lo) {
		lo = lo2
	}
	if hi2 >= 0 && (hi < 0 || V[hi2] > V[hi] || V[hi2] == V[hi] && hi2 < hi) {
		hi = hi2
	}
	return lo, hi
}

// Extremes is where the least and the greatest reading of samples i up to j lie, the first
// of equals; both are -1 when there is none.
func (p *Pyramid) Extremes(i, j int) (least, greatest int) {
	V := p.line.V
	a, b := (i+base-1)/base, j/base
	if a >= b {
		return scan(V, i, j)
	}
	lo, hi := scan(V, i, a*base)
	lo2, hi2 := scan(V, b*base, j)
	lo, hi = widen(V, lo, hi, lo2, hi2)
	for _, l := range p.levels {
		for ; a < b && a%fan != 0; a++ {
			lo, hi = widen(V, lo, hi, int(l.least[a]), int(l.greatest[a]))
		}
		for ; a < b && b%fan != 0; b-- {
			lo, hi = widen(V, lo, hi, int(l.least[b-1]), int(l.greatest[b-1]))
		}
		if a >= b {
			return lo, hi
		}
		a, b = a/fan, b/fan
	}
	return lo, hi // which is not reached: the one bucket of the last level is taken there
}

// firstReading is the first of samples i up to j that is a reading, j if none is. Buckets
// without any are passed in one step.
func (p *Pyramid) firstReading(i, j int) int {
	for i < j && !reading(p.line.V[i]) {
		if b := i / base; i%base == 0 && p.levels[0].least[b] < 0 {
			i = min((b+1)*base, j)
			continue
		}
		i++
	}
	return i
}

// lastReading is the last of samples i up to j that is a reading, i-1 if none is.
func (p *Pyramid) lastReading(i, j int) int {
	j--
	for j >= i && !reading(p.line.V[j]) {
		if b := j / base; j%base == base-1 && p.levels[0].least[b] < 0 {
			j = max(b*base, i) - 1
			continue
		}
		j--
	}
	return j
}
