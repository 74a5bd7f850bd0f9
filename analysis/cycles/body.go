package cycles

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// body is what is known of the usual ones among readings of which some hold a trouble.
type body struct {
	mean, variance float64 // of the usual ones: their mean, and how well it is known
	spread         float64 // their variance
	n              float64 // how many there are
}

// bodies finds the usual ones of readings, each time without one of them, and of all. A reading is
// normal about their mean; with some chance an exponential trouble with the mean trouble is added, as
// trouble only ever adds (the exponentially modified normal law: Grushka, Anal. Chem. 44 (1972));
// OddShare of them may lie anywhere. Nothing says how many are troubled but that it is rather few, so
// that the half of a match that was troubled does not pass for what scatters. The usual standard
// deviation is taken for about guess, as surely as weight readings would tell it. All but the
// readings is summed over a grid.
func bodies(readings []float64, trouble, guess, weight float64, cfg Config) (without []body, of body) {
	nothing := body{variance: guess * guess, spread: guess * guess}
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
			for j := range chances {
				chance := (float64(j) + 0.5) / chances
				p := point{mean: mean, sigma: sigma, log: prior + 2*math.Log(1-chance)} // Beta(1, 3): one in four
				for _, x := range readings {
					usual := (1 - cfg.OddShare) * (1 - chance) * distuv.Normal{Mu: mean, Sigma: sigma}.Prob(x)
					all := usual + (1-cfg.OddShare)*chance*modified(x-mean, sigma, trouble) + cfg.OddShare/reach
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
	all, square := 0.0, 0.0
	for _, p := range g.points {
		log := p.log - g.best
		if but >= 0 {
			log -= p.each[but]
		}
		w := math.Exp(log)
		all, b.mean, square, b.spread = all+w, b.mean+w*p.mean, square+w*p.mean*p.mean, b.spread+w*p.sigma*p.sigma
		for i, u := range p.usual {
			if i != but {
				b.n += w * u
			}
		}
	}
	b.mean, b.spread, b.n = b.mean/all, b.spread/all, b.n/all
	b.variance = math.Max(0, square/all-b.mean*b.mean)
	return b
}
