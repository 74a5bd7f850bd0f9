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
		w.program.armTarget = o.armWant
	}
}

// clear watches the piece that is on its way and works on it when it hangs.
func (o *operator) clear(w *world) {
	p, now := w.program, w.now()
	c := o.onItsWay(w)
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
	}
	moved := c.x - o.seenX
	if moved > 0.03 || moved < -0.03 {
		o.seenAt, o.seenX = now, c.x
	}
	if len(o.steps) == 0 {
		if now-o.seenAt < o.notice || now < o.retryAt {
			return
		}
		o.begin(c, now)
	}
	o.work(w, c, now)
}

// onItsWay is the piece that should be moving to the gate, or nil.
func (o *operator) onItsWay(w *world) *piece {
	for i, c := range w.path.pieces {
		gate := w.path.belts[4].beam
		if i == 0 && c.x < gate-0.01 || i > 0 && c.x < w.path.belts[3].beam-0.01 {
			return c
		}
	}
	return nil
}

// begin plans one round: stop, back, stop, onward.
func (o *operator) begin(c *piece, now float64) {
	o.round++
	o.backAt = c.x
	o.steps = []beltStep{
		{beltsStop, o.r.delay(0.35, 0.3)},
		{beltsBack, o.r.delay(0.75, 0.3)},
		{beltsStop, o.r.delay(0.25, 0.3)},
		{beltsRun, o.r.delay(1.7, 0.3)},
	}
	o.until = now + o.steps[0].seconds
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
