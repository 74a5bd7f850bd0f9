package cycles

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
)

// law is how long a cycle of this robot lasts to which nothing happened: its logarithm is
// distributed as Student's t, which holds the uncertainty of centre and spread.
type law struct {
	mu, scale, freedom float64
}

// tail is the chance that a usual cycle takes seconds or longer.
func (l law) tail(seconds float64) float64 {
	if !(seconds > 0) {
		return 1
	}
	return l.of().Survival(math.Log(seconds))
}

// density is that of a usual cycle of seconds, 1/s; alike for all where there is no law.
func (l *law) density(seconds float64) float64 {
	if !(seconds > 0) {
		return 0
	}
	if l == nil {
		return 1
	}
	return l.of().Prob(math.Log(seconds)) / seconds
}

// peak is about the largest density, 1/s; that of no law for none.
func (l *law) peak() float64 {
	if l == nil {
		return 1
	}
	return l.density(math.Exp(l.mu))
}

func (l law) of() distuv.StudentsT {
	return distuv.StudentsT{Mu: l.mu, Sigma: l.scale, Nu: l.freedom}
}

// centre is the mean logarithm of a group of durations, with its variance, their variance
// (unbiased) and how many complete ones it rests on.
type centre struct {
	mu, variance, spread float64
	n                    float64
}

// lawOf is the law by today's durations and those of earlier matches, any of which may be
// empty; ok is false when both are.
//
// Earlier matches say what is usual only as far as today is like them. The robot may have
// been rebuilt, another may drive, the field may be another. So their centre counts with the
// spread that centres of matches have between them, and with as much more as today's own
// cycles are seen to be off (the moment estimate of a random effect: DerSimonian and Laird,
// Controlled Clinical Trials 7 (1986), with one group). A robot like it was is judged by
// all its matches, one that changed by its own.
func lawOf(today []stat.Lasted, earlier [][]stat.Lasted, cfg Config) (l law, ok bool) {
	own, hasOwn := centreOf(today, cfg)
	var pool []stat.Lasted
	for _, m := range earlier {
		pool = append(pool, m...)
	}
	past, hasPast := centreOf(pool, cfg)
	switch {
	case !hasOwn && !hasPast:
		return law{}, false
	case !hasPast: // what was cut off in them still says how long cycles last at least
		own, _ = centreOf(append(pool, today...), cfg)
		return own.law(cfg), true
	}
	if !hasOwn {
		past.variance += cfg.BetweenSigma * cfg.BetweenSigma
		return past.law(cfg), true
	}
	a, b := weights(own, past, cfg)
	both := centre{
		mu: (a*own.mu + b*past.mu) / (a + b), variance: 1 / (a + b),
		spread: (own.spread*(own.n-1) + past.spread*(past.n-1)) / math.Max(1, own.n+past.n-2), n: own.n + past.n - 1,
	}
	return both.law(cfg), true
}

// law adds what is known of spreads in general: see Config.UsualSigma.
func (c centre) law(cfg Config) law {
	freedom := math.Max(0, c.n-1) + cfg.UsualWeight
	variance := (math.Max(0, c.n-1)*c.spread + cfg.UsualWeight*cfg.UsualSigma*cfg.UsualSigma) / freedom
	return law{mu: c.mu, scale: math.Sqrt(variance + c.variance), freedom: freedom}
}

// centreOf fits a lognormal law to durations of which some were cut off. Those far from the
// middle one are left out: slow ones, lucky ones, and ones cut off after a time that is far
// already, as when a robot stops cycling to balance.
func centreOf(all []stat.Lasted, cfg Config) (centre, bool) {
	var logs []float64
	for _, o := range all {
		if o.Complete && o.Time > 0 {
			logs = append(logs, math.Log(o.Time))
		}
	}
	if len(logs) == 0 {
		return centre{}, false
	}
	n := float64(len(logs))
	plain := centre{mu: stat.Median(logs), variance: cfg.UsualSigma * cfg.UsualSigma / n, spread: cfg.UsualSigma * cfg.UsualSigma, n: n}
	if len(logs) < 3 {
		plain.n = 1 // they say where, and next to nothing of how far apart
		return plain, true
	}
	reach := cfg.FarSigmas * max(stat.MADToSigma*stat.MAD(logs), cfg.LeastSpread)
	least, most := math.Exp(plain.mu-reach), math.Exp(plain.mu+reach)
	var body []stat.Lasted
	for _, o := range all {
		if o.Time > 0 && o.Time <= most && (o.Time >= least || !o.Complete) {
			body = append(body, o)
		}
	}
	fit, ok := stat.FitLognormal(body)
	if !ok { // all alike, or too few to differ: as good as no spread of their own
		const none = 0.01
		plain.spread, plain.variance = none*none, none*none/n
		return plain, true
	}
	events, share := float64(fit.Events), fit.MuSE/fit.Sigma
	spread := fit.Sigma * fit.Sigma * events / (events - 1) // unbiased
	return centre{mu: fit.Mu, variance: share * share * spread, spread: spread, n: events}, true
}

// weights are what today's centre and that of earlier matches count for.
func weights(own, past centre, cfg Config) (a, b float64) {
	off := own.mu - past.mu
	between := math.Max(cfg.BetweenSigma*cfg.BetweenSigma, off*off-own.variance-past.variance)
	return 1 / own.variance, 1 / (past.variance + between)
}

// ownShare is the part of the law's centre that today's cycles make up.
func ownShare(today []stat.Lasted, earlier [][]stat.Lasted, cfg Config) float64 {
	own, hasOwn := centreOf(today, cfg)
	var pool []stat.Lasted
	for _, m := range earlier {
		pool = append(pool, m...)
	}
	past, hasPast := centreOf(pool, cfg)
	if !hasOwn || !hasPast {
		return 0
	}
	a, b := weights(own, past, cfg)
	return a / (a + b)
}
