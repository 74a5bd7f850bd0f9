package sim

import "github.com/afterbell/afterbell/schemas"

// autonomous is how long the autonomous period lasts, s; 0 when there is none.
func (s *scenario) autonomous() float64 {
	if s.drive.noAutonomous {
		return 0
	}
	return autonomousS
}

// driving is how long the driver period lasts, s.
func (s *scenario) driving() float64 {
	if s.drive.driverS > 0 {
		return s.drive.driverS
	}
	return driverS
}

// starts is when the driver period starts, s since the log's begin.
func (s *scenario) starts() float64 {
	if s.drive.noAutonomous {
		return s.leadS
	}
	return s.leadS + s.autonomous() + s.pauseS
}

// ends are the ends of the periods, s since the log's begin; a robot that is disabled in
// mid-match ends one too.
func (s *scenario) ends() []float64 {
	out := []float64{s.leadS + s.autonomous()}
	for _, g := range s.drive.disabled {
		out = append(out, s.starts()+g.start)
	}
	return append(out, s.starts()+s.driving())
}

// disabledS is for how long the robot was disabled between two times since the log's begin, s.
func (w *world) disabledS(from, to float64) float64 {
	s := &w.scenario
	driven := [][2]float64{{s.leadS, s.leadS + s.autonomous()}, {s.starts(), w.bell}}
	out := to - from
	for _, d := range driven {
		out -= shared(from, to, d[0], d[1])
	}
	for _, g := range s.drive.disabled {
		out += shared(from, to, s.starts()+g.start, s.starts()+g.start+g.length)
	}
	return out
}

// shared is how long two stretches have in common.
func shared(a, b, c, d float64) float64 { return max(0, min(b, d)-max(a, c)) }

// mode at a time since the log's begin.
func (w *world) mode() string {
	s := &w.scenario
	t := w.now() - s.leadS
	switch {
	case t < 0:
		return schemas.ModeDisabled
	case t < s.autonomous():
		return schemas.PeriodAutonomous
	case w.now() < s.starts():
		return schemas.ModeDisabled
	case w.now() < w.bell:
		for _, g := range s.drive.disabled {
			if in := w.now() - s.starts() - g.start; 0 <= in && in < g.length {
				return schemas.ModeDisabled
			}
		}
		return schemas.PeriodDriver
	default:
		return schemas.ModeDisabled
	}
}
