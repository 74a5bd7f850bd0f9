package sim

import "math"

// The Bakehouse Relay: lengths of the match in s, and the field in m. Pieces lie at the
// oven, low x; the shelf is at the far end; the peel, a tilting platform, at the side.
const (
	autonomousS = 20.0
	driverS     = 120.0
	endgameS    = 25.0

	cutOffV  = 6.8
	recoverV = 7.4

	pickupX = 2.5  // the pickup zone is below it
	goalX   = 12.0 // the goal zone is above it
	goodM   = 0.05 // of aim, as the driver's light shows

	reach = 0.42 // m from the robot's middle to its mouth
)

// field is what lies outside the robot: pieces to take, the shelf, and its count.
type field struct {
	r       random
	next    spot // where the next piece lies
	aim     spot // where the robot's middle should be to place
	flying  []flight
	scored  []int // ids of pieces that count, in the order they landed
	landed  int
	tallyAt float64
	score   int
}

type spot struct{ x, y float64 }

type flight struct {
	id    int
	lands float64 // s
}

func newField(r random) *field {
	f := &field{r: r, tallyAt: math.Inf(1)}
	f.offer()
	f.choose()
	return f
}

// offer lays out the next piece.
func (f *field) offer() { f.next = spot{f.r.between(0.62, 0.80), f.r.between(0.9, 2.1)} }

// another lays a second piece behind the one that was taken.
func (f *field) another() { f.next.x -= 0.26 }

// choose picks the place on the shelf for the next piece.
func (f *field) choose() { f.aim = spot{12.80, f.r.between(1.0, 2.2)} }

// dropped is a piece that left the robot at the gate. It counts when it lands on the shelf:
// lift up, robot before the shelf and about where it should be.
func (f *field) dropped(w *world, c *piece) {
	w.program.dropped()
	c.trace.released = true
	if w.chassis.x > goalX && w.arm.position > placeAt-0.1 && f.offAim(w.chassis) < 0.3 {
		f.flying = append(f.flying, flight{c.id, w.now() + f.r.between(0.22, 0.30)})
	}
}

// step lands what flies. The shelf counts what landed once nothing more has come for a
// while, so that pieces placed together count together.
func (f *field) step(w *world) {
	for len(f.flying) > 0 && w.now() >= f.flying[0].lands {
		f.scored = append(f.scored, f.flying[0].id)
		f.flying = f.flying[1:]
		f.landed++
		f.tallyAt = w.now() + 0.55
	}
	if f.landed > 0 && w.now() >= f.tallyAt {
		f.score += f.landed
		f.landed = 0
	}
}

// offAim is how far the robot is from where its piece would land right, m: along, and
// sideways at the shelf's edge, where turning on the spot moves it.
func (f *field) offAim(c *chassis) float64 {
	return math.Hypot(f.aim.x-c.x, f.aside(c))
}

// aside is the sideways part of offAim, signed.
func (f *field) aside(c *chassis) float64 {
	return f.aim.y - (c.y + 0.7*math.Sin(wrap(c.heading-math.Pi)))
}
