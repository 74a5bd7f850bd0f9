package pyramid

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

// raster is a black and white image of a line, drawn between samples by Bresenham's
// algorithm (IBM Systems Journal 4(1), 1965) in its form for all directions.
type raster struct {
	w, h   int
	pixels []bool
}

func (r *raster) line(x0, y0, x1, y1 int) {
	abs := func(v int) int { return max(v, -v) }
	sign := func(v int) int { return min(1, max(-1, v)) }
	dx, dy := abs(x1-x0), -abs(y1-y0)
	sx, sy := sign(x1-x0), sign(y1-y0)
	e := dx + dy
	for {
		r.pixels[y0*r.w+x0] = true
		if x0 == x1 && y0 == y1 {
			return
		}
		twice := 2 * e
		if twice >= dy {
			e, x0 = e+dy, x0+sx
		}
		if twice <= dx {
			e, y0 = e+dx, y0+sy
		}
	}
}

// image draws samples at of a line over t0 to t1, lo to hi.
func image(l *Line, at []int, broken func(k int) bool, t0, t1 int64, lo, hi float64, w, h int) *raster {
	r := &raster{w: w, h: h, pixels: make([]bool, w*h)}
	place := func(i int) (int, int) {
		y := int(math.Floor((l.V[i] - lo) / (hi - lo) * float64(h)))
		return Column(l.T[i], t0, t1, w), max(0, min(y, h-1))
	}
	for k := range at {
		x1, y1 := place(at[k])
		x0, y0 := x1, y1
		if k > 0 && !broken(k) {
			x0, y0 = place(at[k-1])
		}
		r.line(x0, y0, x1, y1)
	}
	return r
}

func (r *raster) wrong(o *raster) (n int) {
	for i := range r.pixels {
		if r.pixels[i] != o.pixels[i] {
			n++
		}
	}
	return n
}

func (r *raster) black() (n int) {
	for _, on := range r.pixels {
		if on {
			n++
		}
	}
	return n
}

func walk(n int) *Line {
	l := &Line{}
	state, level := uint32(12345), 0.0
	for i := range n {
		state = state*1664525 + 1013904223 // Numerical Recipes' generator
		level += float64(int32(state)) / (1 << 31)
		l.T, l.V = append(l.T, int64(i)*5000), append(l.V, level)
	}
	return l
}

func bounds(V []float64) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for _, v := range V {
		if reading(v) {
			lo, hi = min(lo, v), max(hi, v)
		}
	}
	return lo, hi
}

// The claim of M4 (Jugel et al., PVLDB 7(10), 2014): not one pixel differs from a drawing of
// every sample, while least and greatest alone, or first and last alone, leave wrong ones. A
// walk of 20 000 samples on 300 by 120 pixels, as in that comparison.
func TestNoPixelDiffersFromDrawingEverySample(t *testing.T) {
	const w, h = 300, 120
	l := walk(20_000)
	t0, t1 := l.T[0], l.T[len(l.T)-1]
	lo, hi := bounds(l.V)
	all := make([]int, len(l.T))
	for i := range all {
		all[i] = i
	}
	never := func(int) bool { return false }
	whole := image(l, all, never, t0, t1, lo, hi, w, h)
	p := Build(l)
	win := p.Window(t0, t1, w)
	require.LessOrEqual(t, len(win.At), 4*w)
	require.Zero(t, whole.wrong(image(l, win.At, func(k int) bool { return win.Broken[k] }, t0, t1, lo, hi, w, h)))

	var extremes, ends []int
	for c, i := 0, 0; c < w; c++ {
		j := i
		for j < len(l.T) && Column(l.T[j], t0, t1, w) == c {
			j++
		}
		least, greatest := p.Extremes(i, j)
		extremes = append(extremes, min(least, greatest), max(least, greatest))
		ends = append(ends, i, j-1)
		i = j
	}
	e := whole.wrong(image(l, extremes, never, t0, t1, lo, hi, w, h))
	f := whole.wrong(image(l, ends, never, t0, t1, lo, hi, w, h))
	t.Logf("of %d pixels: %d samples leave 0 wrong, extremes alone %d, ends alone %d", whole.black(), len(win.At), e, f)
	require.Positive(t, e, "or this check sees nothing")
	require.Greater(t, f, e)
}

// With samples missing, and with stretches of the match at any zoom: still not one pixel, as
// long as no column is so wide that a gap lies inside of it.
func TestNoPixelDiffersWithGapsAtAnyZoom(t *testing.T) {
	const w, h = 300, 120
	l := walk(20_000)
	l.Gap = 100_000
	kept := &Line{Gap: l.Gap}
	for i := range l.T {
		v := l.V[i]
		if i%3000 > 2400 { // 3 s without a sample every 15 s
			continue
		}
		if i%5000 > 4800 { // 1 s of NaN every 25 s
			v = math.NaN()
		}
		kept.T, kept.V = append(kept.T, l.T[i]), append(kept.V, v)
	}
	p := Build(kept)
	lo, hi := bounds(kept.V)
	for _, zoom := range []int64{1, 2, 7, 40, 300} {
		t0 := kept.T[0] + zoom*11_003
		t1 := t0 + (kept.T[len(kept.T)-1]-kept.T[0])/zoom
		var inside []int
		for i, at := range kept.T {
			if at >= t0 && at <= t1 && reading(kept.V[i]) {
				inside = append(inside, i)
			}
		}
		whole := image(kept, inside, func(k int) bool { return kept.broken(inside[k-1], inside[k]) }, t0, t1, lo, hi, w, h)
		win := p.Window(t0, t1, w)
		at, broken := win.At, win.Broken
		for len(at) > 0 && at[0] < win.First { // the neighbours lie outside of the image
			at, broken = at[1:], broken[1:]
		}
		for len(at) > 0 && at[len(at)-1] >= win.Behind {
			at = at[:len(at)-1]
		}
		require.Zero(t, whole.wrong(image(kept, at, func(k int) bool { return broken[k] }, t0, t1, lo, hi, w, h)), "zoom %d", zoom)
	}
}

// One sample of a million is a spike: it is in every window over it, however coarse.
func TestNoSpikeIsEverLost(t *testing.T) {
	l := walk(1_000_000)
	at := 654_321
	l.V[at] = 1e6
	p := Build(l)
	for columns := 1; columns < 4000; columns = columns*3/2 + 1 {
		require.Contains(t, p.Window(0, l.T[len(l.T)-1], columns).At, at, "%d columns", columns)
	}
}
