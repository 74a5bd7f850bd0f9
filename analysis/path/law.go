package path

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"gonum.org/v1/gonum/stat/distuv"
)

// law is what is known of how long (driven seconds) one step of the way takes: the
// predictive law of the next piece's ln seconds, Student's t because mean and spread are
// themselves only estimates. With many passes it is a lognormal law, with none a wide guess.
type law struct {
	dist distuv.StudentsT
	n    float64     // complete, undisturbed passes of today it rests on
	done *[4]float64 // what within found out, by share; shared by copies
}

func newLaw(dist distuv.StudentsT, n float64) law {
	return law{dist: dist, n: n, done: new([4]float64)}
}

// share is a part of all steps that a law is asked for.
type share int

const (
	in80 share = iota
	in90
	in95
	in99
)

// within is the seconds in which a share of all steps is done. Few of the many laws that are
// learned are ever asked, those then often, and Student's quantiles are slow to come by: each
// is found when first asked for.
func (l law) within(of share) float64 {
	if l.done[of] == 0 {
		l.done[of] = math.Exp(l.dist.Quantile([...]float64{0.8, 0.9, 0.95, 0.99}[of]))
	}
	return l.done[of]
}

// of is the law of a piece that goes so elsewhere.
func (l law) of(p pace) law {
	d := l.dist
	d.Mu += p.off * d.Sigma
	d.Sigma *= p.narrow
	return newLaw(d, l.n)
}

// belief is a normal law of ln seconds with the weight of what it rests on: kappa passes
// for the mean, nu for the spread (a normal-inverse-gamma prior).
type belief struct{ mu, kappa, sigma, nu float64 }

// took is one observed step: x driven seconds, and whether it was completed or only cut
// off there (end of log, taken out, backed out), so that it would have lasted longer.
type took struct {
	x    float64
	done bool
	at   int64   // when the visit began that it is of
	held float64 // log-odds of a jam by what its motor and the driver did, 0 where that is not known
}

// priorPasses is how many passes the guess of the spread is worth.
const priorPasses = 6

// guess is the belief before any pass was seen.
func guess(s float64, cfg Config) belief {
	w := cfg.PriorSigma / cfg.PriorSpread
	return belief{mu: math.Log(s), kappa: w * w, sigma: cfg.PriorSigma, nu: priorPasses}
}

// fit is the law of the next step after those observed. Cut-off steps count for what they
// lasted at least, and jams among the steps, not yet known as such, are weighed out by a
// second component that lasts much longer: EM for a censored normal mixture with conjugate
// prior. Gelman and others, Bayesian Data Analysis (3rd ed.), 3.3, for the prior.
//
// EM ends on the hill it starts on, and with few steps there may be two: that two of five were
// jams, or that this slot takes any time. So it starts from a wide spread and from the narrow
// one of the prior, and the likelier end counts.
func fit(all []took, prior belief, floor float64, cfg Config) law {
	mu, wide := prior.mu, prior.sigma
	// Jams only lengthen, so the search starts from the shorter times.
	if done := logsDone(all, floor); len(done) > 0 {
		const guesses = 2
		n := float64(len(done))
		mu = (guesses*prior.mu + n*stat.Quantile(0.3, done)) / (guesses + n)
		wide = max(wide, cfg.PriorSpread/math.Sqrt(1+n), stat.MADToSigma*stat.MAD(done))
	}
	b, n := climb(all, prior, mu, wide, floor, cfg)
	if b.sigma > prior.sigma && wide > prior.sigma {
		other, m := climb(all, prior, mu, prior.sigma, floor, cfg)
		if prior.worth(all, other, floor, cfg) > prior.worth(all, b, floor, cfg) {
			b, n = other, m
		}
	}
	return b.predict(n)
}

