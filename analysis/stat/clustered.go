package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Events are how often something happened in how many tries. They need not be whole: what
// comes in bunches counts for less than it is.
type Events struct{ K, N float64 }

// Interval is Wilson's interval of the share at the given level (0.95); see Wilson.
func (e Events) Interval(level float64) (low, high float64) {
	return e.score(distuv.UnitNormal.Quantile(0.5 + level/2))
}

// score is Wilson's interval by its quantile of the normal distribution.
func (e Events) score(z float64) (low, high float64) {
	if e.N <= 0 {
		return 0, 1
	}
	p := e.K / e.N
	centre := p + z*z/(2*e.N)
	half := z * math.Sqrt(p*(1-p)/e.N+z*z/(4*e.N*e.N))
	whole := 1 + z*z/e.N
	low, high = (centre-half)/whole, (centre+half)/whole
	if e.K <= 0 {
		low = 0
	}
	if e.K >= e.N {
		high = 1
	}
	return low, high
}

// Above is the one-sided chance that the share of e lies as far above that of o as it does
// although it is not above: the level at which Newcombe's interval of the difference (see
// NewcombeDifference) begins at 0. It is NaN when one of them has no tries.
func (e Events) Above(o Events) float64 {
	if e.N <= 0 || o.N <= 0 {
		return math.NaN()
	}
	d := e.K/e.N - o.K/o.N
	if d < 0 {
		return 1 - o.Above(e)
	}
	// The interval widens with z, so there is one place where it begins at 0.
	lo, hi := 0.0, 40.0
	for range 60 {
		z := (lo + hi) / 2
		l, _ := e.score(z)
		_, u := o.score(z)
		if d > math.Hypot(e.K/e.N-l, u-o.K/o.N) {
			lo = z
		} else {
			hi = z
		}
	}
	return distuv.UnitNormal.Survival(lo)
}

// Thinned are the events as they count when their share varies d times as much as that of tries
// that do not hang together.
func (e Events) Thinned(d float64) Events { return Events{e.K / d, e.N / d} }

// DesignEffect is by how much the share of all events of all tries varies more than if every
// try stood for itself, told from events k of tries n in clusters (the passes of one match,
// say) which may be alike. It is NaN with fewer than two clusters, or where nothing or
// everything was an event.
//
// Rao and Scott, "A simple method for the analysis of clustered binary data", Biometrics
// 48:577-585 (1992): counts divided by it are taken as those of single tries.
func DesignEffect(k, n []float64) float64 {
	var all Events
	for i := range k {
		all.K, all.N = all.K+k[i], all.N+n[i]
	}
	p, m := all.K/all.N, float64(len(k))
	if m < 2 || !(p > 0 && p < 1) {
		return math.NaN()
	}
	squares := 0.0
	for i := range k {
		r := k[i] - n[i]*p
		squares += r * r
	}
	return m / (m - 1) * squares / (all.N * p * (1 - p))
}
