package sim

import "math"

// tally is the counter of scored pieces and what it does wrong. It counts what landed once
// nothing more has come for a while, so that pieces placed together count together.
type tally struct {
	plan    tallyPlan
	due     float64 // s, when what landed is counted
	steps   []correction
	counted int // moments so far
}

// tallyPlan is how a counter differs from a quick and sure one.
type tallyPlan struct {
	quick      bool    // counts each piece by itself
	slow       float64 // s it takes longer, at most; each time another part of it
	afterEnd   float64 // s after a period's end at which what landed in its last 12 s counts, 0 for at once
	overcounts int     // the moment at which it counts one too many and takes it back, 0 for never
	dips       int     // the moment after which it loses one and gives it back
	resets     int     // the moment after which it begins again from 0
}

// correction is a change of the counter that no piece makes.
type correction struct {
	at    float64 // s
	delta int
	reset bool
}

// count is one change of the counter: the pieces that made it, none for a correction.
type count struct {
	at    float64 // s
	delta int
	ids   []int
}

const (
	together = 0.55 // s
	lastS    = 12.0 // s
)

func newTally(plan drivePlan) tally { return tally{plan: plan.tally, due: math.Inf(1)} }

// put is told of a landing.
func (t *tally) put(w *world) {
	t.due = w.now() + together
	if t.plan.quick {
		t.due = w.now() + 0.05
	}
	if t.plan.slow > 0 {
		t.due += w.field.r.Float64() * t.plan.slow
	}
	if t.plan.afterEnd == 0 {
		return
	}
	for _, end := range w.scenario.ends() {
		if left := end - w.now(); left > 0 && left < lastS {
			t.due = end + t.plan.afterEnd
		}
	}
}

// settled says whether nothing is on its way to be counted.
func (f *field) settled() bool { return len(f.landed) == 0 && len(f.tally.steps) == 0 }

// count moves the counter when it is time to.
func (f *field) count(w *world) {
	t, now := &f.tally, w.now()
	if len(f.landed) > 0 && now >= t.due {
		var ids []int
		for _, l := range f.landed {
			ids = append(ids, l.id)
		}
		f.landed, t.due = nil, math.Inf(1)
		t.counted++
		delta := len(ids)
		switch t.counted {
		case t.plan.overcounts:
			delta++
			t.steps = append(t.steps, correction{at: now + f.r.between(1.2, 3), delta: -1})
		case t.plan.dips:
			at := now + f.r.between(1.5, 3)
			t.steps = append(t.steps, correction{at: at, delta: -1}, correction{at: at + f.r.between(0.6, 1.2), delta: 1})
		case t.plan.resets:
			t.steps = append(t.steps, correction{at: now + f.r.between(1, 3), reset: true})
		}
		f.change(now, delta, ids)
	}
	for len(t.steps) > 0 && now >= t.steps[0].at {
		c := t.steps[0]
		t.steps = t.steps[1:]
		if c.reset {
			c.delta, w.reboots.scored = -f.score, 0
		}
		f.change(now, c.delta, nil)
	}
}

func (f *field) change(now float64, delta int, ids []int) {
	f.score += delta
	f.events = append(f.events, count{now, delta, ids})
}
