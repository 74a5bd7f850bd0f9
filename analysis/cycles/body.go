package cycles

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// body is what is known of the usual ones among readings of which some hold a trouble.
type body struct {
	mean, variance float64 // of the usual ones: their mean, and how well it is known
	spread         float64 // their variance
	n              float64 // how many there are
	trouble        float64 // share of all that is troubled
	most           float64 // chance that they are more than half of the readings
	may            []may   // what their mean and standard deviation may be, which the above sum up
	sigmas         []may   // the same for any mean
}

// may is a mean and standard deviation that the usual ones may have, and the chance of it.
type may struct{ mean, sigma, chance float64 }

// density is that of one more usual one at x, of which another error with the standard deviation
// blur is known.
func (b *body) density(x, blur float64) float64 {
	sum := 0.0
	for _, m := range b.may {
		sum += m.chance * normal(x-m.mean, math.Hypot(m.sigma, blur))
	}
	return sum
}

// scatter is the density of one more usual one that lies off their mean, wherever that is.
func (b *body) scatter(off, blur float64) float64 {
	sum := 0.0
	for _, m := range b.sigmas {
		sum += m.chance * normal(off, math.Hypot(m.sigma, blur))
	}
	return sum
}

// normal is the density of a normal deviation with sigma.
func normal(x, sigma float64) float64 {
	z := x / sigma
	return math.Exp(-z*z/2) / (sigma * math.Sqrt(2*math.Pi))
}

// bodies finds the usual ones of readings, each time without one of them, and of all. A reading is
// normal about their mean; with some chance an exponential trouble with the mean trouble is added, as
// trouble only ever adds (the exponentially modified normal law: Grushka, Anal. Chem. 44 (1972));
// OddShare of them may lie anywhere. Nothing says how many are troubled but that it is rather few, so
// that the half of a match that was troubled does not pass for what scatters. The usual standard
// deviation is taken for about guess, as surely as weight readings would tell it. All but the
// readings is summed over a grid.
func bodies(readings []float64, trouble, guess, weight float64, cfg Config) (without []body, of body) {
	only := []may{{sigma: math.Sqrt2 * guess, chance: 1}}
	nothing := body{variance: guess * guess, spread: guess * guess, trouble: cfg.TroubleShare, most: 1, may: only, sigmas: only}
	if len(readings) == 0 {
		return nil, nothing
	}
	grid := gridOf(readings, trouble, guess, weight, cfg)
	for i := range readings {
		if len(readings) == 1 {
			return []body{nothing}, grid.sum(-1)
		}
		without = append(without, grid.sum(i))
	}
	return without, grid.sum(-1)
}

// grid holds the likelihood of each reading at points of mean, spread and chance of trouble.
type grid struct {
	points []point
	best   float64 // largest log of a point
}

type point struct {
	mean, sigma float64
	chance      float64   // of trouble
	log         float64   // of prior and likelihood of all readings
	each        []float64 // log-likelihood of each
	usual       []float64 // probability that each is a usual one
}

func gridOf(readings []float64, trouble, guess, weight float64, cfg Config) grid {
	const (
		means, spreads, chances = 41, 9, 5
		widest                  = 5 // times the guess, and as much narrower
	)
	low, high := math.Inf(1), math.Inf(-1)
	for _, x := range readings {
		low, high = math.Min(low, x), math.Max(high, x)
	}
	reach := high - low + 4*guess
	out := grid{best: math.Inf(-1)}
	for k := range spreads {
		sigma := guess * math.Pow(widest, 2*float64(k)/(spreads-1)-1)
		scaled := guess / sigma
		prior := weight * (math.Log(scaled) - scaled*scaled/2) // scaled inverse chi-squared, on the logarithm
		for i := range means {
			mean := low - guess + (high-low+2*guess)*float64(i)/(means-1)
			of, plus := make([]float64, len(readings)), make([]float64, len(readings)) // densities of a usual one, and of one with trouble
			for j, x := range readings {
				of[j], plus[j] = normal(x-mean, sigma), modified(x-mean, sigma, trouble)
			}
			for j := range chances {
				chance := (float64(j) + 0.5) / chances
				p := point{mean: mean, sigma: sigma, chance: chance, log: prior + 2*math.Log(1-chance)} // Beta(1, 3): one in four
				for j := range readings {
					usual := (1 - cfg.OddShare) * (1 - chance) * of[j]
					all := usual + (1-cfg.OddShare)*chance*plus[j] + cfg.OddShare/reach
					p.each, p.usual = append(p.each, math.Log(all)), append(p.usual, usual/all)
					p.log += math.Log(all)
				}
				out.points, out.best = append(out.points, p), math.Max(out.best, p.log)
			}
		}
	}
	return out
}

// modified is the density of a normal deviation with sigma plus an exponential one with the mean.
func modified(x, sigma, mean float64) float64 {
	share := sigma / mean
	at := x/sigma - share
	const nowhere = -30 // the density underflows
	if at < nowhere {
		return 0
	}
	return math.Exp(share*share/2-x/mean+math.Log(distuv.UnitNormal.CDF(at))) / mean
}

// sum is what the readings but one say; all of them for -1.
func (g grid) sum(but int) (b body) {
	all, square, squareN, others := 0.0, 0.0, 0.0, 0
	for _, p := range g.points {
		log := p.log - g.best
		if but >= 0 {
			log -= p.each[but]
		}
		w := math.Exp(log)
		b.add(may{p.mean, p.sigma, w})
		n, scatter, of := p.usuals(but)
		all, b.mean, square, b.spread = all+w, b.mean+w*p.mean, square+w*p.mean*p.mean, b.spread+w*p.sigma*p.sigma
		b.trouble += w * p.chance
		b.n, squareN, others = b.n+w*n, squareN+w*(n*n+scatter), of
	}
	b.mean, b.spread, b.n = b.mean/all, b.spread/all, b.n/all
	b.trouble /= all
	b.variance = math.Max(0, square/all-b.mean*b.mean)
	const nearly = 0.01 // of a reading: none is quite sure
	b.most = distuv.Normal{Mu: b.n, Sigma: math.Sqrt(math.Max(nearly, squareN/all-b.n*b.n))}.Survival(float64(others) / 2)
	b.settle(all)
	return b
}

// settle makes chances of weights that add up to all; what may hardly be is left out.
func (b *body) settle(all float64) {
	const none = 1e-4
	b.may = slices.DeleteFunc(b.may, func(m may) bool { return m.chance < none*all })
	kept := 0.0
	for _, m := range b.may {
		kept += m.chance
	}
	for i := range b.may {
		m := &b.may[i]
		m.chance /= kept
		if n := len(b.sigmas); n == 0 || b.sigmas[n-1].sigma != m.sigma {
			b.sigmas = append(b.sigmas, may{sigma: m.sigma})
		}
		b.sigmas[len(b.sigmas)-1].chance += m.chance
	}
}

// add takes what may be into account; the grid's chances of trouble are of no matter for it.
func (b *body) add(m may) {
	if last := len(b.may) - 1; last >= 0 && b.may[last].mean == m.mean && b.may[last].sigma == m.sigma {
		b.may[last].chance += m.chance
		return
	}
	b.may = append(b.may, m)
}

// usuals are how many of the readings but one are usual, with the variance of that, and how many
// readings these are.
func (p *point) usuals(but int) (n, variance float64, of int) {
	for i, u := range p.usual {
		if i != but {
			n, variance, of = n+u, variance+u*(1-u), of+1
		}
	}
	return n, variance, of
}
