package sim

import (
	"github.com/afterbell/afterbell/schemas"
)

// Heights of the lift, m.
const (
	travelAt = 0.12
	placeAt  = 0.85
	tuckAt   = 0.35
)

const fullSpeed = 3.5 // m/s at full command, as the program reckons

// What the operator can tell the belts.
const (
	beltsRun = iota
	beltsStop
	beltsBack
)

// program is the robot's own code: it runs every 10 ms, reads beams and buttons, and sets
// the commands of all axes.
type program struct {
	// From the people.
	forward, turn float64 // sticks
	intake        bool    // button
	release       bool    // button
	belts         int     // beltsRun, beltsStop, beltsBack
	armTarget     float64 // m
	levelling     bool    // button
	assist        bool    // button

	inside   int // pieces it believes to be in the path
	released int // counter it publishes
	drive    float64
	commands []float64
	feed     feeder
	loop     armLoop
	level    leveller
	wasLevel bool
	orders   orders

	left  float64 // stick after the slew limit
	right float64
}

func newProgram(w *world) *program {
	p := &program{armTarget: travelAt, loop: newArmLoop(w), level: newLeveller(w), orders: newOrders(w)}
	p.commands = make([]float64, len(w.path.belts))
	p.feed = newFeeder(w.path)
	for _, change := range w.scenario.path.program {
		change(&p.feed)
	}
	return p
}

func (p *program) run(w *world) {
	if w.mode() == schemas.ModeDisabled || w.supply.off || w.down() {
		p.left, p.right, p.drive = 0, 0, 0
		for _, a := range w.axes {
			a.command = 0
		}
		clear(p.commands)
		p.loop.setpoint, p.loop.speed = w.arm.position, 0
		return
	}
	const dt = programs * step
	p.wheels(w, dt)
	p.index(w, dt)
	for i, b := range w.path.belts {
		b.axis.command += clamp(p.commands[i]-b.axis.command, 25*dt)
	}
	p.loop.target = p.armTarget
	w.arm.axis.command = p.loop.command(w.arm, dt)
}

// wheels mixes sticks, or the leveller's word, into the two sides.
func (p *program) wheels(w *world, dt float64) {
	forward, turn := p.forward, p.turn
	left, right := 0.0, 0.0
	if p.levelling {
		turn = 0
		forward, left, right = p.levelWheels(w, dt)
	}
	p.wasLevel = p.levelling
	p.drive = clamp(forward, 1)
	limit := 6.0 * dt // full stick in a sixth of a second
	p.left += clamp(clamp(forward-turn+left, 1)-p.left, limit)
	p.right += clamp(clamp(forward+turn+right, 1)-p.right, limit)
	w.chassis.left.command, w.chassis.right.command = p.left, p.right
}
