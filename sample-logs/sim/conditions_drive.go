package sim

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// drivePlan is what is special about the people, the field and the other robots. Its zero
// value is the usual.
type drivePlan struct {
	lingerS           float64 // s a piece is held ready before it is let go
	zonesIn, zonesOut []place // pickup zones and goals; nil for the usual one
	partner           spot    // where a partner takes pieces
	rivals            int     // other robots that roam
	hands             float64 // skill: 1 is usual, less is slower and less sure; 0 for usual
	taps              bool
	defendsFrom       int  // the trip from which on the robot only drives about, 0 for never
	dead              bool // nobody drives
	lazy              bool // does nothing in the autonomous period
	noAutonomous      bool
	driverS           float64 // length of the driver period if not the usual
	disabled          []gap   // in mid-match, s since the driver period's start
	tally             tallyPlan
}

func (p drivePlan) pickups() []place {
	if p.zonesIn == nil {
		return []place{oven}
	}
	return p.zonesIn
}

func (p drivePlan) goals() []place {
	if p.zonesOut == nil {
		return []place{shelf}
	}
	return p.zonesOut
}

func (p drivePlan) skill() float64 { return orOne(p.hands) }

// idle says whether nobody drives in a mode.
func (p drivePlan) idle(mode string) bool {
	return p.dead || p.lazy && mode == schemas.PeriodAutonomous
}

func orOne(v float64) float64 {
	if v == 0 {
		return 1
	}
	return v
}

// driveConditions are in an order that matters: where zones lie comes before what is said
// relative to them.
func driveConditions() []condition {
	return slices.Concat(fieldConditions(), troubledTrips(), ordinaryTrips(), drivers(), counters(), autonomous())
}

// inDrive makes one.
func inDrive(name, kind string, odds float64, summary string, set func(*scenario, random)) condition {
	return condition{
		Condition: Condition{Name: name, Subject: "drive", Kind: kind, Summary: summary},
		odds:      odds, set: set,
	}
}

func oneOf(group string, all ...condition) []condition {
	for i := range all {
		all[i].group = group
	}
	return all
}

// twoTrips changes one early and one late trip of the driver period.
func twoTrips(s *scenario, r random, change func(*tripPlan)) {
	s.trip(3+r.IntN(3), change)
	s.trip(6+r.IntN(3), change)
}

// manyTrips changes each trip from the third on with a chance.
func manyTrips(s *scenario, r random, chance float64, change func(*tripPlan)) {
	for n := 3; n < 40; n++ {
		if r.Float64() < chance {
			s.trip(n, change)
		}
	}
}

// troubledTrips are what makes single cycles slow.
func troubledTrips() []condition {
	return []condition{
		inDrive("blocked-return", Trouble, 0.09, "another robot stands in the way back to the pickup zone, on two trips", func(s *scenario, r random) {
			twoTrips(s, r, func(t *tripPlan) { t.blockReturn = r.between(6, 10) })
		}),
		inDrive("blocked-carry", Trouble, 0.09, "another robot stands in the way to the goal, on two trips", func(s *scenario, r random) {
			twoTrips(s, r, func(t *tripPlan) { t.blockCarry = r.between(6, 10) })
		}),
		inDrive("pinned", Trouble, 0.09, "another robot runs into this one on its way to the goal and holds it, once", func(s *scenario, r random) {
			s.trip(4+r.IntN(4), func(t *tripPlan) { t.pin = r.between(5, 8) })
		}),
		inDrive("missed-pickups", Trouble, 0.09, "the driver misses the piece several times, on two trips", func(s *scenario, r random) {
			twoTrips(s, r, func(t *tripPlan) { t.misses = 2 + r.IntN(3) })
		}),
		inDrive("long-aim", Trouble, 0.09, "the driver spoils a good aim again and again, on two trips", func(s *scenario, r random) {
			twoTrips(s, r, func(t *tripPlan) { t.nudges = 2 + r.IntN(3) })
		}),
		inDrive("lost-robot", Trouble, 0.09, "the driver loses the robot and it stands for some seconds, on the way back and on the way to the goal", func(s *scenario, r random) {
			s.trip(3+r.IntN(3), func(t *tripPlan) { t.standsReturn = r.delay(6, 0.15) })
			s.trip(6+r.IntN(3), func(t *tripPlan) { t.standsCarry = r.delay(6, 0.15) })
		}),
		inDrive("dropped-piece", Trouble, 0.09, "the belts run back by mistake on the way, the piece falls out and is fetched again, on two trips", func(s *scenario, r random) {
			twoTrips(s, r, func(t *tripPlan) { t.drops = true })
		}),
	}
}

