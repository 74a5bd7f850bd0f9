package mended

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Rate is what was counted before something was mended, up to a time at which it happened.
//
// The counting stops because the thing happened, not after a number of trials set before;
// that is the negative binomial experiment, and the prior without a preference of its own is
// then p^-1 (1-p)^-1/2 (Jeffreys' rule; Box and Tiao, Bayesian Inference in Statistical
// Analysis, 1973, section 1.3), which leaves Beta(k, n - k + 1/2). The binomial's own prior,
// Beta(1/2, 1/2), would take the robot to be worse than it was, and so call chance a repair:
// with one jam known, more than twice as often as it says. Along time, k dips in T minutes,
// the same rule leaves Gamma(k, T).
type Rate struct {
	Events int
	Trials float64 // passes, attempts, moves; or minutes
	Time   bool    // Trials are minutes
}

// beta are the parameters of what is known of the rate for each trial.
func (r Rate) beta() (a, b float64) {
	return float64(r.Events), max(r.Trials-float64(r.Events), 0) + 0.5
}

// NoneIn is the probability that nothing happens in that many more trials at the same rate:
// B(a, b+m) / B(a, b), the beta-binomial probability of none, and (T / (T+t))^k along time.
// It is 1 when nothing was counted before: then nothing can be said.
func (r Rate) NoneIn(trials float64) float64 {
	if r.Events == 0 || trials <= 0 {
		return 1
	}
	if r.Time {
		return math.Pow(r.Trials/(r.Trials+trials), float64(r.Events))
	}
	a, b := r.beta()
	return math.Exp(mathext.Lbeta(a, b+trials) - mathext.Lbeta(a, b))
}

// Interval is the rate for each trial or minute with its limits of 95 % probability; NaN
// when nothing was counted. The middle is Events / Trials.
func (r Rate) Interval() (low, middle, high float64) {
	const tail = 0.025
	if r.Events == 0 || r.Trials <= 0 {
		return math.NaN(), math.NaN(), math.NaN()
	}
	middle = float64(r.Events) / r.Trials
	if r.Time {
		k := float64(r.Events)
		return mathext.GammaIncRegInv(k, tail) / r.Trials, middle, mathext.GammaIncRegCompInv(k, tail) / r.Trials
	}
	a, b := r.beta()
	return mathext.InvRegIncBeta(a, b, tail), min(middle, 1), mathext.InvRegIncBeta(a, b, 1-tail)
}

// NoneUpTo is the highest rate at which none in so many trials is still seen 1 time in 20:
// 1 - 0.05^(1/n), near 3/n (the rule of three: Hanley and Lippman-Hand, "If nothing goes
// wrong, is everything all right?", JAMA 249:1743-1745, 1983). NaN without trials.
func NoneUpTo(trials float64, time bool) float64 {
	switch {
	case trials <= 0:
		return math.NaN()
	case time:
		return -math.Log(0.05) / trials
	default:
		return 1 - math.Pow(0.05, 1/trials)
	}
}
