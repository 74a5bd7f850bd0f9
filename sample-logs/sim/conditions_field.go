package sim

import "math"

// fieldConditions are where zones lie and who else is on the field.
func fieldConditions() []condition {
	return []condition{
		inDrive("moved-zones", Robot, 0.20, "pickup zone and goal lie elsewhere and are of other sizes", moveZones),
		inDrive("short-way", Robot, 0.06, "the goal is so near, and the driver so quick, that the robot scores some twenty times", func(s *scenario, r random) {
			from := s.drive.pickups()[0].x1
			s.drive.hands = 1.5
			if r.Float64() < 0.5 {
				s.climbS = 0
			}
			x0, h := cm(from+r.between(2.4, 3.0)), cm(r.between(3, 4))
			s.drive.zonesOut = []place{{"shelf", zone{x0, 0, cm(x0 + 1.8), h}, zone{x0 + 0.8, 1, x0 + 0.8, 2.2}}}
		}),
		inDrive("two-pickups", Robot, 0.10, "pieces are taken at two pickup zones", func(s *scenario, r random) {
			first := s.drive.pickups()[0]
			x0, y0 := cm(first.x0+r.between(0, 0.8)), cm(first.y1+0.1)
			second := place{"bin", zone{x0, y0, cm(x0 + r.between(1.8, 2.4)), cm(y0 + 1.4)}, zone{x0 + 0.62, y0 + 0.4, x0 + 0.80, y0 + 0.9}}
			s.drive.zonesIn = []place{first, second}
		}),
		inDrive("two-goals", Confounder, 0.10, "pieces go to a near and to a far goal, so that there are two usual cycle lengths", func(s *scenario, r random) {
			far := s.drive.goals()[0]
			from := s.drive.pickups()[0].x1
			x0 := cm(from + r.between(0.45, 0.6)*(far.x0-from))
			near := place{"stand", zone{x0, 2.5, cm(min(x0+1.6, far.x0-0.2)), 4}, zone{x0 + 0.6, 2.8, x0 + 0.6, 3.2}}
			s.drive.zonesOut = []place{far, near}
		}),
		inDrive("traffic", Confounder, 0.15, "one to three other robots roam the field, get in the way and push", func(s *scenario, r random) {
			s.drive.rivals = 1 + r.IntN(3)
		}),
	}
}

// moveZones draws where the two zones lie, to the centimetre, as a profile would say it.
func moveZones(s *scenario, r random) {
	x0, y0, w, h := cm(r.between(0, 1)), cm(r.between(0, 0.8)), r.between(1.8, 3), r.between(2, 3.2)
	s.drive.zonesIn = []place{{"oven", zone{x0, y0, cm(x0 + w), cm(y0 + h)}, zone{x0 + 0.62, y0 + 0.3*h, x0 + 0.80, y0 + 0.65*h}}}
	x0, y0, w, h = cm(r.between(9.6, 12.4)), cm(r.between(0, 0.5)), r.between(1.5, 2.4), r.between(2.4, 3.8)
	s.drive.zonesOut = []place{{"shelf", zone{x0, y0, cm(x0 + w), cm(y0 + h)}, zone{x0 + 0.8, y0 + 0.3*h, x0 + 0.8, y0 + 0.55*h}}}
}

func cm(v float64) float64 { return math.Round(v*100) / 100 }
