package score

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// nearStall is how far apart, s, the starts of the same stall may be even without overlap.
const nearStall = 0.3

func motorFigures() []Figure {
	return []Figure{
		{Name: "motor resistance error", Kind: Error, Unit: "%"},
		{Name: "motor resistance interval holds truth", Kind: Rate, Nominal: 0.95, Leads: true},
		{Name: "motor resistance interval half width", Kind: Error, Unit: "%"},
		{Name: "motor resistance told, where truth has one", Kind: Rate, Leads: true},
		{Name: "motor constant error", Kind: Error, Unit: "%"},
		{Name: "motor constant interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "side of the current told", Kind: Rate},
		{Name: "side of the current right, where told", Kind: Rate},
		{Name: "stall recall", Kind: Rate, Leads: true},
		{Name: "stall precision", Kind: Rate, Leads: true},
		{Name: "stalled time error, where there is any", Kind: Error, Unit: "s"},
		{Name: "motors said to be without power or to draw at rest", Kind: Count, Small: true},
		{Name: "matches not looked at by motors", Kind: Count},
	}
}

// scoreMotors compares the motors of the path by name. No motor of the simulator loses its
// power or draws at rest: what is said of that is false.
func scoreMotors(c *Case) *Tally {
	t := newTally()
	for _, truth := range c.Truth.Motors {
		i := slices.IndexFunc(c.Got.Motors, func(m schemas.Motor) bool { return m.Name == truth.Name })
		got := schemas.Motor{Name: truth.Name}
		if i >= 0 {
			got = c.Got.Motors[i]
		}
		scoreMotorLine(t, truth, got)
		scoreStalls(t, c, truth, got)
	}
	for _, m := range c.Got.Motors {
		for _, s := range slices.Concat(m.Unpowered, m.Idle) {
			t.add("motors said to be without power or to draw at rest", 1, 0)
			t.lose(0.5, "motor said to be without power or to draw at rest", "%s, at %s for %.1f s", m.Name, c.at(s.StartS), s.EndS-s.StartS)
		}
	}
	t.notLookedAt(c, "motors")
	return t
}

func scoreMotorLine(t *Tally, truth, got schemas.Motor) {
	if truth.ResistanceOhm != nil {
		t.hit("motor resistance told, where truth has one", got.ResistanceOhm != nil)
		t.hit("side of the current told", got.Side != "")
	}
	if got.Side != "" {
		t.hit("side of the current right, where told", got.Side == truth.Side)
	}
	percent := func(a, b float64) float64 { return 100 * (b - a) / math.Abs(a) }
	t.both("motor resistance", truth.ResistanceOhm, got.ResistanceOhm, func(a, b float64) {
		low, high := *got.ResistanceLowOhm, *got.ResistanceHighOhm
		t.value("motor resistance error", percent(a, b))
		t.hit("motor resistance interval holds truth", low <= a && a <= high)
		t.value("motor resistance interval half width", 50*(high-low)/a)
		if (a < low || a > high) && math.Abs(b-a) > 0.1*a {
			t.lose(0.25, "motor resistance off by a tenth and surer than it should be", "%s told %.3f ohm (%.3f to %.3f), was %.3f", truth.Name, b, low, high, a)
		}
	})
	t.both("motor constant", truth.ConstantVS, got.ConstantVS, func(a, b float64) {
		t.value("motor constant error", percent(a, b))
		t.hit("motor constant interval holds truth", *got.ConstantLowVS <= a && a <= *got.ConstantHighVS)
	})
}

func scoreStalls(t *Tally, c *Case, truth, got schemas.Motor) {
	p := inOrder(len(truth.Stalls), len(got.Stalls), func(i, j int) (float64, bool) {
		a, b := truth.Stalls[i], got.Stalls[j]
		return overlapOrNear(a.StartS, a.EndS, b.StartS, b.EndS, nearStall)
	})
	t.found("stall recall", "stall precision", "", len(p.pairs), len(p.missed), len(p.extra))
	for _, i := range p.missed {
		s := truth.Stalls[i]
		t.lose(0.5, "stall missed", "missed: %s stood at %s for %.2f s", truth.Name, c.at(s.StartS), s.EndS-s.StartS)
	}
	for _, i := range p.extra {
		s := got.Stalls[i]
		t.lose(0.5, "stall that was none", "%s did not stand at %s for %.2f s", got.Name, c.at(s.StartS), s.EndS-s.StartS)
	}
	t.both("stalled time", truth.StalledS, got.StalledS, func(a, b float64) {
		if a > 0 || b > 0 {
			t.value("stalled time error, where there is any", b-a)
		}
	})
}

// stalledIn says whether a motor that a finding names stood in one of its spans.
func (c *Case) stalledIn(f schemas.Finding) bool {
	for _, m := range c.Truth.Motors {
		if strings.Contains(f.Title, m.Name) && anySpan(f, m.Stalls, func(s schemas.Stall) (float64, float64) { return s.StartS, s.EndS }, nearStall) {
			return true
		}
	}
	return false
}
