package sim

import "math"

// supply is the bus between the battery and everything that draws from it. Its voltage
// depends on the current and the current on the voltage, so it is solved for every step.
// The controllers watch a smoothed voltage: below cutOff they let all outputs float until
// it has been back over recover for a while.
type supply struct {
	battery *battery
	idle    float64 // A, computer, radio, fans
	cutOff  float64 // V
	recover float64 // V
	smooth  float64 // s, how slowly the cut-off sees the voltage
	least   float64 // s, the shortest time outputs stay off

	voltage float64
	current float64 // A, whole robot
	seen    float64 // V, smoothed
	off     bool
	offFor  float64
	trips   int
}

// solve finds the bus voltage at which the axes draw what the battery gives:
// v = emf - r0*(idle + sum of inputs(v)). It starts at the voltage of the step before and
// takes secant steps, which settle in two or three; a bracket catches the rest.
func (s *supply) solve(axes []*axis, dt float64) {
	emf, r0 := s.battery.emf(), s.battery.r0
	excess := func(v float64) float64 {
		total := s.idle
		if !s.off {
			for _, a := range axes {
				_, input := a.motor.currents(v, a.command, a.speed)
				total += input
			}
		}
		return emf - r0*total - v
	}
	v0 := s.voltage
	if v0 <= 0 {
		v0 = emf
	}
	f0 := excess(v0)
	v1 := v0 + f0
	found := false
	for range 12 {
		if math.Abs(v1-v0) < 1e-10 {
			found = true
			break
		}
		f1 := excess(v1)
		next := v1 - f1*(v1-v0)/(f1-f0)
		if f1 == f0 || math.IsNaN(next) || next < 0.5 || next > emf+10 {
			break
		}
		v0, f0, v1 = v1, f1, next
	}
	if !found {
		lo, hi := 0.5, emf+10 // drawing all there is, and feeding back hard
		for range 60 {
			mid := (lo + hi) / 2
			if excess(mid) > 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		v1 = (lo + hi) / 2
	}
	s.voltage = v1
	s.current = s.idle
	for _, a := range axes {
		a.settle(s.voltage, s.off, dt)
		s.current += a.input
	}
	s.battery.draw(s.current, s.voltage, dt)
	s.guard(dt)
}

// guard is the controllers' own protection.
func (s *supply) guard(dt float64) {
	s.seen += (s.voltage - s.seen) * (1 - math.Exp(-dt/s.smooth))
	if s.off {
		s.offFor += dt
		if s.seen >= s.recover && s.offFor >= s.least {
			s.off = false
		}
		return
	}
	if s.seen < s.cutOff {
		s.off, s.offFor = true, 0
		s.trips++
	}
}
