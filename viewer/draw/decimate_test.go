package draw

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas/series"
)

// raster is a black and white image of a line, drawn between samples by Bresenham's
// algorithm as in the source of the check.
type raster struct {
	w, h   int
	pixels []bool
}

func (r *raster) line(x0, y0, x1, y1 int) {
	abs := func(v int) int { return max(v, -v) }
	sign := func(v int) int {
		switch {
		case v > 0:
			return 1
		case v < 0:
			return -1
		default:
			return 0
		}
	}
	dx, dy := abs(x1-x0), -abs(y1-y0)
	sx, sy := sign(x1-x0), sign(y1-y0)
	e := dx + dy
	for {
		r.pixels[y0*r.w+x0] = true
		if x0 == x1 && y0 == y1 {
			return
		}
		before := 2 * e
		if before >= dy {
			e, x0 = e+dy, x0+sx
		}
		if before <= dx {
			e, y0 = e+dx, y0+sy
		}
	}
}

func drawLine(T []int64, V []float64, keep []int, t0, t1 int64, lo, hi float64, w, h int) *raster {
	r := &raster{w: w, h: h, pixels: make([]bool, w*h)}
	at := func(i int) (int, int) {
		y := int(math.Floor((V[i] - lo) / (hi - lo) * float64(h)))
		return column(T[i], t0, t1, w), min(y, h-1)
	}
	for k := 1; k < len(keep); k++ {
		x0, y0 := at(keep[k-1])
		x1, y1 := at(keep[k])
		r.line(x0, y0, x1, y1)
	}
	return r
}

func (r *raster) wrong(o *raster) int {
	n := 0
	for i := range r.pixels {
		if r.pixels[i] != o.pixels[i] {
			n++
		}
	}
	return n
}

func walk(n int) ([]int64, []float64) {
	T, V := make([]int64, n), make([]float64, n)
	state := uint32(12345)
	level := 0.0
	for i := range T {
		state = state*1664525 + 1013904223 // Numerical Recipes' generator
		level += float64(int32(state)) / (1 << 31)
		T[i], V[i] = int64(i)*5000, level
	}
	return T, V
}

// The claim of M4 (Jugel et al., PVLDB 7(10), 2014): first, last, least and greatest of
// each column give the very image of all samples, while two of the four do not. A walk of
// 20 000 samples on 300 by 120 pixels, as in that comparison.
func TestM4DrawsTheSameImage(t *testing.T) {
	const w, h = 300, 120
	T, V := walk(20_000)
	t0, t1 := T[0], T[len(T)-1]
	lo, hi := V[0], V[0]
	all := make([]int, len(T))
	for i, v := range V {
		lo, hi, all[i] = min(lo, v), max(hi, v), i
	}
	whole := drawLine(T, V, all, t0, t1, lo, hi, w, h)
	kept := M4(T, V, t0, t1, w)
	require.LessOrEqual(t, len(kept), 4*w)
	require.Zero(t, whole.wrong(drawLine(T, V, kept, t0, t1, lo, hi, w, h)), "M4 differs from all samples")

	var extremesOnly, endsOnly []int
	for c := range w {
		var in []int
		for _, i := range kept {
			if column(T[i], t0, t1, w) == c {
				in = append(in, i)
			}
		}
		least, greatest := in[0], in[0]
		for _, i := range in {
			if V[i] < V[least] {
				least = i
			}
			if V[i] > V[greatest] {
				greatest = i
			}
		}
		extremesOnly = append(extremesOnly, min(least, greatest), max(least, greatest))
		endsOnly = append(endsOnly, in[0], in[len(in)-1])
	}
	wrongExtremes := whole.wrong(drawLine(T, V, extremesOnly, t0, t1, lo, hi, w, h))
	wrongEnds := whole.wrong(drawLine(T, V, endsOnly, t0, t1, lo, hi, w, h))
	require.Positive(t, wrongExtremes, "least and greatest alone must not do, or this check sees nothing")
	require.Greater(t, wrongEnds, wrongExtremes)
}

func TestM4KeepsTheFourOfEveryColumn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		steps := rapid.SliceOfN(rapid.Int64Range(1, 500), 1, 200).Draw(t, "steps")
		T, V := make([]int64, len(steps)), make([]float64, len(steps))
		at := int64(-1000)
		for i, s := range steps {
			at += s
			T[i], V[i] = at, rapid.Float64Range(-100, 100).Draw(t, "v")
		}
		t0 := rapid.Int64Range(-1200, at).Draw(t, "t0")
		t1 := rapid.Int64Range(t0+1, t0+at+3000).Draw(t, "t1")
		columns := rapid.IntRange(1, 50).Draw(t, "columns")
		kept := M4(T, V, t0, t1, columns)
		has := map[int]bool{}
		for k, i := range kept {
			if T[i] < t0 || T[i] > t1 {
				t.Fatalf("sample at %d kept for %d to %d", T[i], t0, t1)
			}
			if k > 0 && i <= kept[k-1] {
				t.Fatalf("not in order: %v", kept)
			}
			has[i] = true
		}
		for c := range columns {
			first, last := -1, -1
			lo, hi := math.Inf(1), math.Inf(-1)
			gotLo, gotHi := math.Inf(1), math.Inf(-1)
			for i := range T {
				if T[i] < t0 || T[i] > t1 || column(T[i], t0, t1, columns) != c {
					continue
				}
				if first < 0 {
					first = i
				}
				last = i
				lo, hi = min(lo, V[i]), max(hi, V[i])
				if has[i] {
					gotLo, gotHi = min(gotLo, V[i]), max(gotHi, V[i])
				}
			}
			if first >= 0 && (!has[first] || !has[last] || gotLo != lo || gotHi != hi) {
				t.Fatalf("column %d lost one of its four", c)
			}
		}
	})
}

func TestM4OfNothing(t *testing.T) {
	require.Nil(t, M4(nil, nil, 0, 10, 5))
	require.Nil(t, M4([]int64{1}, []float64{1}, 10, 10, 5))
	require.Nil(t, M4([]int64{1}, []float64{1}, 0, 10, 0))
	require.Equal(t, []int{0}, M4([]int64{10}, []float64{1}, 0, 10, 5), "a sample at the very end belongs to the last column")
}

func TestGapsBreakTheLine(t *testing.T) {
	s := &series.Float{}
	for i := range 100 {
		if i >= 40 && i < 70 {
			continue
		}
		s.T, s.V = append(s.T, int64(i)*20_000), append(s.V, float64(i))
	}
	x := scale{0, 2e6, 0, 500}
	lines := polylines(s, 0, 2_000_000, x, scale{0, 100, 100, 0})
	require.Len(t, lines, 2)
	require.InDelta(t, x.at(39*20_000), lines[0][len(lines[0])-1].x, 1e-9)
	require.InDelta(t, x.at(70*20_000), lines[1][0].x, 1e-9)
}

func BenchmarkM4(b *testing.B) {
	T, V := walk(1_000_000)
	for b.Loop() {
		M4(T, V, T[0], T[len(T)-1], 1040)
	}
}