// ordinaryTrips are what varies without anything being wrong.
func ordinaryTrips() []condition {
	return []condition{
		inDrive("hand-overs", Confounder, 0.10, "some pieces go to a partner, and are counted as that", func(s *scenario, r random) {
			x0, x1 := s.drive.pickups()[0].x1, s.drive.goals()[0].x0
			s.drive.partner = spot{x0 + r.between(0.4, 0.6)*(x1-x0), r.between(1.2, 3)}
			s.signals = withHandovers(s.signals)
			manyTrips(s, r, 0.3, func(t *tripPlan) { t.handover = true })
		}),
		inDrive("handed-in", Confounder, 0.07, "some pieces are handed to the robot or lie outside the pickup zones", func(s *scenario, r random) {
			x0, x1 := s.drive.pickups()[0].x1, s.drive.goals()[0].x0
			manyTrips(s, r, 0.3, func(t *tripPlan) {
				t.lies = &spot{x0 + r.between(0.1, 0.4)*(x1-x0), r.between(1, 2.2)}
			})
		}),
		inDrive("queues", Confounder, 0.07, "the robot waits before the pickup zone on most trips, as others use it", func(s *scenario, r random) {
			manyTrips(s, r, 0.75, func(t *tripPlan) { t.queue = r.delay(1.4, 0.4) })
		}),
		inDrive("rolling-pieces", Confounder, 0.07, "some pieces roll away when the robot comes near", func(s *scenario, r random) {
			manyTrips(s, r, 0.4, func(t *tripPlan) { t.rolls = r.between(-0.45, 0.45) })
		}),
		inDrive("missed-scores", Confounder, 0.07, "a piece or two is placed and does not count", func(s *scenario, r random) {
			s.trip(4+r.IntN(4), func(t *tripPlan) { t.wasted = true })
			if r.Float64() < 0.5 {
				s.trip(8+r.IntN(4), func(t *tripPlan) { t.wasted = true })
			}
		}),
		inDrive("double-loads", Confounder, 0.08, "two pieces on many trips, which score together or one after the other", func(s *scenario, r random) {
			s.drive.tally.quick = r.Float64() < 0.5
			manyTrips(s, r, 0.5, func(t *tripPlan) { t.pieces = 2 })
		}),
	}
}

// inTurns lets the robot line up by itself on every other trip, and its driver on those between. One
// of them comes right up to its aiming point, the other creeps from where it first sees it well: a second or
// two apart. Sizes are chosen by us.
func inTurns(s *scenario, r random, quickAssist bool) {
	s.signals = withAssist(s.signals)
	quick, slow, from := r.between(1.2, 2.5), r.between(0.5, 0.8), r.between(0.7, 0.9)
	for n := 1; n < 40; n++ {
		off, assisted := r.normal(0, 0.1), n%2 == 0
		s.trip(n, func(t *tripPlan) {
			pace := quick
			if assisted != quickAssist {
				pace, t.lineUp = slow, from
			}
			if assisted {
				t.assist = pace
			} else {
				t.off, t.creep = off, pace
			}
		})
	}
}

// drivers are who drives and what the robot is there for.
func drivers() []condition {
	return slices.Concat(
		oneOf(
			"aim-assist",
			inDrive("aim-assist", Robot, 0.10, "on half of the trips the robot lines up by itself, at the press of a button", func(s *scenario, r random) {
				s.signals = withAssist(s.signals)
				pace := r.between(0.5, 2.5)
				for n := 1; n < 40; n++ {
					by := r.Float64() < 0.5
					off := r.normal(0, 0.15)
					s.trip(n, func(t *tripPlan) {
						if by {
							t.assist = pace
						} else {
							t.off = off
						}
					})
				}
			}),
			inDrive("quick-assist", Robot, 0.03, "on every other trip the robot lines up by itself, much quicker than its driver does", func(s *scenario, r random) {
				inTurns(s, r, true)
			}),
			inDrive("slow-assist", Robot, 0.03, "on every other trip the robot lines up by itself, much slower than its driver does", func(s *scenario, r random) {
				inTurns(s, r, false)
			}),
		),
		[]condition{
			inDrive("uneven-pace", Confounder, 0.08, "the driver's pace varies much from trip to trip", func(s *scenario, r random) {
				for n := 3; n < 40; n++ {
					s.trip(n, func(t *tripPlan) { t.pace = clampTo(r.delay(0.7, 0.5), 0.3, 1.2) })
				}
			}),
			inDrive("tapping", Confounder, 0.08, "the driver taps the sticks on and off instead of holding them", func(s *scenario, _ random) {
				s.drive.taps, s.stick = true, 0.10
			}),
		},
		oneOf(
			"skill",
			inDrive("beginner", Robot, 0.15, "a driver of little skill: slower, later, less sure", func(s *scenario, r random) {
				s.drive.hands = r.between(0.6, 0.8)
			}),
			inDrive("expert", Robot, 0.15, "a driver of much skill", func(s *scenario, r random) {
				s.drive.hands = r.between(1.1, 1.5)
			}),
			inDrive("slow-robot", Robot, 0.06, "a robot so slow that it scores three or four times", func(s *scenario, r random) {
				s.drive.hands = r.between(0.28, 0.36)
			}),
		),
		oneOf(
			"role",
			inDrive("defender", Confounder, 0.05, "the robot scores once or twice and then drives about among the others", func(s *scenario, r random) {
				s.drive.defendsFrom, s.drive.rivals = 2+r.IntN(3), max(s.drive.rivals, 2)
			}),
			inDrive("dead-robot", Confounder, 0.02, "nobody drives: the robot stands all match", func(s *scenario, _ random) {
				s.drive.dead = true
			}),
		),
	)
}

