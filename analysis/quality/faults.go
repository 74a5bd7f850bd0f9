package quality

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Kinds of faults.
const (
	NoReading = "no reading"
	Dead      = "dead"
	Frozen    = "frozen"
	DropOut   = "drop-out"
	Outlier   = "outlier"
)

// noReadings are the stretches of NaN or infinite samples, each from its first such sample
// to the first real one after it.
func noReadings(s *schemas.Signal, times []int64) []schemas.Fault {
	if s.Kind != schemas.Float64 || s.Boot != nil {
		return nil
	}
	var out []schemas.Fault
	for i := 0; i < len(s.Float); i++ {
		if isReading(s.Float[i]) {
			continue
		}
		from := i
		for i < len(s.Float) && !isReading(s.Float[i]) {
			i++
		}
		out = append(out, fault(s, NoReading, times[from], times[min(i, len(times)-1)],
			fmt.Sprintf("%d samples hold no number", i-from)))
	}
	return out
}

// restlessBefore tells whether at least half of the readings of the RestlessMin before
// sample i differ from the one before them.
func restlessBefore(v []float64, times []int64, i int, cfg Config) bool {
	changed, n := 0, 0
	for k := i; k > 0 && times[i]-times[k-1] <= cfg.RestlessMin; k-- {
		if v[k] != v[k-1] {
			changed++
		}
		n++
	}
	return i > 0 && times[i]-times[0] >= cfg.RestlessMin && 2*changed >= n
}

func inPeriod(t int64, periods []schemas.Period) bool {
	s := schemas.Seconds(t)
	return slices.ContainsFunc(periods, func(p schemas.Period) bool { return p.StartS <= s && s < p.EndS })
}

// thinned is a copy of at most n values spread evenly over v.
func thinned(v []float64, n int) []float64 {
	n = min(n, len(v))
	out := make([]float64, n)
	for i := range out {
		out[i] = v[i*len(v)/n]
	}
	return out
}

// medianOf sorts v and returns its median; 0 when empty.
func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
}

// numbers are the readings of a signal of either kind of number, nil of any other and of one
// that lasted over a restart: its clock begins anew there.
func numbers(s *schemas.Signal) []float64 {
	switch {
	case s.Boot != nil:
		return nil
	case s.Kind == schemas.Float64:
		return s.Float
	case s.Kind != schemas.Int64:
		return nil
	}
	out := make([]float64, len(s.Int))
	for i, v := range s.Int {
		out[i] = float64(v)
	}
	return out
}

func isReading(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func fault(s *schemas.Signal, kind string, from, to int64, note string) schemas.Fault {
	return schemas.Fault{Signal: s.Name, Kind: kind, StartS: schemas.Seconds(from), EndS: schemas.Seconds(to), Note: note}
}
