package score

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// sameTime is how near start and end of a cycle must be, s.
const sameTime = 0.1

// Suffixes of the figures of slow cycles: over all matches without history, and the same
// matches with and without.
const (
	alone       = ""
	fifthAlone  = ", the fifth without history"
	withHistory = ", the fifth with history"
)

func cycleFigures() []Figure {
	out := []Figure{
		{Name: "cycle rows found", Kind: Rate},
		{Name: "cycle rows right", Kind: Rate, Leads: true},
		{Name: "cycle kind, period, pieces, complete right", Kind: Rate},
	}
	for _, p := range phases() {
		out = append(out, Figure{Name: p.name + " error", Kind: Error, Unit: "s"})
	}
	for _, p := range phases() {
		out = append(out, Figure{Name: p.name + " within 0.2 s", Kind: Rate})
	}
	out = append(
		out,
		Figure{Name: "pickup zone right, where both name one", Kind: Rate},
		Figure{Name: "goal zone right, where both name one", Kind: Rate},
		Figure{Name: "distance from the aim when placed error", Kind: Error, Unit: "m"},
		Figure{Name: "lining up took error", Kind: Error, Unit: "s"},
		Figure{Name: "lined up by itself or by hand right", Kind: Rate},
		Figure{Name: "quicker approach right, where it is said", Kind: Rate},
	)
	for _, which := range []string{alone, withHistory} {
		out = append(
			out,
			Figure{Name: "quicker approach said, where true times tell" + which, Kind: Rate},
			Figure{Name: "quicker approach as true times tell, where it is said" + which, Kind: Rate},
			Figure{Name: "matches with approaches of both kinds" + which, Kind: Count},
		)
	}
	for _, which := range []string{alone, fifthAlone, withHistory} {
		out = append(
			out,
			Figure{Name: "slow recall" + which, Kind: Rate, Leads: which == alone},
			Figure{Name: "slow precision" + which, Kind: Rate, Leads: which == alone},
			Figure{Name: "slow why right, where truth tells" + which, Kind: Rate},
			Figure{Name: "longer kind of trips, not slow, not called so" + which, Kind: Rate},
			Figure{Name: "slow chance under 10 %, cycles not slow" + which, Kind: Rate, Nominal: 0.1, Small: true},
		)
	}
	return append(
		out,
		Figure{Name: "cycles left out, undecidable", Kind: Count},
		Figure{Name: "cycles left out with history, too few of their match to be slow without", Kind: Count},
		Figure{Name: "matches with history", Kind: Count},
		Figure{Name: "matches of the fifth without history, field of their own", Kind: Count},
		Figure{Name: "matches not looked at by cycles", Kind: Count},
	)
}

type phase struct {
	name string
	of   func(schemas.Phases) *float64
}

func phases() []phase {
	return []phase{
		{"return", func(p schemas.Phases) *float64 { return p.ReturnS }},
		{"collect", func(p schemas.Phases) *float64 { return p.CollectS }},
		{"carry", func(p schemas.Phases) *float64 { return p.CarryS }},
		{"place", func(p schemas.Phases) *float64 { return p.PlaceS }},
	}
}

func scoreCycles(c *Case) *Tally {
	t := newTally()
	truth, got := c.Truth.Cycles, c.Got.Cycles
	p := pairCycles(truth, got)
	t.found("cycle rows found", "cycle rows right", "", len(p.pairs), len(p.missed), len(p.extra))
	for _, i := range p.missed {
		t.lose(0.5, "cycle row missed", "missed: %s cycle from %s to %s", truth[i].Kind, c.at(truth[i].StartS), c.at(truth[i].EndS))
	}
	for _, i := range p.extra {
		t.lose(0.5, "cycle row that is none", "no such %s cycle: from %s to %s", got[i].Kind, c.at(got[i].StartS), c.at(got[i].EndS))
	}
	for _, x := range p.pairs {
		w, g := truth[x[0]], got[x[1]]
		ok := w.Period == g.Period && w.Pieces == g.Pieces && w.Complete == g.Complete
		t.hit("cycle kind, period, pieces, complete right", ok)
		if !ok {
			t.lose(0.25, "cycle with wrong kind, period or pieces", "cycle from %s: %s, %d pieces, complete %v; was %s, %d, %v",
				c.at(w.StartS), g.Period, g.Pieces, g.Complete, w.Period, w.Pieces, w.Complete)
		}
		for _, ph := range phases() {
			t.both(ph.name, ph.of(w.Phases), ph.of(g.Phases), func(a, b float64) {
				t.value(ph.name+" error", b-a)
				t.hit(ph.name+" within 0.2 s", math.Abs(b-a) <= 0.2)
				if math.Abs(b-a) > 1 {
					t.lose(0.1, "phase off by over 1 s", "%s of the cycle from %s took %.1f s, was %.1f s", ph.name, c.at(w.StartS), b, a)
				}
			})
		}
	}
	for _, x := range p.pairs {
		scorePlaces(t, truth[x[0]], got[x[1]])
	}
	if w, g := c.Truth.Placing, c.Got.Placing; w != nil && g != nil && g.Quicker != schemas.QuickerUnknown {
		t.hit("quicker approach right, where it is said", w.Quicker == g.Quicker)
	}
	scoreQuicker(t, []*schemas.Report{c.Truth}, c.Got.Placing, alone)
	scoreSlow(t, c, got, alone)
	if c.NoHistory {
		t.add("matches of the fifth without history, field of their own", 1, 0)
	}
	if c.WithHistory != nil {
		t.add("matches with history", 1, 0)
		scoreSlow(t, c, got, fifthAlone)
		scoreSlow(t, c, c.WithHistory.Cycles, withHistory)
		scoreQuicker(t, slices.Concat(c.Earlier, []*schemas.Report{c.Truth}), c.WithHistory.Placing, withHistory)
	}
	t.notLookedAt(c, "cycles")
	return t
}