// counters are how the count of pieces comes about.
func counters() []condition {
	return oneOf(
		"counter",
		inDrive("slow-counter", Confounder, 0.07, "pieces are counted up to 2.4 s later than they land", func(s *scenario, _ random) {
			s.drive.tally.slow = 1.85
		}),
		inDrive("counted-after-end", Confounder, 0.06, "what lands last in a period is counted after its end, within 3 s", func(s *scenario, r random) {
			s.drive.tally.afterEnd = r.between(0.3, 2.7)
			s.pauseS = max(s.pauseS, r.between(3, 6))
		}),
		inDrive("counted-too-late", Confounder, 0.04, "what lands last in a period is counted more than 3 s after its end", func(s *scenario, r random) {
			s.drive.tally.afterEnd = r.between(3.2, 4.2)
			s.pauseS = max(s.pauseS, r.between(6, 9))
		}),
		inDrive("corrected-counter", Confounder, 0.06, "the counter counts one too many and takes it back, and once loses one and gives it back", func(s *scenario, r random) {
			s.drive.tally.overcounts, s.drive.tally.dips = 2+r.IntN(3), 5+r.IntN(3)
		}),
		inDrive("reset-counter", Confounder, 0.05, "the counter falls to nothing in the driver period and goes on from there", func(s *scenario, r random) {
			s.drive.tally.resets = 3 + r.IntN(4)
		}),
	)
}

// matchLengths are how long the periods are. They come first: what happens when is drawn within
// them.
func matchLengths() []condition {
	return slices.Concat(
		oneOf(
			"length",
			inDrive("driver-practice", Robot, 0.05, "practice: a driver period and no autonomous one", func(s *scenario, _ random) {
				s.drive.noAutonomous = true
			}),
			inDrive("short-practice", Robot, 0.04, "practice: 60 s of driver and no autonomous period", func(s *scenario, _ random) {
				s.drive.noAutonomous, s.drive.driverS = true, 60
			}),
		),
		[]condition{
			inDrive("long-pause", Robot, 0.08, "up to ten seconds of disabled between autonomous and driver period", func(s *scenario, r random) {
				s.pauseS = max(s.pauseS, r.between(3, 9.5))
			}),
			inDrive("disabled-midway", Confounder, 0.06, "the robot is disabled for some seconds in mid-match", func(s *scenario, r random) {
				s.drive.disabled = []gap{{start: r.between(0.3, 0.6) * s.driving(), length: r.between(1, 4)}}
			}),
		},
	)
}

// autonomous are what happens in the autonomous period.
func autonomous() []condition {
	return oneOf(
		"autonomous",
		inDrive("empty-autonomous", Confounder, 0.06, "the robot does nothing in the autonomous period", func(s *scenario, _ random) {
			s.drive.lazy = true
		}),
		inDrive("full-autonomous", Robot, 0.08, "pieces lie ready in mid-field and the robot scores three in the autonomous period", func(s *scenario, r random) {
			x0, x1 := s.drive.pickups()[0].x1, s.drive.goals()[0].x0
			for n := 1; n <= 2; n++ {
				s.trip(n, func(t *tripPlan) {
					t.lies = &spot{max(x0+0.6, x1-r.between(4.3, 4.8)), r.between(1, 2)}
					t.pieces = 3 - n
				})
			}
		}),
	)
}
