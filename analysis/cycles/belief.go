package cycles

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/schemas"
)

// sight is a measurement of the seconds a cycle lost, apart from how long it lasted.
type sight struct {
	lost  float64 // s
	sigma float64 // s, of the measurement
	apart float64 // s: it is as likely that much less, or more
	blind float64 // chance that it says nothing of what was lost
}

// Reason is what a cycle was judged by: items of evidence that it was slow, whose log-odds add up
// to its confidence. Empty where it was not judged.
type Reason struct{ Weighed []schemas.Weighed }

// weigh takes the evidence apart: what is believed of any cycle, what its duration adds, and what
// was seen of its loss.
func weigh(seconds, usual, low, high float64, usualLaw law, seen *sight, jammed float64, cfg Config) Reason {
	prior := logit(belief(seconds, usual, low, high, nil, nil, 0, cfg))
	byJam := logit(belief(seconds, usual, low, high, nil, nil, jammed, cfg))
	byTime := logit(belief(seconds, usual, low, high, &usualLaw, nil, jammed, cfg))
	all := logit(belief(seconds, usual, low, high, &usualLaw, seen, jammed, cfg))
	out := Reason{[]schemas.Weighed{
		{Kind: schemas.WeighedPrior, What: fmt.Sprintf("before it was looked at: %.0f of 100 trips lose time, %.1f s on average", 100*cfg.TroubleShare, cfg.TroubleMean*usual), LogOdds: prior},
	}}
	if jammed > 0 {
		out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedJams, What: fmt.Sprintf("jams took up to %.1f s of it", jammed), LogOdds: byJam - prior})
	}
	out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedTime, What: "how long it took", LogOdds: byTime - byJam})
	if seen != nil {
		out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedLoss, What: fmt.Sprintf("%.1f s were seen to be lost, give or take %.1f s", seen.lost, seen.sigma), LogOdds: all - byTime})
	}
	return out
}

// logit is the log-odds of a probability, kept finite.
func logit(p float64) float64 {
	const surest = 1e-12
	p = min(max(p, surest), 1-surest)
	return math.Log(p / (1 - p))
}

// belief is the probability that a cycle lost at least high seconds rather than less than
// low, by two witnesses: its duration, which is a usual one and what was lost, and what was seen of the loss, if
// anything was. Before either, a cycle loses nothing with 1-TroubleShare, else a time
// exponentially distributed with the mean TroubleMean of the usual. Jams that took jammed
// seconds cost any part of these besides: the robot drives on while a piece stands, and waits
// at the goal only for what is left of it. The integral over the
// loss is a sum over a fine grid. A witness that is nil says nothing.
func belief(seconds, usual, low, high float64, usualLaw *law, seen *sight, jammed float64, cfg Config) float64 {
	const points = 200
	if !(seconds > 0) || !(usual > 0) {
		return 0
	}
	width := seconds / points
	mean := cfg.TroubleMean * usual
	slow, not := 0.0, 0.0
	if !(jammed > 0) {
		not = (1 - cfg.TroubleShare) * usualLaw.density(seconds) * seen.of(0, seconds)
	}
	for i := range points {
		lost := (float64(i) + 0.5) * width
		w := lossDensity(lost, mean, jammed, cfg) * width * usualLaw.density(seconds-lost) * seen.of(lost, seconds)
		switch {
		case lost >= high:
			slow += w
		case lost < low:
			not += w
		}
	}
	if !(slow+not > 0) {
		return 0
	}
	return slow / (slow + not)
}

// lossDensity is that of a loss above nothing before it is looked at, 1/s: exponential with
// the mean of a trouble, or, with a jam, uniform over what it took plus that.
func lossDensity(lost, mean, jammed float64, cfg Config) float64 {
	q := cfg.TroubleShare
	if !(jammed > 0) {
		return q * math.Exp(-lost/mean) / mean
	}
	both := q * (math.Exp(-max(0, lost-jammed)/mean) - math.Exp(-lost/mean)) / jammed
	if lost < jammed {
		both += (1 - q) / jammed
	}
	return both
}

// of is the likelihood of what was seen if lost seconds were. Its tails are long: a way of
// looking has its own mistakes.
func (s *sight) of(lost, seconds float64) float64 {
	if s == nil {
		return 1
	}
	const freedom = 4
	t := distuv.StudentsT{Mu: lost, Sigma: s.sigma, Nu: freedom}
	return (1-s.blind)*(t.Prob(s.lost-s.apart)+t.Prob(s.lost+s.apart))/2 + s.blind/seconds
}

// believed picks the largest set of cycles of which the expected share that is not slow is at
// most FalseShare, each more likely slow than not (the Bayesian false discovery rate:
// Müller, Parmigiani, Robert and Rousseau, J. Am. Statist. Assoc. 99 (2004)).
func believed(confidence []float64, cfg Config) []bool {
	out := make([]bool, len(confidence))
	wrong, n := 0.0, 0.0
	for {
		next := -1
		for i, c := range confidence {
			if !out[i] && c > 0.5 && (next < 0 || c > confidence[next]) {
				next = i
			}
		}
		if next < 0 || (wrong+1-confidence[next])/(n+1) > cfg.FalseShare {
			return out
		}
		out[next], wrong, n = true, wrong+1-confidence[next], n+1
	}
}
