package stat

import (
	"math"
)

// Evidence answers how much more the readings so far speak for a difference than against it, whatever
// the moment somebody looks: a difference that is none brings it to 1/p or above at any time with a
// chance of p at most. t is Student's statistic of the difference with freedom degrees of freedom, and
// information is what the readings know of it: 1 over the variance of its estimate, in variances of
// a single reading. Differences of about one standard deviation are expected; others take longer.
//
// Lai, Annals of Statistics 4 (1976); with regressors Lindon, Ham, Tingley and Bojinov, Anytime-valid
// linear models (2022): the Bayes factor with a normal prior of variance 1 on difference / sigma,
// and Haar's on all else, is a martingale when there is no difference.
func Evidence(t, freedom, information float64) float64 {
	if !(freedom > 0) || !(information > 0) || math.IsNaN(t) {
		return 1
	}
	r := 1 + information
	x := t * t / freedom
	return math.Exp(-math.Log(r)/2 + (freedom+1)/2*(math.Log1p(x)-math.Log1p(x/r)))
}

// Always is by how many standard errors an estimate with that freedom and information may be off so
// that Evidence against the truth stays under 1/alpha at every moment, with a chance of 1-alpha.
// It is infinite while there is too little to say.
func Always(freedom, information, alpha float64) float64 {
	if !(freedom > 0) || !(information > 0) {
		return math.Inf(1)
	}
	r := 1 + information
	c := math.Exp((math.Log(r) - 2*math.Log(alpha)) / (freedom + 1))
	if c >= r {
		return math.Inf(1)
	}
	return math.Sqrt(freedom * (c - 1) / (1 - c/r))
}

// AlwaysShare is the interval of a proportion, k of n so far, that holds at every moment with the
// chance level: where the likelihood is more than (1-level) of its mean over all proportions. n = 0
// gives [0, 1].
//
// Robbins, Annals of Mathematical Statistics 41 (1970), by Ville's inequality.
func AlwaysShare(k, n int, level float64) (low, high float64) {
	if n <= 0 {
		return 0, 1
	}
	a, b := float64(k), float64(n-k)
	lgamma := func(x float64) float64 { v, _ := math.Lgamma(x); return v }
	mean := lgamma(a+1) + lgamma(b+1) - lgamma(a+b+2) // of the likelihood, its logarithm
	least := mean + math.Log(1-level)
	in := func(p float64) bool { return a*logOf(p)+b*logOf(1-p) >= least }
	top := a / (a + b)
	return edgeOf(in, top, 0), edgeOf(in, top, 1)
}

// AlwaysDifference is the interval of the difference a/m - b/n of two proportions that holds at every
// moment with the chance level: of all pairs of chances whose likelihood is more than (1-level) of
// its mean over all pairs. With m or n 0 nothing is known of that side.
func AlwaysDifference(a, m, b, n int, level float64) (low, high float64) {
	if m <= 0 || n <= 0 {
		return -1, 1
	}
	side := func(k, n int) (of func(p float64) float64, mean float64) {
		x, y := float64(k), float64(n-k)
		lgamma := func(v float64) float64 { g, _ := math.Lgamma(v); return g }
		return func(p float64) float64 { return x*logOf(p) + y*logOf(1-p) }, lgamma(x+1) + lgamma(y+1) - lgamma(x+y+2)
	}
	ofA, meanA := side(a, m)
	ofB, meanB := side(b, n)
	least := meanA + meanB + math.Log(1-level)
	in := func(d float64) bool { // the likeliest pair that differs by d; the likelihood is concave
		from, to := math.Max(0, -d), math.Min(1, 1-d) // of the second
		for range 50 {
			p, q := from+(to-from)/3, to-(to-from)/3
			if ofA(p+d)+ofB(p) < ofA(q+d)+ofB(q) {
				from = p
			} else {
				to = q
			}
		}
		p := (from + to) / 2
		return ofA(p+d)+ofB(p) >= least
	}
	top := float64(a)/float64(m) - float64(b)/float64(n)
	return edgeOf(in, top, -1), edgeOf(in, top, 1)
}

// edgeOf is where what holds inside ends towards outside.
func edgeOf(in func(float64) bool, inside, outside float64) float64 {
	if in(outside) {
		return outside
	}
	for range 45 {
		if middle := (inside + outside) / 2; in(middle) {
			inside = middle
		} else {
			outside = middle
		}
	}
	return outside
}

// logOf is the logarithm, such that nothing times it stays nothing.
func logOf(p float64) float64 { return math.Log(math.Max(p, 1e-300)) }

// Turn is what two versions did in their turns: events of tries of each.
type Turn struct{ A, OfA, B, OfB int }

// EvidenceOfShares answers the question of Evidence for two proportions: how much more the turns
// speak for two chances than for one, whatever the moment somebody looks. The chances of each turn are
// guessed from the turns before, so that what is guessed has not seen what it is tried on.
//
// Turner, Ly and Grünwald, Generic E-variables for exact sequential k-sample tests that allow for
// optional stopping (2021), with Beta(1/2, 1/2) to begin.
func EvidenceOfShares(turns []Turn) float64 {
	const start = 0.5
	sum, a, ofA, b, ofB := 0.0, start, 2*start, start, 2*start
	for _, t := range turns {
		if t.OfA > 0 && t.OfB > 0 {
			pa, pb := a/ofA, b/ofB
			p := (float64(t.OfA)*pa + float64(t.OfB)*pb) / float64(t.OfA+t.OfB)
			likely := func(k, n int, p float64) float64 {
				return float64(k)*math.Log(p) + float64(n-k)*math.Log(1-p)
			}
			sum += likely(t.A, t.OfA, pa) + likely(t.B, t.OfB, pb) - likely(t.A, t.OfA, p) - likely(t.B, t.OfB, p)
		}
		a, ofA, b, ofB = a+float64(t.A), ofA+float64(t.OfA), b+float64(t.B), ofB+float64(t.OfB)
	}
	return math.Exp(sum)
}
