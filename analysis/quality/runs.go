package quality

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// run is a stretch of one value: samples from up to, not including, to.
type run struct {
	from, to int
	value    float64
	length   int64 // µs from its first to its last sample
}

func (r run) samples() int { return r.to - r.from }

// apart are two samples of which nobody can say what was between, µs: so many usual steps,
// and more than a logging loop is late by now and then.
func apart(times []int64) int64 { return max(5*series.Step(times), 100_000) }

// runsOf are the runs of one value, single samples too, in order. A gap ends a run: what
// was read on both sides of it was not repeated in it.
func runsOf(v []float64, times []int64) []run {
	far := apart(times)
	var out []run
	for i := 0; i < len(v); {
		j := i + 1
		for j < len(v) && v[j] == v[i] && times[j]-times[j-1] <= far {
			j++
		}
		if isReading(v[i]) {
			out = append(out, run{i, j, v[i], times[j-1] - times[i]})
		}
		i = j
	}
	return out
}

// law is how a signal's readings follow each other.
type law struct {
	quantum float64   // the smallest difference between two of its readings; 0 for one value
	changes []float64 // sizes of the changes from one sample to the next, sorted
}

func lawOf(v []float64, times []int64) law {
	far := apart(times)
	l := law{quantum: quantumOf(v)}
	for i := 1; i < len(v); i++ {
		if d := math.Abs(v[i] - v[i-1]); isReading(d) && times[i]-times[i-1] <= far {
			l.changes = append(l.changes, d)
		}
	}
	slices.Sort(l.changes)
	return l
}

// quantumOf is the step of the converter: the smallest of the differences between
// neighbouring values, with those that differ by rounding of the unit taken for one.
func quantumOf(v []float64) float64 {
	values := make([]float64, 0, len(v))
	for _, x := range v {
		if isReading(x) {
			values = append(values, x)
		}
	}
	slices.Sort(values)
	values = slices.Compact(values)
	if len(values) < 2 {
		return 0
	}
	steps := make([]float64, 0, len(values)-1)
	dust := 1e-9 * (values[len(values)-1] - values[0])
	for i := 1; i < len(values); i++ {
		if d := values[i] - values[i-1]; d > dust {
			steps = append(steps, d)
		}
	}
	return stat.Quantile(0.1, steps)
}

// surprise is minus the logarithm of the probability that a reading lies exactly that far
// from the one before: the share of changes as large, spread over as many steps of the
// converter. A change larger than any other was seen half a time.
func (l law) surprise(far float64) float64 {
	if far == 0 || l.quantum == 0 {
		return 0
	}
	at, _ := slices.BinarySearch(l.changes, far)
	share := (float64(len(l.changes)-at) + 0.5) / (float64(len(l.changes)) + 1)
	return -math.Log(share) + math.Log(2*max(1, far/l.quantum))
}
