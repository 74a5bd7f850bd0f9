package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func has(s *series.Float) bool { return s != nil && len(s.T) > 0 }

// reader reads a series forward in time. A value holds until the next sample, but not
// longer than limit: a signal that is sampled often and falls silent says nothing. One
// that is only written when it changes has long steps, and so a long limit.
type reader struct {
	s     *series.Float
	i     int // last sample at or before the time asked for last
	limit int64
}

func newReader(s *series.Float) *reader {
	if !has(s) {
		return &reader{}
	}
	return &reader{s: s, i: -1, limit: holds(s.T)}
}

// at is the value at a time, which never goes back from call to call; NaN when there is
// none.
func (r *reader) at(t int64) float64 {
	if r.s == nil {
		return math.NaN()
	}
	for r.i+1 < len(r.s.T) && r.s.T[r.i+1] <= t {
		r.i++
	}
	if r.i < 0 || t-r.s.T[r.i] > r.limit {
		return math.NaN()
	}
	return r.s.V[r.i]
}

// holds is how long a sample is believed: five of the longer usual steps, at least a
// quarter of a second.
func holds(t []int64) int64 {
	steps := stepsOf(t)
	if len(steps) == 0 {
		return math.MaxInt64 / 4 // one sample in the whole log is a constant
	}
	return max(250_000, int64(5*stat.Quantile(0.95, steps)))
}

// stepsOf are times between neighbouring samples in µs, at most some hundred of them from
// all over the series.
func stepsOf(t []int64) []float64 {
	var steps []float64
	for _, i := range spread(len(t), func(i int) bool { return i > 0 }) {
		steps = append(steps, float64(t[i]-t[i-1]))
	}
	return steps
}

// silences are the times at which values of a series stop being believed.
func silences(s *series.Float) []int64 {
	limit := holds(s.T)
	var out []int64
	for i := 1; i < len(s.T); i++ {
		if s.T[i]-s.T[i-1] > limit {
			out = append(out, s.T[i-1]+limit+1)
		}
	}
	return append(out, s.T[len(s.T)-1]+min(limit, math.MaxInt32)+1)
}

// changes are the times of a series' first sample, of those that differ from the one
// before, and of those after a silence.
func changes(s *series.Float) []int64 {
	limit := holds(s.T)
	out := []int64{s.T[0]}
	for i := 1; i < len(s.T); i++ {
		if s.V[i] != s.V[i-1] || s.T[i]-s.T[i-1] > limit {
			out = append(out, s.T[i])
		}
	}
	return out
}

// most is the number of values a quantile is taken over: more would only take longer.
const most = 1000

// spread is at most twice most of the indices for which keep is true, evenly spread: every
// one, or every second, fourth ... when there are more.
func spread(n int, keep func(i int) bool) []int {
	var out []int
	stride, seen := 1, 0
	for i := range n {
		if !keep(i) {
			continue
		}
		if seen%stride == 0 {
			out = append(out, i)
		}
		seen++
		if len(out) < 2*most {
			continue
		}
		for k := range most {
			out[k] = out[2*k]
		}
		out, stride = out[:most], 2*stride
	}
	return out
}

// sample is the values that spread picks, without those that are no reading.
func sample(v []float64, keep func(i int) bool) []float64 {
	at := spread(len(v), func(i int) bool { return !math.IsNaN(v[i]) && keep(i) })
	out := make([]float64, len(at))
	for k, i := range at {
		out[k] = v[i]
	}
	return out
}

// enabled is whether a time lies in one of the periods; always, when the log has none.
func enabled(in Input, at int64) bool {
	if len(in.Periods) == 0 {
		return true
	}
	for _, p := range in.Periods {
		if at >= schemas.Micros(p.StartS) && at < schemas.Micros(p.EndS) {
			return true
		}
	}
	return false
}

// edges are the times at which what is known changes by itself: start and end of the log,
// of periods and of gaps.
func edges(in Input) []int64 {
	out := []int64{in.Start, in.End}
	for _, p := range in.Periods {
		out = append(out, schemas.Micros(p.StartS), schemas.Micros(p.EndS))
	}
	for _, g := range in.Gaps {
		out = append(out, g.Start+1, g.End)
	}
	slices.Sort(out)
	return out
}

// merge is the sorted union of sorted times from start to end.
func merge(start, end int64, all ...[]int64) []int64 {
	size := 0
	for _, t := range all {
		size += len(t)
	}
	out := make([]int64, 0, size)
	next := make([]int, len(all))
	for {
		k := -1
		for j, t := range all {
			if next[j] < len(t) && (k < 0 || t[next[j]] < all[k][next[k]]) {
				k = j
			}
		}
		if k < 0 {
			return out
		}
		at := all[k][next[k]]
		next[k]++
		if at >= start && at <= end && (len(out) == 0 || out[len(out)-1] != at) {
			out = append(out, at)
		}
	}
}
