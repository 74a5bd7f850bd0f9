package power

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// without asks of each branch whether the dip would have come without it, and how far its
// current would have had to be limited for the supply to stay above enter.
//
// Had a branch drawn x less, the voltage would have been higher by resistance times x, all
// else as it was. The resistance is the load line's; where that jumps, the one of the
// moment. Its error, the noise of both sensors and what a shift of one reading between
// voltage and current makes of the branch's current at that moment are taken for independent
// and normal. A branch is necessary ("yes") when without it every reading of the dip would
// have been above enter with 95 % probability, not ("no") when with 5 % at most, given that it
// was a dip: what draws nothing made none, however near the cut-off it was. limit_a is
// the highest limit that would have kept all of them above with 95 %; null when none would.
//
// It is a first-order answer: a motor that is kept from one thing would have done another.
func (m model) without(b *schemas.Brownout, d dip, voltage trace, s *supply, enter float64) {
	if m.line == nil || len(b.Branches) == 0 || len(b.Branches) != len(s.branches) {
		return
	}
	delay := m.pair.delayUs()
	first := series.From(voltage.T, d.start)
	noises := s.noises()
	for n, branch := range s.branches {
		surely, limit, known := math.Inf(1), math.Inf(1), false
		none := math.Inf(1) // how surely it was no dip
		for k := first; k < len(voltage.T) && voltage.T[k] <= d.end; k++ {
			v, t := voltage.V[k], voltage.T[k]+delay
			if v >= enter {
				continue
			}
			amps := branch.at(t)
			ohm, ohmSD := m.here(voltage.T[k], v)
			if math.IsNaN(amps) || math.IsNaN(ohm) {
				continue
			}
			known = true
			ampsSD := math.Max(noises[n], m.shift(branch.trace, t, amps))
			none = min(none, (v-enter)/m.pair.noiseV)
			voltsSD := math.Hypot(m.pair.noiseV, ohm*ampsSD)
			gain := ohm * max(0, amps)
			surely = min(surely, (v+gain-enter)/math.Hypot(voltsSD, ohmSD*amps))
			// v + ohm (amps - limit) is enter with 95 %, the error of ohm at its low end.
			limit = min(limit, amps-(enter-v+oneSided*voltsSD)/(ohm-oneSided*ohmSD))
			if ohm <= oneSided*ohmSD {
				limit = math.Inf(-1)
			}
		}
		if !known {
			continue
		}
		chance := distuv.UnitNormal.CDF(none)
		b.Branches[n].Necessary = sayNecessary((distuv.UnitNormal.CDF(surely) - chance) / (1 - chance))
		if limit >= 0 {
			b.Branches[n].LimitA = schemas.Some(limit)
		}
	}
}

// noises are the noises of each branch's readings, A.
func (s *supply) noises() []float64 {
	if s.noise == nil {
		for _, b := range s.branches {
			s.noise = append(s.noise, noise(b.V, 2000))
		}
	}
	return s.noise
}

// oneSided is how many standard deviations 95 % lie above on one side of the normal.
const oneSided = 1.645

func sayNecessary(p float64) string {
	switch {
	case p >= 0.95:
		return schemas.NecessaryYes
	case p <= 0.05:
		return schemas.NecessaryNo
	}
	return schemas.NecessaryUnknown
}

// here is the resistance for a reading of v at t, with its standard error.
func (m model) here(t int64, v float64) (ohm, sd float64) {
	ohm = m.line.perRead
	sd = (m.line.ResistanceHighOhm - m.line.ResistanceLowOhm) / (2 * 1.96)
	if m.line.LooseOhm == 0 {
		return ohm, sd
	}
	k := series.Before(m.pair.T, t)
	if k < 0 || !(m.pair.I[k] > 0) {
		return math.NaN(), math.NaN()
	}
	// As the moments show it, within what they range over.
	ohm = min(max((m.at(t)-v)/m.pair.I[k], m.line.TightOhm), m.line.LooseOhm)
	return ohm, 0.1 * ohm
}

// shift is half of what a branch's current changes from one of its readings before t to one
// after: what not knowing the time between voltage and current to a reading leaves open.
func (m model) shift(branch trace, t int64, amps float64) float64 {
	if !m.pair.apart && m.pair.response == (response{}) {
		return 0 // read together
	}
	most := 0.0
	for _, other := range [...]float64{branch.at(t - branch.step), branch.at(t + branch.step)} {
		if !math.IsNaN(other) {
			most = math.Max(most, math.Abs(other-amps)/2)
		}
	}
	return most
}

// shifted is by how much a share of the dip changes at most when the currents are read one
// sample earlier or later against the voltage.
func (s supply) shifted(b *schemas.Brownout, from, to int64) (most float64) {
	for n, branch := range s.branches {
		if n >= len(b.Branches) || b.Branches[n].Name != branch.name {
			return most
		}
		for _, by := range [...]int64{-s.whole.step, s.whole.step} {
			whole, known := s.whole.integral(from+by, to+by)
			part, seen := branch.integral(from+by, to+by)
			if known > 0 && seen > 0 && whole > leastA*known {
				share := min(max(part/seen*known/whole, 0), 1)
				most = math.Max(most, math.Abs(share-b.Branches[n].Share))
			}
		}
	}
	return most
}
