package sim

import (
	"math"

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

	inside   int // pieces it believes to be in the path
	released int // counter it publishes
	drive    float64
	commands []float64
	feed     feeder
	loop     armLoop
	level    leveller

	left  float64 // stick after the slew limit
	right float64
}

// leveller drives the robot level on a platform from its tilt and tilt rate, by signals
// that are some cycles old.
type leveller struct {
	kp    float64 // command per degree
	kd    float64 // command per degree a second
	most  float64 // largest command
	quiet float64 // deg, band in which it stands still
	hold  float64 // command for each m/s the wheels are off
	late  int     // program runs from tilt to wheels
	tilts []float64
	rates []float64

	smooth float64
}

func newProgram(w *world) *program {
	ratio := w.arm.gear / w.arm.drum
	m := w.arm.axis.motor
	carry := w.arm.mass * gravity / (ratio * w.arm.yield * m.ke) * m.r / 12
	p := &program{
		armTarget: travelAt,
		loop:      armLoop{top: 1.1, ramp: 4, kp: 9, kd: 0.9, holdUp: carry},
		level:     leveller{kp: 0.0075, kd: 0.0045, most: 0.30, quiet: 1.2, hold: 0.8, late: 2},
	}
	p.commands = make([]float64, len(w.path.belts))
	p.feed = newFeeder(w.path)
	for _, change := range w.scenario.path.program {
		change(&p.feed)
	}
	if w.scenario.leveller != nil {
		w.scenario.leveller(&p.level, stream(w.seed, "gains"))
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
	c := w.chassis
	left, right := 0.0, 0.0
	if p.levelling {
		// The wheels are held to the leveller's speed, whatever the slope.
		forward, turn = p.level.command(w), 0
		left = p.level.hold * (forward*fullSpeed - c.wheelSpeed(c.left))
		right = p.level.hold * (forward*fullSpeed - c.wheelSpeed(c.right))
	}
	p.drive = clamp(forward, 1)
	limit := 6.0 * dt // full stick in a sixth of a second
	p.left += clamp(clamp(forward-turn+left, 1)-p.left, limit)
	p.right += clamp(clamp(forward+turn+right, 1)-p.right, limit)
	w.chassis.left.command, w.chassis.right.command = p.left, p.right
}

// command is the leveller's drive command, -1..1.
func (l *leveller) command(w *world) float64 {
	l.tilts = append(l.tilts, w.body.tilt())
	l.smooth += (w.body.tiltRate() - l.smooth) * 0.3 // gyros are noisy: 30 ms of smoothing
	l.rates = append(l.rates, l.smooth)
	n := len(l.tilts) - 1 - l.late
	if n < 0 {
		return 0
	}
	tilt, rate := l.tilts[n], l.rates[n]
	if math.Abs(tilt) < l.quiet {
		return 0
	}
	return clamp(l.kp*tilt+l.kd*rate, l.most)
}
