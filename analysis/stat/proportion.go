package stat

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Wilson is the score interval of a proportion k of n, such as the jams of a stage among
// its passes, at the given level (0.95). Unlike the textbook p ± 1.96 SE it stays inside
// [0, 1] and says something for 0 of n: it is exactly 0 at k = 0 and exactly 1 at k = n.
// n = 0 gives [0, 1]: nothing is known.
//
// Wilson (1927); recommended by Newcombe, "Two-sided confidence intervals for the single
// proportion", Statistics in Medicine 17:857-872 (1998), method 3.
func Wilson(k, n int, level float64) (low, high float64) {
	return Events{float64(k), float64(n)}.Interval(level)
}

// ClopperPearson is the exact interval of a proportion k of n at the given level: never
// covers less than the level says, and so is wider than Wilson's. n = 0 gives [0, 1].
//
// Clopper and Pearson, Biometrika 26:404-413 (1934), by quantiles of the beta distribution.
func ClopperPearson(k, n int, level float64) (low, high float64) {
	low, high = 0, 1
	if n <= 0 {
		return low, high
	}
	tail := (1 - level) / 2
	x, m := float64(k), float64(n)
	if k > 0 {
		low = mathext.InvRegIncBeta(x, m-x+1, tail)
	}
	if k < n {
		high = mathext.InvRegIncBeta(x+1, m-x, 1-tail)
	}
	return low, high
}

// Garwood is the exact interval of the mean of a Poisson count k, such as jams an hour,
// at the given level. Divide both ends by the hours looked at.
//
// Garwood, "Fiducial limits for the Poisson distribution", Biometrika 28:437-442 (1936),
// by quantiles of the gamma distribution.
func Garwood(k int, level float64) (low, high float64) {
	tail := (1 - level) / 2
	if k > 0 {
		low = mathext.GammaIncRegInv(float64(k), tail)
	}
	return low, mathext.GammaIncRegCompInv(float64(k)+1, tail)
}

// NewcombeDifference is the interval of the difference a/m - b/n of two independent
// proportions, such as a stage's jam rate before and since a repair, at the given level.
// With m or n 0 nothing is known of that side, and the interval says so.
//
// Newcombe, "Interval estimation for the difference between independent proportions",
// Statistics in Medicine 17:873-890 (1998), method 10: hybrid score, no continuity
// correction.
func NewcombeDifference(a, m, b, n int, level float64) (low, high float64) {
	l1, u1 := Wilson(a, m, level)
	l2, u2 := Wilson(b, n, level)
	p1, p2 := share(a, m), share(b, n)
	d := p1 - p2
	return d - math.Hypot(p1-l1, u2-p2), d + math.Hypot(u1-p1, p2-l2)
}

func share(k, n int) float64 {
	if n <= 0 {
		return 0.5
	}
	return float64(k) / float64(n)
}

// RateRatio is how many times as often events happen in one watch as in another, k in hours against l
// in more, with the exact interval at the given level: given all events, those of the first are a
// share. It is NaN without an event in the second, and the interval infinite above; without hours
// nothing is known.
//
// Clopper and Pearson's limits of the share, as R's poisson.test has them.
func RateRatio(k int, hours float64, l int, more float64, level float64) (ratio, low, high float64) {
	if !(hours > 0) || !(more > 0) || k+l == 0 {
		return math.NaN(), 0, math.Inf(1)
	}
	ratio = math.NaN()
	if l > 0 {
		ratio = float64(k) / hours / (float64(l) / more)
	}
	from, to := ClopperPearson(k, k+l, level)
	return ratio, from / (1 - from) * more / hours, to / (1 - to) * more / hours
}
