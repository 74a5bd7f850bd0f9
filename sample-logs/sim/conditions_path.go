package sim

import "slices"

func pathConditions() []condition {
	return slices.Concat(pathRobots(), pathLookalikes(), pathTroubles())
}

// pathTrouble is a jam of some kind.
func pathTrouble(name, group string, odds float64, summary string, set func(*scenario, random)) condition {
	return condition{
		Condition: Condition{Name: name, Subject: "path", Kind: Trouble, Summary: summary},
		odds:      odds, group: group, set: set,
	}
}

func pathTroubles() []condition {
	return []condition{
		pathTrouble("locked-stage", "stuck", 0.10, "a piece hangs in a stage and the roller stalls on it", func(s *scenario, r random) {
			s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) { f.hang(f.inStage(f.someStage(r), r), false, anyEnding(r), r) })
		}),
		pathTrouble("slipping-stage", "stuck", 0.08, "a piece hangs in a stage and the roller turns on under it", func(s *scenario, r random) {
			s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) { f.hang(f.inStage(f.someStage(r), r), true, anyEnding(r), r) })
		}),
		pathTrouble("between-beams", "stuck", 0.08, "a piece hangs where no beam sees it", func(s *scenario, r random) {
			s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) {
				if at, ok := f.betweenBeams(r); ok {
					f.hang(at, slippingWay(r), anyEnding(r), r)
				}
			})
		}),
		pathTrouble("wedged-pair", "stuck", 0.06, "two pieces close behind each other wedge where two stages meet", wedgedPair),
		pathTrouble("stuck-at-gate", "stuck", 0.08, "a piece does not leave the last stage when it is driven to release", func(s *scenario, r random) {
			s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) { atGate(f, r) })
		}),
		pathTrouble("worn-stage", "", 0.07, "every third piece stops at one place, mostly for a moment", wornStage),
		pathTrouble("short-jam", "", 0.12, "two pieces stop for 0.4 to 1.5 s and go on by themselves", func(s *scenario, r random) {
			for range 2 {
				s.onTrip(s.freeTrip(r, 2, 9), func(f fitting) {
					f.hang(f.inStage(f.someStage(r), r), slippingWay(r), givesWay, r).gives = r.between(0.4, 1.5)
				})
			}
		}),
		pathTrouble("jam-driven-free", "", 0.07, "a piece hangs and comes free by driving on", someJam(givesWay, 2, 9)),
		pathTrouble("jam-backed-out", "", 0.07, "a piece hangs and is run back out at the mouth", someJam(spat, 2, 9)),
		pathTrouble("jam-in-autonomous", "", 0.08, "a piece hangs in the autonomous period", func(s *scenario, r random) {
			s.path.routineDoesNotClear = r.Float64() < 0.6
			trip := 1
			if s.path.loaded || r.Float64() < 0.3 {
				trip = 2
			}
			s.path.trips = mark(s.path.trips, trip)
			s.onTrip(trip, func(f fitting) { f.hang(f.inStage(f.someStage(r), r), slippingWay(r), anyEnding(r), r) })
		}),
		pathTrouble("two-jams", "", 0.08, "two pieces hang in one match, each in its own way", func(s *scenario, r random) {
			for range 2 {
				someJam(anyEnding(r), 2, 9)(s, r)
			}
		}),
		pathTrouble("jam-to-the-bell", "", 0.07, "a piece hangs and stays to the end of the log", someJam(stays, 4, 9)),
	}
}

func mark(trips map[int]bool, n int) map[int]bool {
	if trips == nil {
		trips = map[int]bool{}
	}
	trips[n] = true
	return trips
}

// someJam is a jam anywhere before the last stage.
func someJam(end ending, first, last int) func(*scenario, random) {
	return func(s *scenario, r random) {
		s.onTrip(s.freeTrip(r, first, last), func(f fitting) {
			f.hang(f.inStage(f.someStage(r), r), slippingWay(r), end, r)
		})
	}
}

// atGate hangs a piece where it goes from rest to its release.
func atGate(f fitting, r random) {
	last := f.w.path.last()
	end := pulledBack
	if d := r.Float64(); d < 0.45 {
		end = givesWay
	} else if d < 0.65 {
		end = stays
	}
	f.hang(last.beam+r.between(0.05, 0.10), slippingWay(r), end, r)
}

// wedgedPair lets two pieces in on one trip, close behind each other as they then come; the
// first tilts where two stages meet and the second gets under it.
func wedgedPair(s *scenario, r random) {
	trip := s.freeTrip(r, 2, 8)
	s.trip(trip, func(t *tripPlan) { t.pieces = 2 })
	s.path.fits = append(s.path.fits, func(f fitting) {
		if f.trip != trip || f.last || f.w.driver.pieces < 2 {
			return
		}
		stages := f.w.path.belts
		at := stages[r.IntN(max(1, len(stages)-2))].to + r.between(0.03, 0.12)
		f.hang(at, slippingWay(r), anyEnding(r), r).pair = 0.06
	})
}

func wornStage(s *scenario, r random) {
	stage, place, slips := -1, r.Float64(), slippingWay(r)
	s.path.fits = append(s.path.fits, func(f fitting) {
		if stage < 0 {
			stage = f.someStage(r)
		}
		if f.nth%3 != 0 || !f.last || f.c.catch != nil {
			return
		}
		b := f.w.path.belts[stage]
		at := b.from + 0.04 + place*(b.to-b.from-0.08) + f.c.length/2 + r.normal(0, 0.008)
		if r.Float64() < 0.3 {
			f.hang(at, slips, pulledBack, r)
			return
		}
		f.hang(at, slips, givesWay, r).gives = r.between(0.5, 1.6)
	})
}