// scoreQuicker compares what is said of assisted and hand-driven approaches with what the true times of
// the same matches tell by the rank-sum test: nothing, where chance may explain the difference.
func scoreQuicker(t *Tally, truth []*schemas.Report, got *schemas.Placing, which string) {
	var assisted, byHand []float64
	for _, m := range truth {
		for _, c := range m.Cycles {
			switch {
			case c.Period != schemas.PeriodDriver || c.Align == nil || c.Align.AlignS == nil || c.Align.Assisted == nil:
			case *c.Align.Assisted:
				assisted = append(assisted, *c.Align.AlignS)
			default:
				byHand = append(byHand, *c.Align.AlignS)
			}
		}
	}
	if len(assisted) == 0 || len(byHand) == 0 || got == nil {
		return
	}
	t.add("matches with approaches of both kinds"+which, 1, 0)
	told := schemas.QuickerUnknown
	switch _, low, high := stat.HodgesLehmann(assisted, byHand, 0.95); {
	case high < 0:
		told = schemas.QuickerAssisted
	case low > 0:
		told = schemas.QuickerByHand
	}
	if told != schemas.QuickerUnknown {
		t.hit("quicker approach said, where true times tell"+which, got.Quicker == told)
	}
	if got.Quicker != schemas.QuickerUnknown {
		t.hit("quicker approach as true times tell, where it is said"+which, got.Quicker == told)
	}
}

// scorePlaces compares from where to where a cycle went, and how the robot lined up in it.
func scorePlaces(t *Tally, w, g schemas.Cycle) {
	for _, z := range []struct{ name, truth, got string }{{"pickup", w.Pickup, g.Pickup}, {"goal", w.Goal, g.Goal}} {
		if z.truth != "" && z.got != "" {
			t.hit(z.name+" zone right, where both name one", z.truth == z.got)
		}
	}
	if w.Align == nil || g.Align == nil {
		return
	}
	t.both("placed", w.Align.PlacedM, g.Align.PlacedM, func(a, b float64) { t.value("distance from the aim when placed error", b-a) })
	t.both("align", w.Align.AlignS, g.Align.AlignS, func(a, b float64) { t.value("lining up took error", b-a) })
	if w.Align.Assisted != nil && g.Align.Assisted != nil {
		t.hit("lined up by itself or by hand right", *w.Align.Assisted == *g.Align.Assisted)
	}
}

func pairCycles(truth, got []schemas.Cycle) pairing {
	return inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		a, b := truth[i], got[j]
		start, end := math.Abs(a.StartS-b.StartS), math.Abs(a.EndS-b.EndS)
		return start + end, a.Kind == b.Kind && start <= sameTime && end <= sameTime
	})
}

