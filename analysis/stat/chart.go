package stat

import (
	"math"

	"gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// meanRange turns a mean moving range of two into a standard deviation, as the tables
// print it (d2 for n = 2). The exact value is 2/√π = 1.12838: with it the limits of the
// handbook's example would differ from the printed ones in the third decimal.
const meanRange = 1.128

// Chart is a chart of individual values: what a process that goes on as it did would show.
type Chart struct {
	Mean, Low, High      float64 // mean and mean ± 3 Sigma
	Sigma                float64 // mean moving range / 1.128
	MeanRange, RangeHigh float64 // of neighbours' differences, and their upper limit 3.267 MeanRange
	Autocorrelation      float64 // of neighbours
	AutocorrelationP     float64 // the chance of one as far from 0 among values that do not depend on their neighbours
}

// Individuals answers which matches of a season lie outside what is usual: the chart of
// single values x in their order in time, with limits from the moving range of neighbours,
// so that a slow drift or a step does not widen them.
//
// The limits hold for values that do not depend on their neighbours. Where AutocorrelationP (Ljung and
// Box's test of the first autocorrelation) is small they do not: with positive
// autocorrelation they are too narrow, with negative too wide, and a caller says so. NaN
// and infinities are no readings: their neighbours count as neighbours. ok is false with
// fewer than two readings; the last two fields are NaN when all are equal.
//
// NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.2.
func Individuals(x []float64) (c Chart, ok bool) {
	x = finite(x)
	if len(x) < 2 {
		return Chart{}, false
	}
	for i := 1; i < len(x); i++ {
		c.MeanRange += math.Abs(x[i]-x[i-1]) / float64(len(x)-1)
	}
	const rangeHigh = 3.267 // D4 for n = 2
	c.Mean, c.Sigma = stat.Mean(x, nil), c.MeanRange/meanRange
	c.Low, c.High, c.RangeHigh = c.Mean-3*c.Sigma, c.Mean+3*c.Sigma, rangeHigh*c.MeanRange
	c.Autocorrelation = autocorrelation(x, c.Mean)
	n := float64(len(x))
	ljungBox := n * (n + 2) * c.Autocorrelation * c.Autocorrelation / (n - 1)
	c.AutocorrelationP = distuv.ChiSquared{K: 1}.Survival(ljungBox)
	return c, true
}

// autocorrelation is that of neighbours; NaN when all x are equal.
func autocorrelation(x []float64, mean float64) float64 {
	var both, own float64
	for i, v := range x {
		own += (v - mean) * (v - mean)
		if i > 0 {
			both += (v - mean) * (x[i-1] - mean)
		}
	}
	return both / own
}

// EWMA answers where a season's level stands today, with old matches fading: the
// exponentially weighted moving average z[i] = lambda x[i] + (1-lambda) z[i-1], from start,
// with 0 < lambda <= 1. The result is as long as x; a NaN or an infinity in x is no reading
// and leaves the average where it was.
//
// NIST/SEMATECH e-Handbook 6.3.2.4.
func EWMA(x []float64, start, lambda float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		if isFinite(v) {
			start += lambda * (v - start)
		}
		out[i] = start
	}
	return out
}

// EWMALimit is how far an EWMA may lie from its start after n readings of standard
// deviation sigma, at width standard deviations of its own: width sigma sqrt(lambda /
// (2 - lambda) (1 - (1-lambda)^(2n))), which the first few readings of a season need; for
// large n the handbook's limit. A width of 2.962 with lambda 0.2 calls a false alarm once
// in 500 readings (Lucas and Saccucci, Technometrics 32 (1990); the printed table from
// memory, 499.7 by the test's Markov chain).
func EWMALimit(n int, sigma, lambda, width float64) float64 {
	return width * sigma * math.Sqrt(lambda/(2-lambda)*(1-math.Pow(1-lambda, 2*float64(n))))
}

// CUSUM answers since which match a season's level has moved, even by little: the tabular
// cumulative sums of what lies more than slack above target (up) and below it (down), each
// never under 0. A signal is a sum over the decision limit; a shift of two slacks is found
// fastest. With values in standard deviations, slack 0.5 and limit 5 give a false alarm
// once in 465 readings and find a shift of one within 10 (Montgomery, Introduction to
// Statistical Quality Control; table from memory, the same by the test's Markov chain).
//
// Both results are as long as x; a NaN or an infinity in x is no reading and leaves the
// sums where they were. NIST/SEMATECH e-Handbook 6.3.2.3.
func CUSUM(x []float64, target, slack float64) (up, down []float64) {
	up, down = make([]float64, len(x)), make([]float64, len(x))
	var u, d float64
	for i, v := range x {
		if isFinite(v) {
			u, d = max(0, u+v-target-slack), max(0, d+target-slack-v)
		}
		up[i], down[i] = u, d
	}
	return up, down
}

func isFinite(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

// finite are the readings of x: NaN and infinities are none. A new slice.
func finite(x []float64) []float64 {
	out := make([]float64, 0, len(x))
	for _, v := range x {
		if isFinite(v) {
			out = append(out, v)
		}
	}
	return out
}