// climb is EM from one start: the belief it ends at, and the complete undisturbed steps in it.
func climb(all []took, prior belief, mu, sigma, floor float64, cfg Config) (b belief, n float64) {
	b = prior
	const rounds = 25
	for range rounds {
		now := distuv.Normal{Mu: mu, Sigma: sigma}
		var w, sum, sumSq float64
		n = 0
		for _, a := range all {
			y := math.Log(max(a.x, floor))
			usual := chanceUsual(a, y, now, cfg)
			m, m2 := y, y*y
			if !a.done {
				m, m2 = beyond(y, mu, sigma)
			} else {
				n += usual
			}
			w, sum, sumSq = w+usual, sum+usual*m, sumSq+usual*m2
		}
		kappa := prior.kappa + w
		mean := (prior.kappa*prior.mu + sum) / kappa
		// Sum of squares about the mean, the prior's own included.
		ss := sumSq - 2*mean*sum + w*mean*mean + prior.kappa*(prior.mu-mean)*(prior.mu-mean)
		nu := prior.nu + w
		b = belief{mu: mean, kappa: kappa, nu: nu, sigma: math.Sqrt((prior.nu*prior.sigma*prior.sigma + max(ss, 0)) / nu)}
		mu, sigma = b.mu, b.sigma
	}
	return b, n
}

// worth is the logarithm of how likely a belief is after all steps, jams among them
// considered, up to a constant.
func (prior belief) worth(all []took, b belief, floor float64, cfg Config) float64 {
	now := distuv.Normal{Mu: b.mu, Sigma: b.sigma}
	variance := square(b.sigma)
	sum := -(prior.nu+3)/2*math.Log(variance) - (prior.nu*square(prior.sigma)+prior.kappa*square(b.mu-prior.mu))/(2*variance)
	for _, a := range all {
		usual, jam := a.chances(math.Log(max(a.x, floor)), now, cfg)
		sum += math.Log(max(usual+jam, 1e-300))
	}
	return sum
}

// predict is the law of the next step. While the mean is hardly known (small kappa) what
// is unknown is the mean, and that guess has no heavy tails.
func (b belief) predict(n float64) law {
	return newLaw(distuv.StudentsT{Mu: b.mu, Sigma: b.sigma * math.Sqrt(1+1/b.kappa), Nu: b.nu + 3/b.kappa}, n)
}

// chanceUsual is the probability that a step was an undisturbed one.
func chanceUsual(a took, y float64, now distuv.Normal, cfg Config) float64 {
	if y <= now.Mu {
		return 1
	}
	usual, jam := a.chances(y, now, cfg)
	if usual+jam == 0 {
		return 0
	}
	return usual / (usual + jam)
}

// chances are the densities of a step of y ln seconds that was undisturbed, and of one with a
// jam in it. A jam adds seconds to what is usual, so nothing shorter than usual is one.
func (a took) chances(y float64, now distuv.Normal, cfg Config) (usual, jam float64) {
	if y <= now.Mu {
		if a.done {
			return now.Prob(y), 0
		}
		return now.Survival(y), 0
	}
	long := jammed(math.Exp(now.Mu))
	usual, jam = now.Prob(y), long.prob(y)
	if !a.done {
		usual, jam = now.Survival(y), long.survival(y)
	}
	rate := 1 / (1 + math.Exp(-logit(cfg.JamRate)-a.held))
	return usual * (1 - rate), jam * rate
}

func logit(p float64) float64 { return math.Log(p / (1 - p)) }

// jamLaw is the law of how long a step with a jam in it takes, in ln seconds of driving.
type jamLaw [2]distuv.Normal

// jammed is the jam law where usual seconds are usual: most stops are driven against for
// half a second to five before they go or the driver lets go, some for as long as the
// match lasts.
func jammed(usual float64) jamLaw {
	return jamLaw{{Mu: math.Log(usual + 1.5), Sigma: 1}, {Mu: math.Log(usual + 10), Sigma: 1.5}}
}

const mostJams = 0.7 // share of the shorter kind

// prob is the density at y, survival the chance of more than y.
func (j jamLaw) prob(y float64) float64 {
	return mostJams*j[0].Prob(y) + (1-mostJams)*j[1].Prob(y)
}

