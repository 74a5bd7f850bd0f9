package score

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// Tolerances of the supply.
const (
	nearDip      = 0.1 // s: starts this near are the same dip even without overlap
	marginSigmas = 2   // a dip this near the cut-off, in sensor noise, is decided by the noise
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
		{Name: "brownout cause right, where truth tells", Kind: Rate},
		{Name: "resistance error", Kind: Error, Unit: "%"},
		{Name: "resistance interval holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "resistance interval half width", Kind: Error, Unit: "%"},
		{Name: "resistance told, where truth has one", Kind: Rate},
		{Name: "resistance told, where truth has none", Kind: Rate, Small: true},
		{Name: "open circuit error", Kind: Error, Unit: "V"},
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
