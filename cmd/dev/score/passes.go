package score

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// scoreCounted looks at released pieces of which both tell whether they came to count.
func scoreCounted(t *Tally, truth, got *bool) {
	if truth == nil || got == nil {
		return
	}
	if !*truth {
		t.hit("released piece that never counted, recall", !*got)
	}
	if !*got {
		t.hit("released piece that never counted, precision", !*truth)
	}
}

func scorePasses(t *Tally, c *Case) {
	truth, got := c.Truth.Passes, c.Got.Passes
	if len(truth) > 0 || len(got) > 0 {
		t.hit("passes counted right", len(truth) == len(got))
		t.value("pass count error", float64(len(got)-len(truth)))
	}
	p := c.sure(t, "passes", inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		off := math.Abs(cameIn(truth[i]) - cameIn(got[j]))
		return off, off <= nearPass
	}))
	t.found("pass recall", "pass precision", "", len(p.pairs), len(p.missed), len(p.extra))
	for _, x := range p.pairs {
		want, is := truth[x[0]].Outcome, got[x[1]].Outcome
		t.table("pass outcome", want, is)
		t.hit("pass outcome right", want == is)
		if want != is {
			t.lose(0.25, "pass with wrong outcome", "piece in at %s told %s, was %s", c.at(cameIn(truth[x[0]])), is, want)
		}
		scoreCounted(t, truth[x[0]].Counted, got[x[1]].Counted)
	}
	// What is left on both sides and near is one pass told at another time: two errors in the
	// figures, one in what to look at.
	late := inOrder(len(p.missed), len(p.extra), func(i, j int) (float64, bool) {
		off := math.Abs(cameIn(truth[p.missed[i]]) - cameIn(got[p.extra[j]]))
		return off, off <= farPass
	})
	for _, x := range late.pairs {
		w, g := truth[p.missed[x[0]]], got[p.extra[x[1]]]
		t.lose(0.25, "pass told at another time", "piece in at %s, %s, told at %s, %s", c.at(cameIn(w)), w.Outcome, c.at(cameIn(g)), g.Outcome)
	}
	for _, i := range late.missed {
		w := truth[p.missed[i]]
		t.lose(0.25, "pass missed", "missed: piece in at %s, %s", c.at(cameIn(w)), w.Outcome)
	}
	for _, i := range late.extra {
		g := got[p.extra[i]]
		t.lose(0.25, "pass that was none", "no piece came in at %s (told %s)", c.at(cameIn(g)), g.Outcome)
	}
}

// cameIn is when a piece came in: at the first beam, or the first time of it that is known.
// NaN, which pairs with nothing, when none is.
func cameIn(p schemas.Pass) float64 {
	if p.EnterS != nil {
		return *p.EnterS
	}
	for _, s := range p.Stages {
		for _, at := range []*float64{s.EnterS, s.EnterEstS, s.LeaveS, s.LeaveEstS} {
			if at != nil {
				return *at
			}
		}
	}
	return math.NaN()
}

// scoreFaults pairs stretches of misbehaving signals by name and time. What a poor sensor may
// rightly be blamed for is counted apart and judged neither way.
func scoreFaults(t *Tally, c *Case) {
	truth, got := c.Truth.Quality.Faults, c.Got.Quality.Faults
	told := make([]bool, len(truth)) // one fault may be told in several stretches
	extra := 0
	for _, g := range got {
		is := false
		for i, w := range truth {
			if sameFault(w, g) {
				told[i], is = true, true
			}
		}
		switch {
		case is:
			t.hit("sensor fault precision", true)
		case slices.Contains(c.Poor, g.Kind):
			t.add("sensor faults of poor sensors, not judged", 1, 0)
		default:
			extra++
			t.hit("sensor fault precision", false)
			t.lose(0.5, "sensor fault that was none", "false fault of %s from %s: %s, %s", g.Signal, c.at(g.StartS), g.Kind, g.Note)
		}
	}
	for i, w := range truth {
		t.hit("sensor fault recall", told[i])
		if !told[i] {
			t.lose(0.5, "sensor fault missed", "missed: fault of %s from %s for %.1f s: %s, %s", w.Signal, c.at(w.StartS), w.EndS-w.StartS, w.Kind, w.Note)
		}
	}
	if len(truth) == 0 {
		t.add("false sensor faults a sound match", float64(extra), 1)
	}
}

func sameFault(truth, got schemas.Fault) bool {
	const near = 1 // s
	_, ok := overlapOrNear(truth.StartS, truth.EndS, got.StartS, got.EndS, near)
	return ok && truth.Signal == got.Signal
}
