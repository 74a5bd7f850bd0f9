package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// The Bakehouse Relay: lengths of the match in s, and the field in m. Pieces lie at the
// oven, low x; the shelf is at the far end; the peel, a tilting platform, at the side.
const (
	autonomousS = 20.0
	driverS     = 120.0
	endgameS    = 25.0

	cutOffV  = 6.8
	recoverV = 7.4

	goodM = 0.05 // of aim, as the driver's light shows

	reach = 0.42 // m from the robot's middle to its mouth
)

// field is what lies outside the robot: pieces to take, the goals, and their count.
type field struct {
	r       random
	pickups []place
	goals   []place

	next   spot    // where the next piece lies
	intake float64 // x below which the belts at the mouth run for it
	roll   spot    // m/s, of a piece that rolls away
	aim    spot    // where the robot's middle should be to place
	given  bool    // what is placed next goes to a partner

	flying []flight
	landed []landing // not counted yet
	tally  tally
	events []count // each change of the counter

	score    int
	handover int
	gifts    []float64 // s, when a partner took one
	let      []letGo
}

// letGo is a piece that left the robot at the gate.
type letGo struct {
	id     int
	at     float64 // s
	assist bool    // the robot had lined up by itself
}

type spot struct{ x, y float64 }

// zone is an upright rectangle of the field, m.
type zone struct{ x0, y0, x1, y1 float64 }

// place is a zone with a use, and the part of it where pieces lie or robots stand to place.
type place struct {
	name string
	zone
	lay zone
}

// The field as all stories have it.
var (
	oven  = place{"oven", zone{0, 0, 2.5, 3}, zone{0.62, 0.9, 0.80, 2.1}}
	shelf = place{"shelf", zone{12, 0, 14, 4}, zone{12.80, 1.0, 12.80, 2.2}}
)

func (z zone) holds(p schemas.TrackedAt) bool {
	return z.x0 <= p.X && p.X <= z.x1 && z.y0 <= p.Y && p.Y <= z.y1
}

func inSome(places []place, p schemas.TrackedAt) bool {
	for _, z := range places {
		if z.holds(p) {
			return true
		}
	}
	return false
}

type flight struct {
	id    int
	lands float64 // s
	given bool
}

type landing struct {
	id int
	at float64 // s
}

func newField(r random, plan drivePlan) *field {
	f := &field{r: r, pickups: plan.pickups(), goals: plan.goals(), tally: newTally(plan)}
	f.offer()
	f.choose()
	return f
}

// offer lays out the next piece in one of the pickup zones.
func (f *field) offer() {
	p := f.pickups[0]
	if len(f.pickups) > 1 {
		p = f.pickups[f.r.IntN(len(f.pickups))]
	}
	f.next = spot{f.r.between(p.lay.x0, p.lay.x1), f.r.between(p.lay.y0, p.lay.y1)}
	f.intake = p.x1 + 0.9
	f.roll = spot{}
}

// lie puts the next piece somewhere else on the field.
func (f *field) lie(at spot) {
	f.next, f.intake, f.roll = at, at.x+2.2, spot{}
}

// another lays a second piece behind the one that was taken.
func (f *field) another() { f.next.x -= 0.26 }

// choose picks the place on a goal for the next piece.
func (f *field) choose() {
	p := f.goals[0]
	if len(f.goals) > 1 {
		p = f.goals[f.r.IntN(len(f.goals))]
	}
	f.aim, f.given = spot{p.lay.x0, f.r.between(p.lay.y0, p.lay.y1)}, false
}

// partner makes a partner's place the next to go to.
func (f *field) partner(at spot) { f.aim, f.given = at, true }

// open is the stretch of x that lies outside the zones: from the far edge of the pickup
// zones to the near edge of the goals.
func (f *field) open() (from, to float64) {
	from, to = f.pickups[0].x1, f.goals[0].x0
	for _, p := range f.pickups {
		from = max(from, p.x1)
	}
	for _, p := range f.goals {
		to = min(to, p.x0)
	}
	return from, to
}

// dropped is a piece that left the robot at the gate. It counts when it lands on the goal:
// lift up, robot before the goal and about where it should be, and no bad luck.
func (f *field) dropped(w *world, c *piece) {
	w.program.dropped()
	f.let = append(f.let, letGo{c.id, w.now(), w.program.assist || w.driver.todo.assist > 0})
	c.trace.released, c.trace.given = true, f.given
	before := f.given || inSome(f.goals, schemas.TrackedAt{X: w.chassis.x, Y: w.chassis.y})
	if !before || w.arm.position <= placeAt-0.1 || f.offAim(w.chassis) >= 0.3 {
		w.driver.wasted(w)
		return
	}
	if w.driver.todo.wasted && !f.given {
		w.driver.wasted(w)
		return
	}
	w.driver.useful()
	f.flying = append(f.flying, flight{c.id, w.now() + f.r.between(0.22, 0.30), f.given})
}

// step lands what flies, rolls what rolls, and counts.
func (f *field) step(w *world) {
	for len(f.flying) > 0 && w.now() >= f.flying[0].lands {
		if f.flying[0].given {
			f.handover++
			f.gifts = append(f.gifts, w.now())
		} else {
			f.landed = append(f.landed, landing{f.flying[0].id, w.now()})
			f.tally.put(w)
		}
		f.flying = f.flying[1:]
	}
	f.count(w)
	if f.roll != (spot{}) {
		f.next.x += f.roll.x * step
		f.next.y += f.roll.y * step
		f.roll.x -= f.roll.x * step / 1.2
		f.roll.y -= f.roll.y * step / 1.2
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
