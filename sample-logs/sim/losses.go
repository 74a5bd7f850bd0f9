package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// loss is one look of the driver (20 ms) in which the robot did not get on with its job
// though it should have. seconds is the part of the look that was lost: all of it where the
// robot stood, less where it only went slower than its driver wanted. The world writes it
// down where it happens, so that the truth need not guess it from how long things took.
type loss struct {
	at      float64 // s since the log's begin
	seconds float64
	cause   string
}

// What keeps a robot.
const (
	lostMiss    = "missed a piece"
	lostWay     = "another robot in the way"
	lostPin     = "pinned"
	lostAim     = "lined up again"
	lostMark    = "drove past the goal"
	lostDriver  = "the driver lost the robot"
	lostDropped = "dropped the piece"
	lostWasted  = "a piece that did not count"
	lostQueue   = "waited for the zone"
	lostPiece   = "the piece or the lift did not come" // a jam, or just slow
	lostCutOff  = "outputs cut off, or the computer down"
	touched     = "touched another robot" // costs nothing by itself
	elsewhere   = "did something else"    // so does a visit to the platform
)

func (w *world) lose(cause string, part float64) {
	w.losses = append(w.losses, loss{w.now(), part * people * step, cause})
}

// rests begins a new account: cycles do not reach across the end of a period, so what was
// lost in the last one costs the next nothing.
func (d *driver) rests() { d.again, d.wasting = "", false }

// account writes down what keeps the robot at this look, if anything does.
func (d *driver) account(w *world) {
	now := w.now()
	if now-w.touched < 0.1 {
		w.lose(touched, 0)
	}
	switch d.phase {
	case toPlatform, climbing, onPlatform, comingDown, goingRound, parked, defending:
		w.lose(elsewhere, 0)
		return
	}
	if d.again != "" && d.hasAgain(w) {
		d.again = ""
	}
	past := d.overshot(w)
	switch {
	case d.wasting:
		w.lose(lostWasted, 1)
	case d.again != "":
		w.lose(d.again, 1)
	case w.supply.off || w.down():
		w.lose(lostCutOff, 1)
	case now < d.standTill:
		w.lose(lostDriver, 1)
	case d.missed:
		w.lose(lostMiss, 1)
	case d.refines:
		w.lose(lostAim, 1)
	case now < d.queueTill:
		w.lose(lostQueue, 1)
	case d.waits:
		w.lose(lostPiece, 1)
	case past:
		w.lose(lostMark, 1)
	case d.phase == toPickup || d.phase == toGoal:
		d.hindrance(w)
	}
}

// overshot says whether the robot, on its way to the goal, has come past the place from which
// it could line up. It turns there, and drives back to where it was: a wide bow beside the goal.
func (d *driver) overshot(w *world) bool {
	if d.phase != toGoal {
		d.past = false
	} else if w.chassis.x > w.field.aim.x+lineUpM {
		d.past = true
	}
	return d.past
}

// hindrance is what other robots cost, and a driver's gentleness after the robot cut out:
// the part of the speed its driver wants in the direction it wants to go that it does not
// have.
func (d *driver) hindrance(w *world) {
	against, eased := w.now()-w.touched < 0.3, w.now() < d.easeTill
	if !d.hindered && !against && !eased {
		return
	}
	c := w.chassis
	tx, ty := w.field.aim.x, w.field.aim.y
	if d.phase == toPickup {
		tx, ty = w.field.next.x+reach, d.lookAt
	}
	dist := math.Hypot(tx-c.x, ty-c.y)
	want := min(d.top, math.Sqrt(2*3.2*dist))
	if want < 0.3 {
		return
	}
	vx, vy := w.velocity()
	part := clampTo(1-(vx*(tx-c.x)+vy*(ty-c.y))/dist/want, 0, 1)
	if part < 0.2 {
		return
	}
	if against && w.pinned() {
		w.lose(lostPin, part)
		return
	}
	if eased && !d.hindered && !against {
		w.lose(lostCutOff, part)
		return
	}
	w.lose(lostWay, part)
}

// loses begins to count the time until the robot is where it was, with a piece again.
func (d *driver) loses(w *world, cause string) {
	if d.again == "" {
		d.again, d.away = cause, w.field.aim.x-w.chassis.x
	}
}

func (d *driver) hasAgain(w *world) bool {
	return d.awayTill == 0 && len(w.path.pieces) > 0 && (d.phase == placing || (d.phase == toGoal || d.phase == aligning) && w.field.aim.x-w.chassis.x <= d.away+0.05)
}

// wasted is told that a piece left the robot and will not count.
func (d *driver) wasted(w *world) {
	if w.mode() == schemas.PeriodDriver {
		d.wasting = true
	}
}

// useful is told that one will.
func (d *driver) useful() { d.wasting = false }
