package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

const (
	step     = 0.001 // s, of the physics
	programs = 10    // steps between two runs of the robot's program
	people   = 20    // steps between two looks of the people
)

// world is everything there is in one match.
type world struct {
	scenario scenario
	seed     uint64

	steps         int     // since the log's begin
	begin         float64 // s, robot clock at the log's begin
	bell          float64 // s since the log's begin, end of the driver period
	until         float64 // s since the log's begin, its end
	opens, closes float64 // s since the log's begin, the match as the log tells it

	battery  *battery
	sound    *battery // as it would be had nothing been done to it
	supply   *supply
	chassis  *chassis
	path     *path
	arm      *arm
	platform *platform
	axes     []*axis

	program  *program
	driver   *driver
	operator *operator
	field    *field
	body     body
	knocks   *knocks
	rivals   []*rival
	touched  float64 // s, when the robot last touched a rival
	odometry odometry
	reboots  reboots
	recorder *recorder
	losses   []loss

	// Kept for the truth.
	track    []schemas.TrackedAt // true place, every 10 ms
	offAim   []float64           // m, true distance from where it would place, at the times of track
	boarded  []boarding
	levelled []levelledRow // each run of the levelling loop
	stuck    []float64     // s, robot clock, of each look at which the driver levelled with the stick
	tilts    []float64     // deg, every 10 ms
	atStart  battery       // when the match began and ended
	atBell   battery
	restV    float64 // V, at the end of the lead-in
	drawn    powerRecord
	turned   motorRecord
}

// boarding is a moment the robot came onto the platform or left it, s robot clock.
type boarding struct {
	at float64
	on bool
}

// now is the time since the log's begin in s, not the robot's clock.
func (w *world) now() float64 { return float64(w.steps) * step }

func newWorld(s scenario, o Options) *world {
	s.battery = or(o.Battery, s.battery)
	w := &world{scenario: s, seed: o.Seed}
	w.begin = math.Round(stream(o.Seed, "clock").between(20, 400)*1e4) / 1e4
	w.bell = s.starts() + s.driving()
	build(w, o)
	w.path.begin = w.begin
	w.field = newField(stream(o.Seed, "field"), s.drive)
	w.knocks = newKnocks(stream(o.Seed, "knocks"), s.leadS+s.autonomous(), w.bell)
	w.program = newProgram(w)
	w.operator = newOperator(stream(o.Seed, "operator"))
	w.driver = newDriver(stream(o.Seed, "driver"))
	w.touched = math.Inf(-1)
	w.rivals = newRivals(w, stream(o.Seed, "rivals"))
	w.odometry = newOdometry(stream(o.Seed, "odometry"), w.chassis)
	w.odometry.slip = s.sensors.wheelSlip
	w.until = w.bell + s.tailS
	if s.sensors.until > 0 {
		w.until = min(w.until, s.sensors.until)
	}
	w.restV = math.NaN()
	w.reboots = newReboots(w)
	w.recorder = newRecorder(w, o)
	w.opens, w.closes = max(s.leadS, w.recorder.from), min(w.bell, w.until)
	if !w.recorder.tellsMode() {
		w.opens, w.closes = w.recorder.from, w.until
	}
	for _, set := range s.path.start {
		set(w)
	}
	return w
}

// run plays the match from the lead-in to the end of the log.
func (w *world) run() {
	for last := int(w.until / step); w.steps < last; w.steps++ {
		w.advance()
	}
}

// advance is one step of everything: people and program first, then currents, then what
// the currents move, then what is seen of it.
func (w *world) advance() {
	if w.steps%people == 0 {
		w.driver.look(w)
		w.operator.look(w)
		w.scenario.power.deaf(w)
		for _, o := range w.rivals {
			o.look(w)
		}
	}
	if w.steps%programs == 0 {
		w.program.run(w)
	}
	w.supply.solve(w.axes, step)
	w.chassis.step(w.platform.underfoot(w.chassis), step)
	w.knocks.step(w)
	w.jostle()
	w.platform.step(w.chassis, step)
	w.arm.step(step)
	for _, c := range w.path.step(w.driven, step) {
		w.field.dropped(w, c)
	}
	w.field.step(w)
	w.body.step(w, step)
	w.odometry.step(w, step)
	w.reboots.step(w)
	w.recorder.step(w)
	w.remember()
}

// remember keeps what the truth is told from.
func (w *world) remember() {
	c := w.chassis
	if w.steps%10 == 0 {
		w.track = append(w.track, schemas.TrackedAt{AtS: w.begin + w.now(), X: c.x, Y: c.y})
		w.offAim = append(w.offAim, w.field.offAim(c))
		w.tilts = append(w.tilts, w.body.tilt())
	}
	if on := w.platform.carries(c); on != (len(w.boarded) > 0 && w.boarded[len(w.boarded)-1].on) {
		w.boarded = append(w.boarded, boarding{w.begin + w.now(), on})
	}
	w.drawn.note(w)
	w.turned.note(w)
	if w.steps == max(0, int(w.opens/step)-1) {
		w.atStart = *w.battery
	}
	if w.steps == int(w.scenario.leadS/step)-1 && w.recorder.started {
		w.restV = w.supply.voltage
	}
	if w.steps == int(w.closes/step)-1 {
		w.atBell = *w.battery
	}
}

// forgetPast drops what was before the log's first sample: nobody can know of it.
func (w *world) forgetPast() {
	w.path.gone = nil
	for _, c := range w.path.pieces {
		c.trace = trace{}
	}
	w.track, w.offAim = nil, nil
	w.drawn.forget()
}

// driven says whether a belt is being driven onward: told to, and not cut off.
func (w *world) driven(b *belt) bool { return b.axis.command > 0.05 && !w.supply.off && !b.axis.off }
