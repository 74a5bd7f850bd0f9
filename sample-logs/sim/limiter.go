package sim

import "math"

// limiter is controllers that take back what they draw before the bus falls to the cut-off:
// they hold it at least at low, as far as what they can take back goes. One that hunts holds
// it now higher and now lower.
type limiter struct {
	low   float64 // V
	swing float64 // V up and down
	hertz float64

	most map[*axis]float64 // A, the limits of the axes that have one
	part float64           // of them they allow now, 0..1
	age  float64           // s
}

func (l *limiter) limit(s *supply, dt float64) {
	if l.most == nil {
		l.part, l.most = 1, map[*axis]float64{}
		for _, b := range s.branches {
			for _, a := range b.axes {
				l.most[a] = a.motor.inputMax
			}
		}
	}
	l.age += dt
	low := l.low + l.swing*math.Sin(2*math.Pi*l.hertz*l.age)
	if l.part < 1 {
		l.allow(s, 1)
		s.voltage = s.settled()
	}
	if s.voltage >= low {
		return
	}
	l.allow(s, l.largest(s, low))
	s.voltage = s.settled()
}

// largest is the largest part of the limits that leaves the bus at low.
func (l *limiter) largest(s *supply, low float64) float64 {
	spare := (s.battery.emf()-low)/s.ohms() - s.quiet()
	var full, most []float64 // A drawn at low with full limits, and the limits
	for _, b := range s.branches {
		if b.off {
			continue
		}
		at := b.voltage(low, s.off)
		for _, a := range b.axes {
			_, input := a.motor.currents(at, a.duty(), a.speed)
			if l.most[a] > 0 {
				full, most = append(full, input), append(most, l.most[a])
			} else {
				spare -= input
			}
		}
	}
	lo, hi := 0.02, 1.0
	for range 25 {
		part, sum := (lo+hi)/2, 0.0
		for k, i := range full {
			sum += min(i, part*most[k])
		}
		if sum > spare {
			hi = part
		} else {
			lo = part
		}
	}
	return lo
}

// allow sets the limits at the inputs of the axes that have one.
func (l *limiter) allow(s *supply, part float64) {
	l.part = part
	for _, b := range s.branches {
		for _, a := range b.axes {
			if most := l.most[a]; most > 0 {
				a.motor.inputMax = part * most
			}
		}
	}
}
