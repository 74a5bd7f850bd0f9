package sim

import (
	"hash/fnv"
	"math"
	"math/rand/v2"
)

// random draws for one subject. Each subject has its own stream of the seed, so that a
// change in one (a noisier sensor, say) does not reshuffle every other.
type random struct{ *rand.Rand }

func stream(seed uint64, subject string) random {
	h := fnv.New64a()
	h.Write([]byte(subject))
	return random{rand.New(rand.NewPCG(seed, h.Sum64()))}
}

// normal is a Gaussian draw held within three deviations, so that no part is absurd.
func (r random) normal(mean, deviation float64) float64 {
	return mean + deviation*max(-3, min(3, r.NormFloat64()))
}

// about is v within a relative spread.
func (r random) about(v, relative float64) float64 { return v * r.normal(1, relative) }

// between is an even draw from lo to hi.
func (r random) between(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// delay is how long a person takes: log-normal about a median, in seconds. A spread of 0.3
// puts nine in ten between 0.6 and 1.6 times the median.
func (r random) delay(median, spread float64) float64 {
	return median * math.Exp(r.normal(0, spread))
}