// scoreSlow compares which cycles are called slow, and why. A slow cycle without partner is
// missed or false as any other. What the truth calls undecidable is counted and left out.
func scoreSlow(t *Tally, c *Case, got []schemas.Cycle, which string) {
	if which == withHistory && completeCycles(c.Truth.Cycles) < leastCycles {
		return // the truth calls nothing slow in so few, which with a history is no rule
	}
	p, longer := pairCycles(c.Truth.Cycles, got), longerKinds(c.Truth.Cycles)
	both, missed, extra := 0, 0, 0
	lose := func(weight float64, kind, format string, a ...any) {
		if which == alone { // the same matches a second time are no second loss
			t.lose(weight, kind, format, a...)
		}
	}
	for _, x := range p.pairs {
		w, g := c.Truth.Cycles[x[0]], got[x[1]]
		if c.unsure("cycles", x[0]) {
			if which == alone {
				t.add("cycles left out, undecidable", 1, 0)
			}
			continue
		}
		if which == withHistory && !enoughOf(c.Truth.Cycles, w.Period) {
			t.add("cycles left out with history, too few of their match to be slow without", 1, 0)
			continue
		}
		if g.Slow {
			t.judge("slow cycle confidence"+which, slowConfidence(g), w.Slow)
		}
		if g.P != nil && !w.Slow {
			t.hit("slow chance under 10 %, cycles not slow"+which, *g.P < 0.1)
		}
		if !w.Slow && longer[route{w.Pickup, w.Goal}] {
			t.hit("longer kind of trips, not slow, not called so"+which, !g.Slow)
		}
		switch {
		case w.Slow && g.Slow:
			both++
			t.table("slow why"+which, word(w.Why), word(g.Why))
			if w.Why == nil {
				continue // no phase is to blame, or the truth cannot tell which
			}
			t.hit("slow why right, where truth tells"+which, word(w.Why) == word(g.Why))
			if word(w.Why) != word(g.Why) {
				lose(0.5, "slow cycle with wrong why", "slow cycle from %s: because of %s, was %s", c.at(w.StartS), said(word(g.Why)), said(word(w.Why)))
			}
		case w.Slow:
			missed++
			lose(1, "slow cycle missed", "missed: slow cycle from %s of %.1f s (%s; usual %s, chance said %s)",
				c.at(w.StartS), w.DurationS, said(word(w.Why)), number(c.Got.Usual.CycleS, " s"), number(g.P, ""))
		case g.Slow:
			extra++
			lose(1, "slow cycle that was none", "false slow cycle from %s of %.1f s (%s; usual %s, chance said %s)",
				c.at(w.StartS), w.DurationS, said(word(g.Why)), number(c.Got.Usual.CycleS, " s"), number(g.P, ""))
		}
	}
	for _, i := range p.missed {
		if w := c.Truth.Cycles[i]; w.Slow && !c.unsure("cycles", i) {
			missed++
		}
	}
	for _, i := range p.extra {
		if got[i].Slow {
			extra++
		}
	}
	t.found("slow recall"+which, "slow precision"+which, "", both, missed, extra)
}

// route is from where to where trips of a kind go.
type route struct{ pickup, goal string }

// longerKinds are the routes whose trips in the driver period usually take at least a quarter longer
// than those of the quickest one, of routes with three trips and more: who took them for one kind
// would call these slow.
func longerKinds(all []schemas.Cycle) map[route]bool {
	const least, longer = 3, 1.25 // chosen by us
	took := map[route][]float64{}
	for _, c := range all {
		if r := (route{c.Pickup, c.Goal}); c.Kind == "score" && c.Complete && c.Period == schemas.PeriodDriver && r.pickup != "" && r.goal != "" {
			took[r] = append(took[r], c.DurationS)
		}
	}
	quickest := math.Inf(1)
	for _, s := range took {
		if len(s) >= least {
			quickest = min(quickest, stat.Median(s))
		}
	}
	out := map[route]bool{}
	for r, s := range took {
		out[r] = len(s) >= least && stat.Median(s) >= longer*quickest
	}
	return out
}

// leastCycles: under as many complete cycles, and without history, nothing is slow by
// definition.
const leastCycles = 6

// enoughOf says whether the truth can call a cycle of a period slow. It holds a cycle against those
// of its own match, and of the autonomous period, or with under leastCycles in the driver period, it
// calls none slow, however long; an analysis that knows earlier matches may.
func enoughOf(all []schemas.Cycle, period string) bool {
	n := 0
	for _, c := range all {
		if c.Kind == "score" && c.Complete && c.Period == period {
			n++
		}
	}
	return period == schemas.PeriodDriver && n >= leastCycles
}

func completeCycles(all []schemas.Cycle) int {
	n := 0
	for _, c := range all {
		if c.Kind == "score" && c.Complete {
			n++
		}
	}
	return n
}

// slowConfidence is what the sheet says of a slow cycle; of a report without it, one less
// the chance that a usual one takes this long.
func slowConfidence(c schemas.Cycle) float64 {
	if c.Confidence != nil {
		return *c.Confidence
	}
	if c.P == nil {
		return 0.9
	}
	return math.Min(0.99, 1-*c.P)
}

func word(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func number(v *float64, unit string) string {
	if v == nil {
		return "unknown"
	}
	return fmt.Sprintf("%.3g%s", *v, unit)
}
