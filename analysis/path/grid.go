package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

func has(s *series.Float) bool { return s != nil && len(s.T) > 0 }

// signal is a series with how long one of its values is believed, µs. A value holds until
// the next sample, but not longer than that: a signal that is sampled often and falls silent
// says nothing. One that is only written when it changes has long steps, and so a long limit.
type signal struct {
	*series.Float
	limit int64
}

func signalOf(s *series.Float) signal {
	if !has(s) {
		return signal{Float: &series.Float{}}
	}
	return signal{s, holds(s.T)}
}

// on are the values at the times of a grid, in order; NaN where there is none.
func (s signal) on(grid []int64) []float64 {
	out := make([]float64, len(grid))
	value, until := math.NaN(), int64(math.MaxInt64)
	i := 0 // samples at or before the time
	for k, at := range grid {
		for ; i < len(s.T) && s.T[i] <= at; i++ {
			value, until = s.V[i], s.T[i]+s.limit
		}
		if at > until {
			value, until = math.NaN(), math.MaxInt64
		}
		out[k] = value
	}
	return out
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
	stride := strideOf(len(t) - 1)
	steps := make([]float64, 0, len(t)/stride+1)
	for i := 1; i < len(t); i += stride {
		steps = append(steps, float64(t[i]-t[i-1]))
	}
	return steps
}

// silences are the times at which values of a series stop being believed.
func (s signal) silences() []int64 {
	if len(s.T) == 0 {
		return nil
	}
	var out []int64
	for i := 1; i < len(s.T); i++ {
		if s.T[i]-s.T[i-1] > s.limit {
			out = append(out, s.T[i-1]+s.limit+1)
		}
	}
	return append(out, s.T[len(s.T)-1]+min(s.limit, math.MaxInt32)+1)
}

// changes are the times of a series' first sample, of those that differ from the one
// before, and of those after a silence.
func (s signal) changes() []int64 {
	var out []int64
	for i := range s.T {
		if i == 0 || s.V[i] != s.V[i-1] || s.T[i]-s.T[i-1] > s.limit {
			out = append(out, s.T[i])
		}
	}
	return out
}

// most is the number of values a quantile is taken over: more would only take longer.
const most = 1000

// strideOf is by how many of n values one steps on to take fewer than twice most of them:
// every one, or every second, fourth ...
func strideOf(n int) int {
	stride := 1
	for (n+stride-1)/stride >= 2*most {
		stride *= 2
	}
	return stride
}

// picks are fewer than twice most of all that were added, evenly spread.
type picks struct {
	at           []int
	stride, next int // one in so many is kept, and which comes next
	seen         int
}

func newPicks() picks { return picks{at: make([]int, 0, 2*most), stride: 1} }

func (p *picks) add(i int) {
	if p.seen == p.next {
		p.keep(i)
	}
	p.seen++
}

func (p *picks) keep(i int) {
	p.at, p.next = append(p.at, i), p.next+p.stride
	if len(p.at) < 2*most {
		return
	}
	for k := range most {
		p.at[k] = p.at[2*k]
	}
	p.at, p.stride = p.at[:most], 2*p.stride
	p.next = most * p.stride
}

// of are the values at the indices picked.
func (p *picks) of(v []float64) []float64 {
	out := make([]float64, len(p.at))
	for k, i := range p.at {
		out[k] = v[i]
	}
	return out
}

// sample is the values for which keep is true, without those that are no reading: all, or as
// many as picks picks of them.
func sample(v []float64, keep func(i int) bool) []float64 {
	p := newPicks()
	for i, x := range v {
		if !math.IsNaN(x) && keep(i) {
			p.add(i)
		}
	}
	return p.of(v)
}

// periodsOf are the periods of a match in µs, one that is always when the log has none.
func periodsOf(in Input) []series.Interval {
	if len(in.Periods) == 0 {
		return []series.Interval{{Start: math.MinInt64, End: math.MaxInt64}}
	}
	var out []series.Interval
	for _, p := range in.Periods {
		out = append(out, series.Interval{Start: schemas.Micros(p.StartS), End: schemas.Micros(p.EndS)})
	}
	return out
}

// during is whether a time lies in one of the intervals.
func during(all []series.Interval, at int64) bool {
	for _, p := range all {
		if at >= p.Start && at < p.End {
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
