package score

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// Tolerances of the supply.
const (
	nearDip      = 0.1 // s: starts this near are the same dip even without overlap
	nearShare    = 0.05
	marginSigmas = 2 // a dip this near the cut-off, in sensor noise, is decided by the noise
)

func powerFigures() []Figure {
	return []Figure{
		{Name: "brownout recall", Kind: Rate, Leads: true},
		{Name: "brownout precision", Kind: Rate, Leads: true},
		{Name: "brownout F1", Kind: Dice},
		{Name: "brownouts counted right", Kind: Rate},
		{Name: "matches with a marginal brownout, not in the line before", Kind: Count},
		{Name: "brownouts left out, undecidable", Kind: Count},
		{Name: "marginal brownouts found", Kind: Rate},
		{Name: "marginal brownouts that are none", Kind: Count},
		{Name: "brownout start error", Kind: Error, Unit: "s"},
		{Name: "brownout end error", Kind: Error, Unit: "s"},
		{Name: "brownout lowest voltage error", Kind: Error, Unit: "V"},
		{Name: "branch share error", Kind: Error},
		{Name: "branch share within 5 points", Kind: Rate},
		{Name: "branch needed for the brownout, told", Kind: Rate},
		{Name: "branch needed for the brownout, told right", Kind: Rate, Nominal: 0.95},
		{Name: "limit on a branch would have held", Kind: Rate, Nominal: 0.95},
		{Name: "limit on a branch under the highest that holds", Kind: Error, Unit: "A"},
		{Name: "brownout cause right, where truth tells", Kind: Rate},
		{Name: "resistance error", Kind: Error, Unit: "%"},
		{Name: "resistance interval holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "resistance interval half width", Kind: Error, Unit: "%"},
		{Name: "resistance told, where truth has one", Kind: Rate},
		{Name: "resistance told, where truth has none", Kind: Rate, Small: true},
		{Name: "loose connection told, where there is one", Kind: Rate},
		{Name: "loose connection told, where there is none", Kind: Rate, Small: true},
		{Name: "resistance to 1 s of load error", Kind: Error, Unit: "%"},
		{Name: "resistance to 1 s of load interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "resistance to 1 s of load interval half width", Kind: Error, Unit: "%"},
		{Name: "open circuit error", Kind: Error, Unit: "V"},
		{Name: "open circuit interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "brownout current error", Kind: Error, Unit: "A"},
		{Name: "brownout current interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "rest voltage error", Kind: Error, Unit: "V"},
		{Name: "energy error", Kind: Error, Unit: "%"},
		{Name: "charge error", Kind: Error, Unit: "%"},
		{Name: "lowest voltage error", Kind: Error, Unit: "V"},
		{Name: "standby draw recall", Kind: Rate},
		{Name: "standby draw precision", Kind: Rate},
		{Name: "matches not looked at by power", Kind: Count},
	}
}

func scorePower(c *Case) *Tally {
	t := newTally()
	scoreBrownouts(t, c)
	scoreBattery(t, c)
	scoreStandby(t, c)
	t.notLookedAt(c, "power")
	return t
}

func scoreBrownouts(t *Tally, c *Case) {
	truth, got := c.Truth.Brownouts, c.Got.Brownouts
	p := c.sure(t, "brownouts", inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		a, b := truth[i], got[j]
		return overlapOrNear(a.StartS, c.endOf(a.EndS), b.StartS, c.endOf(b.EndS), nearDip)
	}))
	both, missed, extra, marginal := 0, 0, 0, false
	for _, x := range p.pairs {
		if c.marginal(truth[x[0]]) {
			t.hit("marginal brownouts found", true)
			marginal = true
		} else {
			both++
		}
		scoreDip(t, c, truth[x[0]], got[x[1]])
	}
	for _, i := range p.missed {
		d := truth[i]
		if c.marginal(d) {
			t.hit("marginal brownouts found", false)
			marginal = true
			continue
		}
		missed++
		t.lose(1, "brownout missed", "missed: brownout at %s for %.2f s down to %.2f V", c.at(d.StartS), c.endOf(d.EndS)-d.StartS, d.MinV)
	}
	for _, i := range p.extra {
		d := got[i]
		if c.marginal(d) { // by its own reading: the noise-free one is above the cut-off
			t.add("marginal brownouts that are none", 1, 0)
			marginal = true
			continue
		}
		extra++
		t.lose(1, "brownout that was none", "false brownout at %s for %.2f s down to %.2f V", c.at(d.StartS), c.endOf(d.EndS)-d.StartS, d.MinV)
	}
	t.found("brownout recall", "brownout precision", "brownout F1", both, missed, extra)
	switch {
	case marginal:
		t.add("matches with a marginal brownout, not in the line before", 1, 0)
	case len(truth) > 0 || len(got) > 0:
		t.hit("brownouts counted right", len(truth) == len(got))
	}
}

// marginal says whether a dip's lowest voltage is so near the cut-off that the noise of the
// sensor decides whether it was one.
func (c *Case) marginal(b schemas.Brownout) bool {
	return c.CutOffV-b.MinV <= marginSigmas*c.VoltageNoise
}

func scoreDip(t *Tally, c *Case, truth, got schemas.Brownout) {
	t.value("brownout start error", got.StartS-truth.StartS)
	t.both("brownout end", truth.EndS, got.EndS, func(a, b float64) { t.value("brownout end error", b-a) })
	t.value("brownout lowest voltage error", got.MinV-truth.MinV)
	for _, w := range truth.Branches {
		for _, g := range got.Branches {
			if g.Name == w.Name {
				t.value("branch share error", g.Share-w.Share)
				t.hit("branch share within 5 points", math.Abs(g.Share-w.Share) <= nearShare)
				scoreWithout(t, w, g)
			}
		}
	}
	t.table("brownout cause", truth.Cause, got.Cause)
	if truth.Cause != "" {
		t.hit("brownout cause right, where truth tells", truth.Cause == got.Cause)
		if truth.Cause != got.Cause {
			t.lose(0.5, "brownout with wrong cause", "brownout at %s blamed on %s, was %s", c.at(truth.StartS), said(got.Cause), truth.Cause)
		}
	}
}

// scoreWithout scores what is said of a dip without one branch. A limit is right when it holds;
// where none would, one that was told does not.
func scoreWithout(t *Tally, truth, got schemas.Share) {
	if truth.Necessary == schemas.NecessaryUnknown {
		return
	}
	t.hit("branch needed for the brownout, told", got.Necessary != schemas.NecessaryUnknown)
	if got.Necessary != schemas.NecessaryUnknown {
		t.hit("branch needed for the brownout, told right", got.Necessary == truth.Necessary)
	}
	if got.LimitA != nil {
		t.hit("limit on a branch would have held", truth.LimitA != nil && *got.LimitA <= *truth.LimitA)
	}
	if got.LimitA != nil && truth.LimitA != nil {
		t.value("limit on a branch under the highest that holds", *truth.LimitA-*got.LimitA)
	}
}

func scoreBattery(t *Tally, c *Case) {
	truth, got := c.Truth.Battery, c.Got.Battery
	if truth.ResistanceOhm != nil {
		t.hit("resistance told, where truth has one", got.ResistanceOhm != nil)
		if got.ResistanceOhm == nil {
			t.lose(0.5, "resistance not told", "resistance not told (%s), was %.4f ohm", said(got.Reason), *truth.ResistanceOhm)
		}
	} else {
		t.hit("resistance told, where truth has none", got.ResistanceOhm != nil)
	}
	percent := func(figure string) func(a, b float64) {
		return func(a, b float64) { t.value(figure, 100*(b-a)/math.Abs(a)) }
	}
	difference := func(figure string) func(a, b float64) { return func(a, b float64) { t.value(figure, b-a) } }
	t.both("resistance", truth.ResistanceOhm, got.ResistanceOhm, percent("resistance error"))
	switch told := got.LooseHighOhm != nil; {
	case got.ResistanceOhm == nil:
	case truth.LooseHighOhm != nil:
		t.hit("loose connection told, where there is one", told)
	default:
		t.hit("loose connection told, where there is none", told)
	}
	interval := func(figure string, true, low, high *float64) {
		if true != nil && low != nil && high != nil {
			t.hit(figure+" interval holds truth", *low <= *true && *true <= *high)
		}
	}
	t.both("resistance to 1 s of load", truth.Resistance1sOhm, got.Resistance1sOhm, percent("resistance to 1 s of load error"))
	interval("resistance to 1 s of load", truth.Resistance1sOhm, got.Resistance1sLowOhm, got.Resistance1sHighOhm)
	if r, low, high := truth.Resistance1sOhm, got.Resistance1sLowOhm, got.Resistance1sHighOhm; r != nil && low != nil && high != nil {
		t.value("resistance to 1 s of load interval half width", 50*(*high-*low) / *r)
	}
	interval("open circuit", truth.OpenCircuitV, got.OpenCircuitLowV, got.OpenCircuitHighV)
	t.both("brownout current", truth.BrownoutA, got.BrownoutA, difference("brownout current error"))
	interval("brownout current", truth.BrownoutA, got.BrownoutLowA, got.BrownoutHighA)
	t.both("open circuit", truth.OpenCircuitV, got.OpenCircuitV, difference("open circuit error"))
	t.both("rest voltage", truth.RestV, got.RestV, difference("rest voltage error"))
	t.both("energy", truth.EnergyWh, got.EnergyWh, percent("energy error"))
	t.both("charge", truth.ChargeAh, got.ChargeAh, percent("charge error"))
	t.both("lowest voltage", truth.LowestV, got.LowestV, difference("lowest voltage error"))
	if r, low, high := truth.ResistanceOhm, got.ResistanceLowOhm, got.ResistanceHighOhm; r != nil && low != nil && high != nil {
		holds := *low <= *r && *r <= *high
		t.hit("resistance interval holds truth", holds)
		t.value("resistance interval half width", 50*(*high-*low) / *r)
		if !holds {
			t.lose(0.5, "resistance outside its interval", "resistance told %.4f to %.4f ohm, was %.4f", *low, *high, *r)
		}
	}
}

// scoreStandby pairs draws while disabled by branch and time.
func scoreStandby(t *Tally, c *Case) {
	same := func(a, b schemas.StandbyDraw) bool {
		_, ok := overlapOrNear(a.StartS, a.EndS, b.StartS, b.EndS, 1)
		return ok && a.Branch == b.Branch
	}
	for _, w := range c.Truth.StandbyDraws {
		ok := false
		for _, g := range c.Got.StandbyDraws {
			ok = ok || same(w, g)
		}
		t.hit("standby draw recall", ok)
		if !ok {
			t.lose(1, "standby draw missed", "missed: %s drew %.1f A while disabled at %s", w.Branch, w.MedianA, c.at(w.StartS))
		}
	}
	for _, g := range c.Got.StandbyDraws {
		ok := false
		for _, w := range c.Truth.StandbyDraws {
			ok = ok || same(w, g)
		}
		t.hit("standby draw precision", ok)
		if !ok {
			t.lose(1, "standby draw that was none", "false: %s drew %.1f A while disabled at %s", g.Branch, g.MedianA, c.at(g.StartS))
		}
	}
}
