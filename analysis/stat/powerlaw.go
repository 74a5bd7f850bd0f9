package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// PowerLaw is how events become rarer or more frequent as something runs: the expected number of them up to
// time t grows as t to the power of Shape. Under 1 they become rarer.
type PowerLaw struct {
	Shape  float64
	Events float64
	// Excess is how much more the counts of stretches differ from the law than chance makes them (Pearson's
	// statistic over its degrees of freedom, no less than 1): events that come in bunches tell less.
	Excess float64
}

// FitPowerLaw is the maximum-likelihood power law of events that were counted over stretches of running:
// counts[i] of them while it ran from until[i-1], 0 for the first, to until[i], rising. The unit of time is
// no matter. ok is false without two events, or when all are in the first stretch or all in the last:
// there the likelihood has no top.
//
// Crow, in Proschan and Serfling (eds.), Reliability and Biometry (1974), whose methods for grouped data
// are those of MIL-HDBK-189 and IEC 61164.
func FitPowerLaw(until, counts []float64) (fit PowerLaw, ok bool) {
	n := len(counts)
	for _, k := range counts {
		fit.Events += k
	}
	if n < 2 || fit.Events < 2 || counts[0] == fit.Events || counts[n-1] == fit.Events {
		return PowerLaw{}, false
	}
	logs := make([]float64, n) // of time, as a part of all
	for i := range until {
		logs[i] = math.Log(until[i] / until[n-1])
	}
	// The derivative of the log-likelihood, which falls as the shape grows.
	score := func(shape float64) float64 {
		sum := counts[0] * logs[0]
		for i := 1; i < n; i++ {
			left := math.Exp(shape * (logs[i-1] - logs[i]))
			sum += counts[i] * (logs[i] - left*logs[i-1]) / -math.Expm1(shape*(logs[i-1]-logs[i]))
		}
		return sum
	}
	low, high := 1e-3, 1e3
	for range 100 {
		if middle := math.Sqrt(low * high); score(middle) > 0 {
			low = middle
		} else {
			high = middle
		}
	}
	fit.Shape = math.Sqrt(low * high)
	pearson, before := 0.0, 0.0
	for i := range counts {
		share := math.Exp(fit.Shape * logs[i])
		expected := fit.Events * (share - before)
		before = share
		pearson += (counts[i] - expected) * (counts[i] - expected) / expected
	}
	fit.Excess = 1
	if n > 2 {
		fit.Excess = math.Max(1, pearson/float64(n-2))
	}
	return fit, true
}

// freedom is the degrees of freedom of the chi-squared statistic of the shape: two for each event,
// fewer where they come in bunches.
func (l PowerLaw) freedom() float64 { return 2 * l.Events / l.Excess }

// Interval holds the shape with that chance (0.95): twice the events times the true shape over the one
// found is chi-squared. Exact for events at known times, and near it where the stretches are many.
//
// MIL-HDBK-189, of a test that is ended by time.
func (l PowerLaw) Interval(level float64) (low, high float64) {
	law := distuv.ChiSquared{K: l.freedom()}
	return l.Shape * law.Quantile((1-level)/2) / law.K, l.Shape * law.Quantile(1-(1-level)/2) / law.K
}

// Trend is the chi-squared statistic against events that are as frequent all the time, and the two-sided
// chance of one as far out. Large when they become rarer.
func (l PowerLaw) Trend() (chi2, p float64) {
	law := distuv.ChiSquared{K: l.freedom()}
	chi2 = law.K / l.Shape
	return chi2, math.Min(1, 2*math.Min(law.CDF(chi2), law.Survival(chi2)))
}

// Pace is how often events come at the end, after they ran for that long, with its interval at the given level:
// the number of events and the shape are estimated apart, and both logarithms have a variance of one over
// the events.
//
// Crow, as above; the normal approximation is of the logarithm.
func (l PowerLaw) Pace(hours, level float64) (now, low, high float64) {
	now = l.Shape * l.Events / hours
	wide := math.Exp(distuv.UnitNormal.Quantile(0.5+level/2) * math.Sqrt(2*l.Excess/l.Events))
	return now, now / wide, now * wide
}
