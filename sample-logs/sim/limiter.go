package sim

import "math"

// limiter is controllers that take back what they draw before the bus falls to the cut-off.
// With a rate of 0 they hold the bus at least at low exactly; with one they hunt: below low
// they take back at that rate, above high they let go again, and the bus swings between.
type limiter struct {
	low, high float64 // V
	rate      float64 // parts of the limits a second
	smooth    float64 // s, how slowly a hunting one sees the bus

	part float64 // of their limits they allow now, 0..1
	seen float64
	most map[*axis]float64
}

func (l *limiter) limit(s *supply, dt float64) {
	if l.most == nil {
		l.part, l.seen, l.most = 1, s.voltage, map[*axis]float64{}
		for _, b := range s.branches {
			for _, a := range b.axes {
				l.most[a] = a.motor.inputMax
			}
		}
	}
	if l.rate > 0 {
		l.seen += (s.voltage - l.seen) * (1 - math.Exp(-dt/l.smooth))
		switch {
		case l.seen < l.low:
			l.part = math.Max(0.05, l.part-l.rate*dt)
		case l.seen > l.high:
			l.part = math.Min(1, l.part+l.rate*dt)
		}
		l.allow(s, l.part)
		s.voltage = s.settled()
		return
	}
	if l.part < 1 {
		l.part = 1
		l.allow(s, 1)
		s.voltage = s.settled()
	}
	if s.voltage >= l.low {
		return
	}
	l.part = l.largest(s)
	l.allow(s, l.part)
	s.voltage = s.settled()
}

// largest is the largest part of the limits that leaves the bus at low.
func (l *limiter) largest(s *supply) float64 {
	spare := (s.battery.emf()-l.low)/s.ohms() - s.quiet()
	var full, most []float64 // A drawn at low with full limits, and the limits
	for _, b := range s.branches {
		at := b.voltage(l.low, s.off)
		for _, a := range b.axes {
			if _, input := a.motor.currents(at, a.duty(), a.speed); b.off {
				continue
			} else if l.most[a] > 0 {
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
			sum += math.Min(i, part*most[k])
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
	for _, b := range s.branches {
		for _, a := range b.axes {
			if most := l.most[a]; most > 0 {
				a.motor.inputMax = part * most
			}
		}
	}
}
