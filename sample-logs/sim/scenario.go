package sim

import "slices"

// scenario is the story of a match: what is on purpose. All the rest is parts and luck.
type scenario struct {
	name, summary string
	seed          uint64
	robot         string
	match, at     string
	battery       string

	leadS, pauseS, tailS float64 // s disabled: before, between the periods, after
	stick                float64 // s from no stick to full: how hard the driver drives
	climbS               float64 // s before the bell to leave for the platform; 0 never
	spits                float64 // chance that the operator backs a freed piece all the way out
	trips                map[int]tripPlan
	gaps                 []gap
	signals              signalSet
	parts                []func(*world, random) // what is different about the robot and its battery
	leveller             func(*leveller, random)

	with    []string // conditions that are on, in the order of Conditions
	outside bool     // some physics lie outside what anybody tunes on: see draw.go

	path    pathPlan
	power   powerPlan
	balance balancePlan
	drive   drivePlan
	sensors sensorPlan
}

// trip is the plan of one trip, to change.
func (s *scenario) trip(n int, change func(*tripPlan)) {
	if s.trips == nil {
		s.trips = map[int]tripPlan{}
	}
	t := s.trips[n]
	change(&t)
	s.trips[n] = t
}

// tripPlan is what is special about one trip to the pickup zone.
type tripPlan struct {
	pieces int  // to take, 1 if 0
	misses int  // times the driver drives past the piece
	hasty  bool // full speed, with the lift going up on the way
	catch  func(random) *catch

	blockReturn, blockCarry   float64 // s another robot stands in the way
	pin                       float64 // s another robot holds this one on the way to the goal
	standsReturn, standsCarry float64 // s it stands because the driver lost it
	queue                     float64 // s it waits before the pickup zone
	nudges                    int     // times the driver spoils a good aim
	off                       float64 // m sideways the driver arrives off the aiming point
	assist                    float64 // how fast the robot lines up by itself, 1 as its driver does; 0 when the driver does it
	creep                     float64 // how fast the driver lines up by hand, 1 if 0
	lineUp                    float64 // m before its aiming point from which the robot creeps, lineUpM if 0
	drops                     bool    // the piece falls out on the way
	wasted                    bool    // what is placed does not count
	handover                  bool    // the piece goes to a partner
	lies                      *spot   // where the piece is, if outside the pickup zones
	rolls                     float64 // m/s sideways the piece rolls away with, 0 for not at all
	pace                      float64 // how fast the driver goes about it, 1 if 0
}

// gap is a stretch in which nothing reaches the log: the radio was out.
type gap struct{ start, length float64 } // s since the log's begin

// inLift is a catch half way up the lift that comes free backwards after some pulling.
func inLift(r random) *catch {
	return &catch{
		at: r.between(0.66, 0.92), deepen: r.between(1800, 4000), most: 620,
		hold: r.between(330, 420), loosen: r.between(2, 5), left: 1,
	}
}

// stubborn is one that takes several rounds.
func stubborn(r random) *catch {
	k := inLift(r)
	k.hold, k.loosen = 430, r.between(3.5, 5)
	return k
}

// forGood is a catch in the lift that never lets go.
func forGood(r random) *catch {
	k := inLift(r)
	k.hold, k.loosen, k.left = 600, 0, 1
	return k
}

// weakBattery is one near its end: more resistance, less left in it.
func weakBattery(b *battery, r0 float64) {
	b.r0, b.r1, b.r2 = r0, 0.010, 0.012
	b.charge, b.capacity = 0.80, 0.7*b.capacity
}

// noRate takes the rate term out of the levelling loop and makes it late.
func noRate(l *leveller, r random) {
	l.kp, l.kd, l.late = r.about(0.0125, 0.04), 0, 5
}

func findScenario(name string) (scenario, bool) {
	for _, s := range slices.Concat(scenarios(), drawn()) {
		if s.name == name {
			return s, true
		}
	}
	return scenario{}, false
}

// usual is what all stories have in common.
func usual() scenario {
	return scenario{
		robot: "heron", battery: "B1", leadS: 10, pauseS: 1.5, tailS: 5, stick: 0.30, climbS: 27,
		spits: 0.5, signals: heronSignals,
	}
}

func scenarios() []scenario {
	heron := usual()
	clean := heron
	clean.seed = 3
	clean.name, clean.match, clean.at = "clean", "q3", "2031-03-01T09:10:00Z"
	clean.summary = "nothing goes wrong; two pieces at once on two trips"
	clean.trips = map[int]tripPlan{4: {pieces: 2}, 7: {pieces: 2}}

	reversed := heron
	reversed.seed = 7
	reversed.name, reversed.match, reversed.at = "jam-reversed", "q6", "2031-03-01T10:20:00Z"
	reversed.summary = "a piece jams in the lift and comes free by running back"
	reversed.trips = map[int]tripPlan{5: {catch: inLift}}
	reversed.battery = "B2"
	reversed.gaps = []gap{{start: 111.3, length: 0.62}}

	stuck := heron
	stuck.seed = 12
	stuck.name, stuck.match, stuck.at = "jam-stuck", "q9", "2031-03-01T11:30:00Z"
	stuck.summary = "a piece jams in the lift and stays there to the bell"
	stuck.trips = map[int]tripPlan{8: {catch: forGood}}

	weak := heron
	weak.seed = 6
	weak.name, weak.match, weak.at = "brownout", "q11", "2031-03-01T12:40:00Z"
	weak.summary = "an old battery: the supply dips below the cut-off on hard starts, and recovers"
	weak.battery, weak.stick = "B3", 0.24
	weak.parts = []func(*world, random){func(w *world, r random) { weakBattery(w.battery, r.about(0.0405, 0.02)) }}
	weak.trips = map[int]tripPlan{2: {hasty: true}, 5: {hasty: true}, 8: {hasty: true}}

	swing := heron
	swing.seed = 8
	swing.name, swing.match, swing.at = "bad-balance", "q13", "2031-03-01T13:50:00Z"
	swing.summary = "the levelling loop answers tilt but not its rate, and never comes to rest"
	swing.leveller = noRate

	rookie := heron
	rookie.seed = 5
	rookie.name, rookie.match, rookie.at = "rookie", "q2", "2031-03-01T08:50:00Z"
	rookie.summary = "a simple robot that logs five signals"
	rookie.robot, rookie.signals, rookie.battery = "curlew", curlewSignals, ""
	rookie.climbS, rookie.pauseS = 0, 0
	rookie.gaps = []gap{{start: 58.4, length: 0.9}, {start: 131.1, length: 2.3}}

	demo := heron
	demo.seed = 4
	demo.name, demo.match, demo.at = "demo", "q14", "2031-03-01T14:32:00Z"
	demo.summary = "two jams in the lift, the second for good; battery B3 browns out twice; a slow pick-up; the peel swings to the bell"
	demo.gaps = []gap{{start: 72.6, length: 0.41}}
	demo.battery, demo.spits, demo.climbS = "B3", 1, 21
	demo.parts = []func(*world, random){func(w *world, r random) { weakBattery(w.battery, r.about(0.0375, 0.015)) }}
	demo.leveller = noRate
	demo.trips = map[int]tripPlan{
		4: {catch: stubborn}, 6: {hasty: true}, 7: {misses: 2}, 8: {hasty: true}, 9: {catch: forGood},
	}

	return []scenario{clean, reversed, stuck, weak, swing, rookie, demo}
}
