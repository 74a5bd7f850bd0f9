package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

type phase int

const (
	toPickup phase = iota
	collecting
	backingOff
	toGoal
	aligning
	placing
	toPlatform
	climbing
	onPlatform
	comingDown // from the platform
	goingRound // it, back to the field
	parked
	defending
)

// driver is the person (in the autonomous period the program in its place) who drives:
// to the pickup zone, take, to the goal backwards, line up, place, and to the platform at the
// end.
type driver struct {
	r     random
	phase phase
	react float64 // s, until when nothing new is done

	trip     int     // how many times a piece was fetched, the one under way included
	pieces   int     // wanted on this trip
	lookAt   float64 // y aimed for when taking
	misses   int     // times still to miss on purpose
	top      float64 // m/s wanted on this trip
	liftFrom float64 // x from which the lift goes up
	hasty    bool
	backing  bool    // makes room before the platform
	wait     float64 // s it stops before taking, for a piece to lie right

	goodFor  float64 // s inside the aim
	settle   float64 // s it wants to see it there
	forward  float64 // sticks
	turn     float64
	shakeF   float64
	shakeT   float64
	missed   bool    // drove past the piece and has not got it since
	tooSoon  bool    // came to a piece while the one before was still in the mouth
	easeTill float64 // s, drives gently until then: it felt the robot cut out
	trips    int
	climbs   climbs

	todo      tripPlan // what is special about this trip
	again     string   // what made it lose its piece: it counts until it is here again with one
	away      float64  // m before the goal, where it lost it
	wasting   bool     // placed a piece that does not count, and no other since
	waits     bool     // at the goal, lined up, and piece or lift are not there
	refines   bool     // had a good aim before, and spoiled it
	past      bool     // drove past the goal, and is not back
	hindered  bool     // another robot is in the way
	round     float64  // side on which it goes round it
	nudgeTill float64  // s
	nudgeTurn float64
	awayTill  float64 // s, drives away from the goal to come again
	standTill float64 // s, has lost the robot
	queueTill float64 // s, waits before the zone
	rolled    bool
	tookAt    float64 // m, x of the robot when it took the piece
	spilling  bool
	spillTill float64 // s
	stuckFor  float64 // s of pushing that leads nowhere
	freeTill  float64 // s, backs out of it
	fellTill  float64 // s, does not know before that the piece fell out
	goTo      spot    // of a defender
	turnTill  float64 // s
}

func newDriver(r random) *driver {
	d := &driver{r: r}
	d.start(toPickup, 0)
	return d
}

// lineUpM is how near the aiming point, along the field, a driver begins to line up, m.
const lineUpM = 0.30

// start begins a phase after the driver's reaction.
func (d *driver) start(p phase, now float64) {
	d.phase = p
	d.react = now + d.r.delay(0.22, 0.3)
	d.goodFor, d.settle = 0, d.r.delay(0.35, 0.6)
	d.waits = false
}

// plan decides on the next trip.
func (d *driver) plan(w *world) {
	d.trip++
	plan := w.scenario.trips[d.trip]
	d.todo = plan
	d.standTill, d.queueTill, d.rolled = 0, 0, false
	if plan.lies != nil {
		w.field.lie(*plan.lies)
	}
	d.pieces = max(1, min(plan.pieces, len(w.program.feed.rests)))
	d.misses = plan.misses
	d.lookAt = w.field.next.y + d.r.normal(0, 0.035)
	if d.misses > 0 {
		d.lookAt += math.Copysign(0.30, d.r.Float64()-0.5)
	}
	hands := w.scenario.drive.skill() * orOne(plan.pace)
	d.top = d.r.normal(2.85, 0.2) * min(hands, 1.15)
	d.liftFrom = d.r.normal(11.4, 0.2) + w.field.goals[0].lay.x0 - shelf.lay.x0
	d.wait = d.r.delay(0.25, 0.7) / hands
	d.hasty = plan.hasty
	if d.hasty {
		d.liftFrom = 0
	}
}

