package sim

import "math"

// supply is the bus between the battery and everything that draws from it. Its voltage
// depends on the current and the current on the voltage, so it is solved for every step.
// The robot's main controller watches a smoothed voltage: below cutOff it lets all outputs
// float until it has been back over recover for a while. A branch may have a cut-off of its
// own besides, at its own end of its wires.
type supply struct {
	battery  *battery
	contact  *contact // a connection that went bad between battery and bus; nil for none
	idle     float64  // A, computer, radio, fans
	loads    []load   // what else draws without being told to by the program
	branches []*branch
	limiter  *limiter // nil for none

	cutOff  float64 // V, also where the robot's people say that a brownout begins
	recover float64 // V, and ends
	lower   float64 // V by which the controllers really wait longer than that
	smooth  float64 // s, how slowly the cut-off sees the voltage
	least   float64 // s, the shortest time outputs stay off

	voltage float64
	current float64 // A, whole robot
	seen    float64 // V, smoothed
	fade    fading
	off     bool
	offFor  float64
	trips   int
	forced  float64 // V, the bus is held there whatever is drawn (a bench supply); 0 for the battery
}

// solve finds the bus voltage at which the axes draw what the battery gives:
// v = emf - r*(idle + sum of inputs(v)). It starts at the voltage of the step before and
// takes secant steps, which settle in two or three; a bracket catches the rest.
func (s *supply) solve(axes []*axis, dt float64) {
	for _, a := range axes {
		a.ready(dt)
	}
	s.contact.step(s.current, dt)
	for i := range s.loads {
		s.loads[i].step(dt)
	}
	if s.branches == nil {
		s.branches = []*branch{{axes: axes}}
	}
	for _, b := range s.branches {
		if b.at == 0 {
			b.at = s.battery.emf()
		}
		b.ready()
	}
	s.voltage = s.settled()
	if s.limiter != nil && !s.off {
		s.limiter.limit(s, dt)
	}
	s.current = s.quiet()
	for _, b := range s.branches {
		at := b.voltage(s.voltage, s.off)
		for _, a := range b.axes {
			a.settle(at, s.off || b.off, dt)
			s.current += a.input
		}
		b.guard(at, dt)
	}
	s.battery.draw(s.current, s.voltage, dt)
	s.guard(dt)
}

// ohms between the EMF and the bus.
func (s *supply) ohms() float64 { return s.battery.series() + s.contact.resistance() }

// quiet is what is drawn besides the axes, A.
func (s *supply) quiet() float64 {
	total := s.idle
	for i := range s.loads {
		total += s.loads[i].amps
	}
	return total
}

// settled is the bus voltage for the step ahead.
func (s *supply) settled() float64 {
	if s.forced > 0 {
		return s.forced
	}
	emf, ohms, quiet := s.battery.emf(), s.ohms(), s.quiet()
	excess := func(v float64) float64 {
		total := quiet
		for _, b := range s.branches {
			total = b.drawn(total, v, s.off)
		}
		return emf - ohms*total - v
	}
	v0 := s.voltage
	if v0 <= 0 {
		v0 = emf
	}
	f0 := excess(v0)
	return root(excess, v0, f0, v0+f0, 0.5, emf+10) // from drawing all there is to feeding back hard
}

// root of a falling function between lo and hi, started at v0 (where it is f0) and v1.
func root(excess func(float64) float64, v0, f0, v1, lo, hi float64) float64 {
	for range 12 {
		if math.Abs(v1-v0) < 1e-10 {
			return v1
		}
		f1 := excess(v1)
		next := v1 - f1*(v1-v0)/(f1-f0)
		if f1 == f0 || math.IsNaN(next) || next < lo || next > hi {
			break
		}
		v0, f0, v1 = v1, f1, next
	}
	for range 60 {
		mid := (lo + hi) / 2
		if excess(mid) > 0 {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// guard is the main controller's protection.
func (s *supply) guard(dt float64) {
	s.seen += (s.voltage - s.seen) * (1 - s.fade.left(dt, s.smooth))
	if s.off {
		s.offFor += dt
		if s.seen >= s.recover && s.offFor >= s.least {
			s.off = false
		}
		return
	}
	if s.seen < s.cutOff-s.lower {
		s.off, s.offFor = true, 0
		s.trips++
	}
}