func (j jamLaw) survival(y float64) float64 {
	return mostJams*j[0].Survival(y) + (1-mostJams)*j[1].Survival(y)
}

// beyond is the mean of Y and of Y*Y for a normal Y known to exceed y.
func beyond(y, mu, sigma float64) (m, m2 float64) {
	z := (y - mu) / sigma
	q := distuv.UnitNormal.Survival(z)
	mills := z + 1/math.Max(z, 1) // far in the tail
	if q > 1e-12 {
		mills = distuv.UnitNormal.Prob(z) / q
	}
	m = mu + sigma*mills
	return m, mu*mu + sigma*sigma*(1+z*mills) + 2*mu*sigma*mills
}

func logsDone(all []took, floor float64) []float64 {
	var out []float64
	for _, a := range all {
		if a.done {
			out = append(out, math.Log(max(a.x, floor)))
		}
	}
	return out
}

// usual is the median in seconds.
func (l law) usual() float64 { return math.Exp(l.dist.Mu) }

// like is how usual x seconds are: 1 for the median, falling to both sides.
func (l law) like(x float64) float64 {
	z := (math.Log(x) - l.dist.Mu) / l.dist.Sigma
	return math.Pow(1+z*z/l.dist.Nu, -(l.dist.Nu+1)/2) // Student's density over its height
}

// everyS is about how often a piece comes into the path, s: the measure of how surely another one
// is due. Common practice.
const everyS = 10

// due is how much more probable a piece is to come after just x seconds than a new one is to come
// into the path just then: the narrower the law, the less it can be chance that something shows
// when it is due. Never less than like, for what is hardly known is no worse than not due.
func (l law) due(x float64) float64 {
	width := math.Sqrt(2*math.Pi) * l.dist.Sigma * l.usual()
	return l.like(x) * max(1, everyS/width)
}

// and is the law of one step after another: medians and variances add.
func (l law) and(m law) law {
	a, b := l.usual(), m.usual()
	s := math.Hypot(a*l.dist.Sigma, b*m.dist.Sigma) / (a + b)
	return newLaw(distuv.StudentsT{Mu: math.Log(a + b), Sigma: s, Nu: min(l.dist.Nu, m.dist.Nu)}, min(l.n, m.n))
}

// usuals collects from earlier passes how long each step took by the wall: in front of
// stage from's beam (to == from) or from there until the beam of stage to. Passes that
// ended in a jam or backed out are left out.
func usuals(history [][]schemas.Pass, from, to string) []float64 {
	var out []float64
	for _, match := range history {
		for _, p := range match {
			if p.Outcome == schemas.PassJammed || p.Outcome == schemas.PassBackedOut {
				continue
			}
			a, b := at(p, from), at(p, to)
			if a == nil || b == nil || a.EnterS == nil {
				continue
			}
			end := b.EnterS
			if from == to {
				end = a.LeaveS
			}
			if end != nil && *end > *a.EnterS {
				out = append(out, *end-*a.EnterS)
			}
		}
	}
	return out
}

func at(p schemas.Pass, stage string) *schemas.StagePass {
	for i := range p.Stages {
		if p.Stages[i].Stage == stage {
			return &p.Stages[i]
		}
	}
	return nil
}

// learned is the belief that this robot's past gives; the guess without any.
func learned(past []float64, s float64, cfg Config) belief {
	b := guess(s, cfg)
	if len(past) == 0 {
		return b
	}
	y := make([]float64, len(past))
	for i, v := range past {
		y[i] = math.Log(v)
	}
	n := float64(len(past))
	spread := stat.MADToSigma * stat.MAD(y)
	few := priorPasses / (priorPasses + n)
	return belief{
		mu: stat.Median(y), kappa: min(n, cfg.HistoryWeight),
		sigma: math.Sqrt(few*b.sigma*b.sigma + (1-few)*spread*spread), nu: priorPasses + min(n, 4*cfg.HistoryWeight),
	}
}