func (d *driver) look(w *world) {
	const dt = people * step
	if w.mode() == schemas.ModeDisabled || w.scenario.drive.idle(w.mode()) {
		d.rests()
		d.forward, d.turn = 0, 0
		w.program.forward, w.program.turn = 0, 0
		w.program.release, w.program.intake, w.program.levelling, w.program.assist = false, false, false, false
		return
	}
	if d.trip == 0 {
		d.plan(w)
	}
	if w.supply.trips > d.trips {
		d.trips, d.easeTill = w.supply.trips, w.now()+d.r.delay(1.6, 0.3)
	}
	forward, turn := 0.0, 0.0
	if w.now() >= d.react {
		forward, turn = d.act(w)
	}
	d.account(w)
	human := w.mode() == schemas.PeriodDriver
	shake, quick := 0.008, 1.0/0.32
	if human {
		shake, quick = 0.035, 1.0/w.scenario.stick
		if d.hasty && d.phase == toGoal {
			quick = 1.0 / 0.15
		}
	}
	d.shakeF += (-d.shakeF/0.4)*dt + shake*math.Sqrt(2*dt/0.4)*d.r.NormFloat64()
	d.shakeT += (-d.shakeT/0.4)*dt + shake*math.Sqrt(2*dt/0.4)*d.r.NormFloat64()
	if forward != 0 {
		forward += d.shakeF
		turn += d.shakeT
	}
	if human && w.scenario.drive.taps {
		forward, turn = tap(w.now(), forward, turn)
	}
	if w.now() < d.easeTill && w.now() > d.easeTill-1.3 {
		forward = clamp(forward, 0.62)
	}
	d.forward += clamp(clamp(forward, 1)-d.forward, quick*dt)
	d.turn += clamp(clamp(turn, 0.6)-d.turn, 1.5*quick*dt)
	w.program.forward, w.program.turn = d.forward, d.turn
}

// act is what the sticks should do in this phase; it also moves on to the next.
func (d *driver) act(w *world) (forward, turn float64) {
	c, now := w.chassis, w.now()
	w.program.intake = (d.phase == toPickup && c.x < w.field.intake || d.phase == collecting) && w.path.count() < d.pieces
	w.program.release = d.phase == placing
	w.program.levelling = d.phase == onPlatform && d.levels(w)
	w.program.assist = d.todo.assist > 0 && (d.phase == aligning || d.phase == toGoal && seesShelf(w))
	if d.stands(w) {
		return 0, 0
	}
	if forward, turn, on := d.escapes(w); on {
		return forward, turn
	}
	switch d.phase {
	case toPickup:
		if d.queues(w) {
			return d.speed(w, 0), 0
		}
		d.rolls(w)
		x := w.field.next.x + reach
		if c.x < x+0.75 {
			d.phase, d.react = collecting, now+d.wait
		}
		return d.towards(w, x+0.25, d.lookAt, d.top, false)
	case collecting:
		return d.collect(w)
	case backingOff:
		room, turn := 0.75, 0.0
		if off := wrap(math.Pi - c.heading); math.Abs(off) > 0.35 { // came in askew: straighten, with more room
			room, turn = 1.6, clamp(0.75*off, 0.4)-0.12*c.yaw
		}
		if c.x > w.field.next.x+reach+room {
			d.lookAt = w.field.next.y + d.r.normal(0, 0.035)
			d.misses--
			if d.misses > 0 {
				d.lookAt += math.Copysign(0.30, d.r.Float64()-0.5)
			}
			d.start(collecting, now)
		}
		return d.speed(w, -0.9), turn
	case toGoal:
		if d.spills(w); d.phase != toGoal {
			return 0, 0
		}
		if len(w.path.pieces) == 0 && d.fellTill == 0 {
			d.loses(w, lostPiece)
			d.leave(w) // lost on the way
			return 0, 0
		}
		off := math.Abs(w.field.aim.x - c.x)
		if off < lineUpM && math.Abs(c.v) < 0.8 || off < d.todo.lineUp {
			d.phase = aligning
		}
		top := d.top
		if d.hasty {
			top = 3.4
		}
		return d.towards(w, w.field.aim.x, w.field.aim.y+d.todo.off, top, true)
	case aligning:
		return d.align(w)
	case placing:
		if len(w.path.pieces) == 0 {
			d.leave(w)
		} else if w.mode() == schemas.PeriodDriver && w.scenario.climbS > 0 && w.bell-now < 21 && w.operator.pressed > 3 {
			d.start(toPlatform, now) // it does not come out
		}
		return 0, 0
	case defending:
		return d.defend(w)
	case toPlatform:
		return d.approach(w)
	case climbing:
		return d.climb(w)
	case onPlatform:
		return d.balance(w)
	case comingDown:
		return d.comeDown(w)
	case goingRound:
		return d.goRound(w)
	default: // parked
		return 0, 0
	}
}
