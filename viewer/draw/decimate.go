package draw

import (
	"math"

	"github.com/afterbell/afterbell/schemas/series"
)

// M4 picks the samples that a line of that many pixel columns needs: of every column the
// first, the last, the least and the greatest (Jugel, Jerzak, Hackenbroich and Markl, M4: A
// Visualization-Oriented Time Series Data Aggregation, PVLDB 7(10), 2014). Drawn between
// them the line covers the same pixels as through all samples.
//
// T is increasing and as long as V. Column c of columns holds the times t with
// floor(columns (t-t0) / (t1-t0)) = c; samples before t0 or after t1 are left out and one at
// t1 itself belongs to the last column. The result is indices into T, increasing, at most
// four a column; nil when t1 <= t0 or columns < 1.
func M4(T []int64, V []float64, t0, t1 int64, columns int) []int {
	if t1 <= t0 || columns < 1 {
		return nil
	}
	var out []int
	for i := series.From(T, t0); i < len(T) && T[i] <= t1; {
		c := column(T[i], t0, t1, columns)
		first, least, greatest := i, i, i
		for i++; i < len(T) && T[i] <= t1 && column(T[i], t0, t1, columns) == c; i++ {
			if V[i] < V[least] {
				least = i
			}
			if V[i] > V[greatest] {
				greatest = i
			}
		}
		last := i - 1
		a, b := min(least, greatest), max(least, greatest)
		out = append(out, first)
		for _, k := range []int{a, b, last} {
			if k > out[len(out)-1] {
				out = append(out, k)
			}
		}
	}
	return out
}

func column(t, t0, t1 int64, columns int) int {
	c := int(math.Floor(float64(columns) * float64(t-t0) / float64(t1-t0)))
	return min(c, columns-1)
}

// runs cuts T where the time between neighbours says that samples are missing: each run is
// a pair of indices, the second exclusive.
func runs(T []int64) [][2]int {
	if len(T) == 0 {
		return nil
	}
	limit := series.GapLimit(T)
	var out [][2]int
	from := 0
	for i := 1; i < len(T); i++ {
		if T[i]-T[i-1] > limit {
			out = append(out, [2]int{from, i})
			from = i
		}
	}
	return append(out, [2]int{from, len(T)})
}

// polylines are the lines of s between t0 and t1, decimated to pixel columns and broken at
// gaps. A run of one sample becomes a line of no length, which is not drawn.
func polylines(s *series.Float, t0, t1 int64, x, y scale) [][]pt {
	columns := int(math.Abs(x.p1 - x.p0))
	part := s.Between(t0, t1+1)
	var lines [][]pt
	for _, run := range runs(part.T) {
		T, V := part.T[run[0]:run[1]], part.V[run[0]:run[1]]
		var line []pt
		for _, i := range M4(T, V, t0, t1, columns) {
			line = append(line, pt{x.at(float64(T[i])), y.clamped(V[i])})
		}
		lines = append(lines, line)
	}
	return lines
}
