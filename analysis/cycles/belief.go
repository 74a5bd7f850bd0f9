package cycles

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// sight is what was seen of the seconds a cycle lost: what its trip took, beside what others took that
// are usual but for trouble.
type sight struct {
	took   float64 // s, as its trip would have taken that is of the kind of the others
	usual  *body   // of the others
	middle float64 // s, the middle one of all
	scale  float64 // how many times such a trip this one takes
	share  float64 // standard deviation of what is seen to be lost, of itself
	blind  float64 // chance that it says nothing of what was lost
}

// lost is what it says, s, give or take sigma. It is reckoned from the mean of the usual ones as far as
// these are likely most, else from the middle one: what happens on every other trip is usual.
func (s *sight) lost() (lost, sigma float64) {
	usual := s.usual.most*s.usual.mean + (1-s.usual.most)*s.middle
	lost = s.scale * (s.took - usual)
	return lost, math.Hypot(s.scale*math.Sqrt(s.usual.spread+s.usual.variance), s.share*max(0, lost))
}

// Reason is what a cycle was judged by: items of evidence that it was slow, whose log-odds add up
// to its confidence. Empty where it was not judged.
type Reason struct{ Weighed []schemas.Weighed }

// weigh takes the evidence apart: what is believed of any cycle, what jams took of it, and what was
// seen of its loss, or how long it took where that tells alone; together they make it that sure.
func weigh(seconds, usual, low, high float64, usualLaw *law, seen *sight, byTime bool, jammed, sure float64, cfg Config) Reason {
	all := logit(sure)
	of := func(l *law, s *sight, jammed float64) float64 {
		return logit(belief(seconds, usual, low, high, l, s, jammed, cfg))
	}
	prior := of(nil, nil, 0)
	byJam := prior
	if jammed > 0 {
		byJam = of(nil, nil, jammed)
	}
	out := Reason{[]schemas.Weighed{
		{Kind: schemas.WeighedPrior, What: fmt.Sprintf("before it was looked at: %.0f of 100 trips lose time, %.1f s on average", 100*cfg.TroubleShare, cfg.TroubleMean*usual), LogOdds: prior},
	}}
	if jammed > 0 {
		out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedJams, What: fmt.Sprintf("jams took up to %.1f s of it", jammed), LogOdds: byJam - prior})
	}
	if seen == nil || byTime {
		out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedTime, What: "how long it took", LogOdds: all - byJam})
		return out
	}
	lost, sigma := seen.lost()
	out.Weighed = append(out.Weighed, schemas.Weighed{Kind: schemas.WeighedLoss, What: fmt.Sprintf("%.1f s were seen to be lost, give or take %.1f s", lost, sigma), LogOdds: all - byJam})
	return out
}

// logit is the log-odds of a probability, kept finite.
func logit(p float64) float64 {
	const surest = 1e-12
	p = min(max(p, surest), 1-surest)
	return math.Log(p / (1 - p))
}

// belief is the probability that a cycle lost at least high seconds rather than less than
// low. Before it is looked at, a cycle loses nothing with 1-TroubleShare, or as rarely as the others of
// its match do where that was seen, else a time exponentially distributed with the mean TroubleMean of
// the usual. Jams that took jammed
// seconds cost any part of these besides: the robot drives on while a piece stands, and waits
// at the goal only for what is left of it. The integral over the
// loss is a sum over a fine grid.
func belief(seconds, usual, low, high float64, usualLaw *law, seen *sight, jammed float64, cfg Config) float64 {
	const points = 200
	if !(seconds > 0) || !(usual > 0) {
		return 0
	}
	width := seconds / points
	mean := cfg.TroubleMean * usual
	if seen != nil {
		cfg.TroubleShare = seen.usual.trouble
	}
	slow, not := 0.0, 0.0
	if !(jammed > 0) {
		not = (1 - cfg.TroubleShare) * likely(usualLaw, seen, 0, seconds)
	}
	for i := range points {
		lost := (float64(i) + 0.5) * width
		w := lossDensity(lost, mean, jammed, cfg) * width * likely(usualLaw, seen, lost, seconds)
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

// likely is how well what was seen of a cycle of seconds, and how long it took, agree with a loss. What
// a trip took beyond its way is a part of how long it took, and scatters with it: where it was seen,
// the rest, which is the way, says nothing more of what was lost, and counts only as far as what was
// seen may be wrong altogether. Both nil say nothing.
func likely(usual *law, seen *sight, lost, seconds float64) float64 {
	if seen == nil {
		return usual.density(seconds - lost)
	}
	out := (1 - seen.blind) * seen.of(lost)
	if seen.blind > 0 {
		out += seen.blind / seconds * usual.density(seconds-lost) / usual.peak()
	}
	return out
}

// of is the density of what was seen if lost seconds were lost, 1/s.
func (s *sight) of(lost float64) float64 {
	off, blur := s.took-lost/s.scale, s.share*lost/s.scale
	return (s.usual.most*s.usual.density(off, blur) + (1-s.usual.most)*s.usual.scatter(off-s.middle, blur)) / s.scale
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
