package power

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// trace is a series that can be read between its samples, straight from one to the next.
// Before the first sample, behind the last and inside a gap nothing is known (NaN). A
// signal that is logged only when it changes is silent for as long as it is steady: one
// that is silent again and again, for more than half of its time, is taken for that: it
// holds.
type trace struct {
	T     []int64
	V     []float64
	step  int64 // usual time between samples
	limit int64 // a silence longer than this is a gap
	holds bool
	gaps  []series.Interval // stretches in which nothing at all was logged
}

func newTrace(s *series.Float, gaps []series.Interval, cfg Config) trace {
	c := trace{T: s.T, V: s.V, step: usualStep(s.T), gaps: gaps}
	c.limit = max(int64(cfg.GapSteps*float64(c.step)), schemas.Micros(cfg.GapS))
	var silent, times int64
	for i := 1; i < len(c.T); i++ {
		if d := c.T[i] - c.T[i-1]; d > c.limit {
			silent += d
			times++
		}
	}
	c.holds = times > 2 && 2*silent > c.T[len(c.T)-1]-c.T[0]
	return c
}

// usualStep is series.Step of at most some thousand differences spread over the log: the
// usual step of 150 000 samples is known as well from 4 000 of them.
func usualStep(T []int64) int64 {
	const most = 4096
	if len(T) <= most {
		return series.Step(T)
	}
	sum := make([]int64, 1, most+1) // times whose differences are the sampled differences
	for i := 0; i+1 < len(T) && len(sum) <= most; i += len(T) / most {
		sum = append(sum, sum[len(sum)-1]+T[i+1]-T[i])
	}
	return series.Step(sum)
}

// known says whether the value between samples i and i+1 is known.
func (c *trace) known(i int) bool {
	if c.T[i+1]-c.T[i] <= c.limit {
		return true
	}
	if !c.holds {
		return false
	}
	for _, g := range c.gaps {
		if g.Overlap(series.Interval{Start: c.T[i], End: c.T[i+1]}) > c.limit {
			return false
		}
	}
	return true
}

// between is the value at t, T[i] <= t < T[i+1]; behind the last sample it is held for one
// usual step.
func (c *trace) between(i int, t int64) float64 {
	switch {
	case i < 0:
		return math.NaN()
	case c.T[i] == t:
		return c.V[i]
	case i+1 == len(c.T):
		if c.holds || t-c.T[i] <= c.step {
			return c.V[i]
		}
		return math.NaN()
	case !c.known(i):
		return math.NaN()
	case c.T[i+1]-c.T[i] > c.limit:
		return c.V[i]
	}
	f := float64(t-c.T[i]) / float64(c.T[i+1]-c.T[i])
	return c.V[i] + f*(c.V[i+1]-c.V[i])
}

// at is the value at one time.
func (c *trace) at(t int64) float64 { return c.between(series.Before(c.T, t), t) }

// sample is the value at each time of T, ascending, plus lag.
func (c *trace) sample(T []int64, lag int64) []float64 {
	return c.sampleTo(make([]float64, len(T)), T, lag)
}

// sampleTo is sample into out, which is as long as T.
func (c *trace) sampleTo(out []float64, T []int64, lag int64) []float64 {
	i := -1
	for k, t := range T {
		for i+1 < len(c.T) && c.T[i+1] <= t+lag {
			i++
		}
		out[k] = c.between(i, t+lag)
	}
	return out
}

// integral is the area under the trace from t0 to t1 in value seconds, and how many
// seconds of that are known.
func (c *trace) integral(t0, t1 int64) (area, known float64) {
	for i := max(0, series.Before(c.T, t0)); i < len(c.T) && c.T[i] < t1; i++ {
		if i+1 < len(c.T) && t0 <= c.T[i] && c.T[i+1] <= t1 && c.T[i+1]-c.T[i] <= c.limit { // a whole step, as most are
			s, a := schemas.Seconds(c.T[i+1]-c.T[i]), c.V[i]
			area += s * (a + (a + (c.V[i+1] - a))) / 2
			known += s
			continue
		}
		from, to := max(t0, c.T[i]), t1
		switch {
		case i+1 < len(c.T):
			to = min(t1, c.T[i+1])
			if !c.known(i) {
				continue
			}
		case !c.holds:
			to = min(t1, c.T[i]+c.step)
		}
		if to <= from {
			continue
		}
		a, b := c.between(i, from), c.V[i]
		if i+1 < len(c.T) && c.T[i+1]-c.T[i] <= c.limit {
			f := float64(to-c.T[i]) / float64(c.T[i+1]-c.T[i])
			b += f * (c.V[i+1] - c.V[i])
		}
		s := schemas.Seconds(to - from)
		area += s * (a + b) / 2
		known += s
	}
	return area, known
}
