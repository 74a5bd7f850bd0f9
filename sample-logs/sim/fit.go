package sim

import "math"

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
	if s.outside {
		slippery(c, stream(w.seed, "grip").between(0.45, 0.60))
	}
	for _, change := range s.path.fits {
		change(f)
	}
}

// slippery is a piece that belts grip with coefficient mu, which its guides still let pass.
func slippery(c *piece, mu float64) {
	c.mu = mu
	c.drag = math.Min(c.drag, 0.78*mu*c.press-c.mass*gravity)
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
	w.path.admit(c, 0.3)
	return true
}
