package sim

import "slices"

// powerRecord is what was drawn at every step, for the truth about the supply.
type powerRecord struct {
	fresh   battery     // as the log began
	current []float64   // A
	contact []float64   // ohm of a bad connection; nil without one
	inputs  [][]float32 // A, of each branch

	// Sums over the periods of the match.
	steps               int
	ohmSum, volts       float64
	slowSum             float64 // what relaxation adds to the ohms within a second of load
	whole, inBranches   float64
	restLeast, restMost float64 // A, over the last seconds before the match
	restSteps           int
}

// restS is how long before the match the robot has to stand still to be at rest.
const restS = 5.0

func (p *powerRecord) note(w *world) {
	s := w.supply
	if p.inputs == nil {
		p.inputs = make([][]float32, len(s.branches))
		n := int(w.until/step) + 1 - w.steps
		p.current = make([]float64, 0, n)
		for i := range p.inputs {
			p.inputs[i] = make([]float32, 0, n)
		}
	}
	p.current = append(p.current, s.current)
	for i, b := range s.branches {
		p.inputs[i] = append(p.inputs[i], float32(b.current()))
	}
	if s.contact != nil {
		p.contact = append(p.contact, s.contact.ohm)
	}
	if before := w.scenario.leadS - w.now(); 0 < before && before <= restS {
		if p.restSteps == 0 {
			p.restLeast, p.restMost = s.current, s.current
		}
		p.restSteps++
		p.restLeast, p.restMost = min(p.restLeast, s.current), max(p.restMost, s.current)
	}
	if !w.inPeriod() {
		return
	}
	ohms := s.ohms()
	p.steps++
	p.ohmSum += ohms
	p.slowSum += s.battery.added(1)
	p.volts += s.voltage
	p.whole += s.current
	p.inBranches += s.current - s.quiet()
}

// inPeriod says whether a period of the match runs, as the log tells it: without a mode the
// whole log is one.
func (w *world) inPeriod() bool {
	if w.now() < w.opens || w.now() >= w.closes {
		return false
	}
	return w.enabled() || !w.recorder.tellsMode()
}

// forget begins the sums anew.
func (p *powerRecord) forget() {
	p.steps, p.ohmSum, p.slowSum, p.volts, p.whole, p.inBranches = 0, 0, 0, 0, 0, 0
}

// resistance is the mean of the ohmic part over the match.
func (p *powerRecord) resistance() float64 { return p.ohmSum / float64(p.steps) }

// resistance1s is the mean of it with what relaxation adds within a second of load.
func (p *powerRecord) resistance1s() float64 { return (p.ohmSum + p.slowSum) / float64(p.steps) }

// contacts are the least and the most resistance with a bad connection.
func (p *powerRecord) contacts() (low, high float64) {
	mean := 0.0
	for _, c := range p.contact {
		mean += c / float64(len(p.contact))
	}
	rest := p.resistance() - mean
	return rest + slices.Min(p.contact), rest + slices.Max(p.contact)
}

// noLoad is the voltage at which a line of that slope through the mean of voltage and
// current meets no current: the whole one, or that of all branches together.
func (p *powerRecord) noLoad(branches bool) float64 {
	n := float64(p.steps)
	amps := p.whole
	if branches {
		amps = p.inBranches
	}
	return p.volts/n + p.resistance()*amps/n
}

// replay is the bus voltage at every step had the same currents been drawn from battery b,
// with the connections as they were or sound.
func (p *powerRecord) replay(b battery, loose bool) []float64 {
	out := make([]float64, len(p.current))
	for k, i := range p.current {
		ohms := b.series()
		if loose {
			ohms = p.ohms(b, k)
		}
		out[k] = b.emf() - ohms*i
		b.draw(i, out[k], step)
	}
	return out
}

// ohms between the EMF of battery b and the bus at step k, by the connections as they were.
func (p *powerRecord) ohms(b battery, k int) float64 {
	if p.contact == nil {
		return b.series()
	}
	return b.series() + p.contact[k]
}

// reached is a battery as it was before a step.
type reached struct {
	battery battery
	step    int
}

// upTo is the battery as it was before step k. It goes on from where it was asked before.
func (p *powerRecord) upTo(r *reached, k int) battery {
	if r.step == 0 || k < r.step {
		*r = reached{battery: p.fresh}
	}
	for ; r.step < k; r.step++ {
		i := p.current[r.step]
		r.battery.draw(i, r.battery.emf()-p.ohms(r.battery, r.step)*i, step)
	}
	return r.battery
}
