package sim

// pathPlan is what is special about the path and its pieces.
type pathPlan struct {
	build   func(random) *path
	program []func(*feeder)
	fits    []func(fitting)      // what is special about pieces, told of each that is taken
	start   []func(*world)       // done before the log begins
	touches func(trip int) *hand // pieces that only touch the mouth
	trips   map[int]bool         // that have something special already
	loaded  bool                 // a piece is inside when the match begins

	routineDoesNotClear bool // the autonomous routine does not work on a piece that hangs
}

// freeTrip draws a trip from first to last that has nothing special yet.
func (s *scenario) freeTrip(r random, first, last int) int {
	if s.path.trips == nil {
		s.path.trips = map[int]bool{}
	}
	n := first + r.IntN(last-first+1)
	for range last - first + 1 {
		if !s.path.trips[n] && s.trips[n].catch == nil {
			break
		}
		if n++; n > last {
			n = first
		}
	}
	s.path.trips[n] = true
	return n
}

// onTrip does something to the last piece of a trip.
func (s *scenario) onTrip(trip int, do func(fitting)) {
	s.path.fits = append(s.path.fits, func(f fitting) {
		if f.trip == trip && f.last {
			do(f)
		}
	})
}

// fitting is a piece that is being taken in.
type fitting struct {
	w    *world
	trip int
	nth  int  // piece of the match, from 1
	last bool // of its trip
	c    *piece
}

// fit makes a piece what the scenario says it is.
func (s *scenario) fit(w *world, c *piece) {
	f := fitting{
		w: w, trip: w.driver.trip, nth: w.path.taken + 1,
		last: w.path.count()+1 >= w.driver.pieces, c: c,
	}
	s.grips(w, c)
	for _, change := range s.path.fits {
		change(f)
	}
	c.eases()
}

// grips makes belts grip a piece worse where that lies outside.
func (s *scenario) grips(w *world, c *piece) {
	if s.outside {
		mu := stream(w.seed, "grip").between(0.45, 0.60)
		c.mu = max(0.45, min(0.60, mu*c.mu/0.8))
	}
	c.eases()
}

// eases takes from the guides' drag what no belt could overcome: guides that let no piece
// pass would have been put right in the workshop.
func (c *piece) eases() {
	c.drag = min(c.drag, 0.78*c.mu*c.press-c.mass*gravity)
}

// touch lets a piece only touch the mouth where the plan has one do so, and says whether it
// did: somebody or something pulls it out again at once.
func (p *pathPlan) touch(w *world) bool {
	if p.touches == nil {
		return false
	}
	h := p.touches(w.driver.trip)
	if h == nil {
		return false
	}
	c := newPiece(stream(w.seed, "touch"))
	c.hand = h
	w.scenario.grips(w, c)
	w.path.admit(c, 0.3)
	return true
}
