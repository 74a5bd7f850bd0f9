package stat

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Lognormal is a fitted lognormal law of durations: the logarithm has mean Mu and standard
// deviation Sigma.
type Lognormal struct {
	Mu, Sigma float64
	MuSE      float64 // of Mu, from the observed information
	LogLik    float64 // of the durations themselves, not of their logarithms
	Events    int     // complete durations it rests on
}

// FitLognormal is the maximum-likelihood lognormal law of durations of which some are
// right-censored. All times must be above zero. ok is false with fewer than three complete
// durations, or when all complete ones are equal.
//
// In θ = 1/σ and δ = μ/σ the log-likelihood is concave (Olsen, "Note on the uniqueness of
// the maximum likelihood estimator for the Tobit model", Econometrica 46 (1978)), so that
// Newton's method with step halving finds the one maximum.
func FitLognormal(all []Lasted) (fit Lognormal, ok bool) {
	theta, delta, events, ok := lognormalStart(all)
	if !ok {
		return Lognormal{}, false
	}
	const (
		most    = 100
		settled = 1e-12
	)
	at := censoredNormal(all, theta, delta)
	for range most {
		det := at.tt*at.dd - at.td*at.td
		if !(det > 0) {
			return Lognormal{}, false
		}
		// The Newton step solves H step = -gradient, H negative definite.
		dTheta := -(at.dd*at.t - at.td*at.d) / det
		dDelta := -(at.tt*at.d - at.td*at.t) / det
		step := 1.0
		next := at
		for range most {
			if theta+step*dTheta > 0 {
				next = censoredNormal(all, theta+step*dTheta, delta+step*dDelta)
				if next.value >= at.value {
					break
				}
			}
			step /= 2
		}
		theta, delta = theta+step*dTheta, delta+step*dDelta
		done := math.Abs(step*dTheta) <= settled*theta && math.Abs(step*dDelta) <= settled*(1+math.Abs(delta))
		gained := next.value - at.value
		at = next
		if done || gained <= 0 {
			break
		}
	}
	fit = Lognormal{Mu: delta / theta, Sigma: 1 / theta, LogLik: at.value, Events: events}
	// Var(mu) by the delta method: mu = δ/θ.
	det := at.tt*at.dd - at.td*at.td
	gt, gd := -delta/(theta*theta), 1/theta
	fit.MuSE = math.Sqrt(-(gt*gt*at.dd - 2*gt*gd*at.td + gd*gd*at.tt) / det)
	return fit, !math.IsNaN(fit.MuSE)
}

// Spread is what is known of a standard deviation before anything was measured: Sigma, as
// surely as Weight measurements more would tell it. The zero Spread is no knowledge.
type Spread struct{ Sigma, Weight float64 }

// Tail is the probability that another duration of this law lasts longer than t, with the
// uncertainty of the fit in it: without censoring and prior exactly Student's t of the
// textbook prediction interval; with censoring that form with the fit's own error of Mu and
// the complete durations for the degrees of freedom; with a prior its weight adds to these
// and its square to the variance (the scaled inverse chi-squared prior of Gelman et al.,
// Bayesian Data Analysis, section 2.6).
func (l Lognormal) Tail(t float64, prior Spread) float64 {
	events := float64(l.Events)
	own := l.Sigma * l.Sigma * events // divided by events - 1: the unbiased variance
	freedom := events - 1 + prior.Weight
	variance := (own + prior.Weight*prior.Sigma*prior.Sigma) / freedom
	share := l.MuSE / l.Sigma
	z := (math.Log(t) - l.Mu) / math.Sqrt(variance*(1+share*share))
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Survival(z)
}

// lognormalStart takes all durations as complete for a first guess.
func lognormalStart(all []Lasted) (theta, delta float64, events int, ok bool) {
	var sum, sumSq float64
	first, differ := math.NaN(), false
	for _, a := range all {
		y := math.Log(a.Time)
		sum += y
		sumSq += y * y
		if !a.Complete {
			continue
		}
		events++
		if events > 1 && a.Time != first {
			differ = true
		}
		first = a.Time
	}
	if events < 3 || !differ {
		return 0, 0, events, false
	}
	n := float64(len(all))
	mean := sum / n
	sd := math.Sqrt(max(sumSq/n-mean*mean, 1e-12))
	return 1 / sd, mean / sd, events, true
}

// likelihood is a log-likelihood with its gradient (t, d) and its second derivatives in
// θ and δ.
type likelihood struct {
	value      float64
	t, d       float64
	tt, td, dd float64
}

func censoredNormal(all []Lasted, theta, delta float64) (l likelihood) {
	for _, a := range all {
		y := math.Log(a.Time)
		z := theta*y - delta
		if a.Complete {
			l.value += math.Log(theta) - z*z/2 - math.Log(2*math.Pi)/2 - y
			l.t += 1/theta - z*y
			l.d += z
			l.tt -= 1/(theta*theta) + y*y
			l.td += y
			l.dd--
			continue
		}
		logQ, mills := upperTail(z)
		curve := mills * (mills - z) // of -log Q; between 0 and 1
		l.value += logQ
		l.t -= mills * y
		l.d += mills
		l.tt -= curve * y * y
		l.td += curve * y
		l.dd -= curve
	}
	return l
}

// upperTail is the logarithm of Q(z) = P(Z > z) of the standard normal and the inverse
// Mills ratio φ(z)/Q(z). Beyond 25 the asymptotic series keeps both from underflowing.
func upperTail(z float64) (logQ, mills float64) {
	if z < 25 {
		q := math.Erfc(z/math.Sqrt2) / 2
		return math.Log(q), math.Exp(-z*z/2) / (q * math.Sqrt(2*math.Pi))
	}
	z2 := z * z
	series := 1 - 1/z2 + 3/(z2*z2) // Abramowitz and Stegun 26.2.12
	return -z2/2 - math.Log(z*math.Sqrt(2*math.Pi)) + math.Log(series), z / series
}
