package stat

import (
	"math"
	"slices"
)

// Mixture is two lognormal laws of durations with the same spread: the share of the durations
// that follow the one with the logarithm's mean Short, the others follow Long.
type Mixture struct {
	Share, Short, Long, Sigma float64
	LogLik                    float64 // of the durations themselves
	BIC                       float64 // by how much it is better than one law; above 6 the evidence is strong (Kass and Raftery 1995)
}

// FitMixture is the maximum-likelihood mixture of two lognormal laws with one spread, of durations
// of which some are right-censored, by the EM algorithm from three starts (Dempster, Laird and
// Rubin, J. R. Statist. Soc. B 39 (1977); the moments of what was cut off are those of the
// truncated normal). One spread for both keeps the likelihood finite. All times must be above
// zero. ok is false with fewer than eight complete durations, or when all are equal.
func FitMixture(all []Lasted) (best Mixture, ok bool) {
	const least = 8
	one, fits := FitLognormal(all)
	if !fits || one.Events < least {
		return Mixture{}, false
	}
	var logs []float64
	for _, a := range all {
		if a.Complete {
			logs = append(logs, math.Log(a.Time))
		}
	}
	slices.Sort(logs)
	best.LogLik = math.Inf(-1)
	for _, share := range []float64{0.3, 0.5, 0.7} {
		cut := int(share * float64(len(logs)))
		m := Mixture{Share: share, Short: Median(logs[:cut]), Long: Median(logs[cut:]), Sigma: one.Sigma / 2}
		if m = m.climb(all); m.LogLik > best.LogLik {
			best = m
		}
	}
	if best.Short > best.Long {
		best.Short, best.Long, best.Share = best.Long, best.Short, 1-best.Share
	}
	const more = 2 // parameters than one law has
	best.BIC = 2*(best.LogLik-one.LogLik) - more*math.Log(float64(one.Events))
	return best, true
}

// climb repeats EM steps until the likelihood has settled.
func (m Mixture) climb(all []Lasted) Mixture {
	const (
		most    = 500
		settled = 1e-12
	)
	m.LogLik = math.Inf(-1)
	for range most {
		next, before := m.step(all)
		if before-m.LogLik < settled*math.Abs(before) {
			m.LogLik = before
			return m
		}
		next.LogLik = before
		m = next
	}
	_, m.LogLik = m.step(all)
	return m
}

// step is one EM step and the log-likelihood before it.
func (m Mixture) step(all []Lasted) (next Mixture, logLik float64) {
	var n, sum [2]float64
	type part struct{ weight, mean, square [2]float64 }
	parts := make([]part, len(all))
	centre := [2]float64{m.Short, m.Long}
	prior := [2]float64{m.Share, 1 - m.Share}
	for i, a := range all {
		y := math.Log(a.Time)
		var p part
		var like [2]float64
		for k := range 2 {
			z := (y - centre[k]) / m.Sigma
			if a.Complete {
				like[k] = math.Log(prior[k]) - z*z/2 - math.Log(m.Sigma) - math.Log(2*math.Pi)/2 - y
				p.mean[k], p.square[k] = y, 0
				continue
			}
			logQ, mills := upperTail(z)
			like[k] = math.Log(prior[k]) + logQ
			p.mean[k] = centre[k] + m.Sigma*mills
			p.square[k] = m.Sigma * m.Sigma * (1 + z*mills - mills*mills) // variance of what is beyond
		}
		top := math.Max(like[0], like[1])
		total := math.Exp(like[0]-top) + math.Exp(like[1]-top)
		logLik += top + math.Log(total)
		for k := range 2 {
			p.weight[k] = math.Exp(like[k]-top) / total
			n[k] += p.weight[k]
			sum[k] += p.weight[k] * p.mean[k]
		}
		parts[i] = p
	}
	const fewest = 1e-9
	mu := [2]float64{sum[0] / math.Max(n[0], fewest), sum[1] / math.Max(n[1], fewest)}
	scatter := 0.0
	for _, p := range parts {
		for k := range 2 {
			off := p.mean[k] - mu[k]
			scatter += p.weight[k] * (off*off + p.square[k])
		}
	}
	const narrowest = 1e-4
	share := min(max(n[0]/(n[0]+n[1]), fewest), 1-fewest)
	return Mixture{Share: share, Short: mu[0], Long: mu[1], Sigma: math.Max(narrowest, math.Sqrt(scatter/float64(len(all))))}, logLik
}

// Apart is how many spreads lie between the two laws: Ashman's D, above 2 for two that can be told
// apart (Ashman, Bird and Zepf, Astron. J. 108 (1994)).
func (m Mixture) Apart() float64 { return (m.Long - m.Short) / m.Sigma }
