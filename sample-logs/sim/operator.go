package sim

import "github.com/afterbell/afterbell/schemas"

// operator is the second person: buttons for the belts and the lift. When a piece hangs
// the operator notices after a while, stops the belts, runs them back, and tries again.
type operator struct {
	r random

	watched *piece
	seenAt  float64 // s, when it was last seen to move
	seenX   float64 // m, where
	notice  float64 // s it must stand to be noticed

	steps   []beltStep // what is left of a round of clearing
	until   float64
	backAt  float64 // m, where the piece was before going back
	round   int
	spits   bool // this one runs belts back until the piece is out
	retryAt float64

	holds   *pause // the stop on purpose under way
	holdTil float64
	pressed float64 // s, how long release has not moved the front piece
	pressX  float64
	empty   float64 // s the program believed in a piece that is not there

	armWant float64
	armDue  float64
}

type beltStep struct {
	belts   int
	seconds float64
}

func newOperator(r random) *operator {
	return &operator{r: r, armWant: travelAt}
}

func (o *operator) look(w *world) {
	if w.mode() == schemas.ModeDisabled {
		return
	}
	o.lift(w)
	if w.driver.spilling {
		w.program.belts = beltsBack // by mistake
		return
	}
	if o.hold(w) {
		return
	}
	o.recount(w)
	o.clear(w)
}

// lift raises the lift before the shelf (or at once, when in a hurry) and lowers it after.
func (o *operator) lift(w *world) {
	want := travelAt
	switch w.driver.phase {
	case toGoal:
		if w.chassis.x > w.driver.liftFrom {
			want = placeAt
		}
	case aligning, placing:
		want = placeAt
	case climbing, onPlatform:
		want = tuckAt
	}
	if want != o.armWant {
		o.armWant, o.armDue = want, w.now()+o.r.delay(0.25, 0.3)
	}
	if w.now() >= o.armDue {
		w.program.armTarget = w.program.orders.target(w.now(), o.armWant)
	}
}

// hold stops the belts on purpose while a piece is where it is to be held, and says whether
// it does.
func (o *operator) hold(w *world) bool {
	if o.holds == nil {
		for _, c := range w.path.pieces {
			if c.pause != nil && c.x >= c.pause.at {
				o.holds, c.pause = c.pause, nil
				o.holdTil = w.now() + o.holds.seconds
			}
		}
	}
	if o.holds == nil {
		return false
	}
	w.program.belts = beltsStop
	if w.now() < o.holdTil {
		return true
	}
	o.holds, o.watched, o.steps = nil, nil, nil
	w.program.belts = beltsRun
	return false
}

// recount puts the program right when it goes on feeding a piece that is not there.
func (o *operator) recount(w *world) {
	const dt = people * step
	if w.program.inside <= len(w.path.pieces) || w.program.release {
		o.empty = 0
		return
	}
	if o.empty += dt; o.empty > 2.5 {
		w.program.forget(len(w.path.pieces))
	}
}

// clear watches the piece that is on its way and works on it when it hangs.
func (o *operator) clear(w *world) {
	p, now := w.program, w.now()
	c := o.onItsWay(w)
	if c == nil {
		c = o.atGate(w)
	}
	if c == nil {
		if o.watched != nil && len(o.steps) > 0 {
			p.forget(len(w.path.pieces)) // it came out: the path is empty again
		}
		o.watched, o.steps = nil, nil
		p.belts = beltsRun
		return
	}
	if c != o.watched {
		o.watched, o.seenAt, o.seenX, o.round, o.steps = c, now, c.x, 0, nil
		o.notice = o.r.delay(1.7, 0.25)
		o.spits = o.r.Float64() < w.scenario.spits
		if c.fate != byLuck {
			o.spits = c.fate == spatOut
		}
	}
	moved := c.x - o.seenX
	if moved > 0.03 || moved < -0.03 {
		o.seenAt, o.seenX = now, c.x
	}
	if len(o.steps) == 0 {
		blind := w.scenario.path.routineDoesNotClear && w.mode() == schemas.PeriodAutonomous
		if now-o.seenAt < o.notice || now < o.retryAt || blind {
			return
		}
		o.begin(w, c, now)
	}
	o.work(w, c, now)
}

// onItsWay is the piece that should be moving to its place, or nil. A piece that lies on one
// at rest is at rest.
func (o *operator) onItsWay(w *world) *piece {
	rests := true
	for i, c := range w.path.pieces {
		if c.hand != nil {
			continue
		}
		atPlace := c.x >= w.path.belts[w.program.feed.rest(i)].beam-0.01
		if !atPlace && !(c.leans && rests && i > 0) {
			return c
		}
		rests = rests && atPlace
	}
	return nil
}

// atGate is the front piece when it is driven to release and does not leave, or nil.
func (o *operator) atGate(w *world) *piece {
	if !w.program.release || len(w.path.pieces) == 0 {
		o.pressed = 0
		return nil
	}
	c := w.path.pieces[0]
	if c == o.watched && len(o.steps) > 0 {
		return c
	}
	if moved := c.x - o.pressX; moved > 0.02 || moved < -0.02 {
		o.pressed, o.pressX = 0, c.x
	}
	if o.pressed += people * step; o.pressed < 0.8 {
		return nil
	}
	return c
}

// begin plans one round: stop, back, stop, onward.
func (o *operator) begin(w *world, c *piece, now float64) {
	o.round++
	o.backAt = c.x
	o.steps = []beltStep{
		{beltsStop, o.r.delay(0.35, 0.3)},
		{beltsBack, o.r.delay(0.75, 0.3)},
		{beltsStop, o.r.delay(0.25, 0.3)},
		{beltsRun, o.r.delay(1.7, 0.3)},
	}
	o.until = now + o.steps[0].seconds
	for i, b := range w.path.belts {
		if b == w.path.at(c.x) {
			w.program.feed.backTo = i
		}
	}
}

func (o *operator) work(w *world, c *piece, now float64) {
	p := w.program
	p.belts = o.steps[0].belts
	if p.belts == beltsBack && o.spits && o.backAt-c.x > 0.05 {
		o.until = now + 0.2 // it comes: keep going until it is out
	}
	if p.belts == beltsRun && c.x > o.backAt+0.10 {
		o.steps = nil // past the place
		return
	}
	if now < o.until {
		return
	}
	o.steps = o.steps[1:]
	if len(o.steps) > 0 {
		o.until = now + o.steps[0].seconds
		return
	}
	if o.round%4 == 0 { // let it be for a while
		p.belts = beltsStop
		o.retryAt = now + o.r.delay(5, 0.3)
		o.steps = []beltStep{{beltsStop, o.retryAt - now}}
		o.until = o.retryAt
		o.round++
	}
	o.seenAt, o.notice = now, o.r.delay(0.5, 0.3)
}
