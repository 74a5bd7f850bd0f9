package score

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

const nearAttempt = 0.5 // s: starts this near are the same attempt even without overlap

func balanceFigures() []Figure {
	return []Figure{
		{Name: "attempt recall", Kind: Rate, Leads: true},
		{Name: "attempt precision", Kind: Rate, Leads: true},
		{Name: "attempt outcome right", Kind: Rate, Leads: true},
		{Name: "balances left out, undecidable", Kind: Count},
		{Name: "attempt start error", Kind: Error, Unit: "s"},
		{Name: "attempt end error", Kind: Error, Unit: "s"},
		{Name: "settle error", Kind: Error, Unit: "s"},
		{Name: "settle within 0.1 s", Kind: Rate},
		{Name: "settle within 0.2 s", Kind: Rate},
		{Name: "overshoots equal", Kind: Rate},
		{Name: "overshoots error", Kind: Error},
		{Name: "peak error", Kind: Error, Unit: "deg"},
		{Name: "damping ratio error", Kind: Error},
		{Name: "damping ratio error in parts", Kind: Error, Unit: "%"},
		{Name: "damping ratio told, where truth has one", Kind: Rate},
		{Name: "damping ratio interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "natural frequency interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "settle interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "natural frequency error", Kind: Error, Unit: "%"},
		{Name: "natural frequency told, where truth has one", Kind: Rate},
		{Name: "diagnosis right, where truth and report tell", Kind: Rate},
		{Name: "diagnosis told, where truth tells", Kind: Rate},
		{Name: "levelled by hand told", Kind: Rate},
		{Name: "levelled by hand, where told", Kind: Rate},
		{Name: "disturbance told", Kind: Rate},
		{Name: "disturbed within 0.5 s of it, where told", Kind: Rate},
		{Name: "gains advised, where the damping was under 0.5", Kind: Rate},
		{Name: "the same, where a drive command is logged", Kind: Rate},
		{Name: "some gains bring 0.7, where the damping was under 0.5", Kind: Rate},
		{Name: "the advised gain damps better", Kind: Rate},
		{Name: "damping before the advised gain", Kind: Error},
		{Name: "damping with the advised gain", Kind: Error},
		{Name: "damping with the advised gain, off 0.7", Kind: Error},
		{Name: "damping with the advised gain, off what was said", Kind: Error},
		{Name: "played again with them, no more swings past level", Kind: Rate},
		{Name: "played again with them, level where it was", Kind: Rate},
		{Name: "with the advised gains the loop swings by itself", Kind: Rate, Small: true},
		{Name: "matches not looked at by balance", Kind: Count},
	}
}

func scoreBalance(c *Case) *Tally {
	t := newTally()
	truth, got := c.Truth.Balances, c.Got.Balances
	p := c.sure(t, "balances", inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		return overlapOrNear(truth[i].StartS, truth[i].EndS, got[j].StartS, got[j].EndS, nearAttempt)
	}))
	t.found("attempt recall", "attempt precision", "", len(p.pairs), len(p.missed), len(p.extra))
	for _, i := range p.missed {
		t.lose(1, "attempt missed", "missed: attempt at %s, %s, peak %.1f deg", c.at(truth[i].StartS), truth[i].Outcome, truth[i].PeakDeg)
	}
	for _, i := range p.extra {
		t.lose(1, "attempt that was none", "no attempt at %s (told %s, %.1f s, peak %.1f deg)", c.at(got[i].StartS), got[i].Outcome, got[i].EndS-got[i].StartS, got[i].PeakDeg)
	}
	for _, x := range p.pairs {
		scoreAttempt(t, c, truth[x[0]], got[x[1]])
		if c.Attempts != nil {
			scoreLoop(t, c, c.Attempts[x[0]], truth[x[0]], got[x[1]])
		}
	}
	scoreAdvice(t, c.Retuned)
	t.notLookedAt(c, "balance")
	return t
}

func scoreAttempt(t *Tally, c *Case, truth, got schemas.Balance) {
	t.table("attempt outcome", truth.Outcome, got.Outcome)
	t.hit("attempt outcome right", truth.Outcome == got.Outcome)
	if truth.Outcome != got.Outcome {
		t.lose(1, "attempt with wrong outcome", "attempt at %s told %s, was %s", c.at(truth.StartS), got.Outcome, truth.Outcome)
	}
	t.value("attempt start error", got.StartS-truth.StartS)
	t.value("attempt end error", got.EndS-truth.EndS)
	t.both("settle", truth.SettleS, got.SettleS, func(a, b float64) {
		t.value("settle error", b-a)
		t.hit("settle within 0.1 s", math.Abs(b-a) <= 0.1)
		t.hit("settle within 0.2 s", math.Abs(b-a) <= 0.2)
		if math.Abs(b-a) > 0.5 {
			t.lose(0.25, "attempt settle time off", "attempt at %s settled after %.1f s, was %.1f s", c.at(truth.StartS), b, a)
		}
	})
	t.hit("overshoots equal", truth.Overshoots == got.Overshoots)
	t.value("overshoots error", float64(got.Overshoots-truth.Overshoots))
	if truth.Overshoots != got.Overshoots {
		t.lose(0.25, "attempt overshoots miscounted", "attempt at %s: %d overshoots, was %d", c.at(truth.StartS), got.Overshoots, truth.Overshoots)
	}
	t.value("peak error", got.PeakDeg-truth.PeakDeg)
	if truth.DampingRatio != nil {
		t.hit("damping ratio told, where truth has one", got.DampingRatio != nil)
	}
	t.both("damping ratio", truth.DampingRatio, got.DampingRatio, func(a, b float64) {
		t.value("damping ratio error", b-a)
		t.value("damping ratio error in parts", 100*(b-a)/math.Max(math.Abs(a), 0.05)) // of none at all there are no parts
	})
	if truth.NaturalHz != nil {
		t.hit("natural frequency told, where truth has one", got.NaturalHz != nil)
	}
	t.both("natural frequency", truth.NaturalHz, got.NaturalHz, func(a, b float64) { t.value("natural frequency error", 100*(b-a)/a) })
	holds := func(figure string, true, low, high *float64, slack float64) {
		if true != nil && low != nil {
			t.hit(figure+" interval holds truth", *low-slack <= *true && (high == nil || *true <= *high+slack))
		}
	}
	holds("damping ratio", truth.DampingRatio, got.DampingLow, got.DampingHigh, 0)
	holds("natural frequency", truth.NaturalHz, got.NaturalHzLow, got.NaturalHzHigh, 0)
	holds("settle", truth.SettleS, got.SettleLowS, got.SettleHighS, 0.02) // both lie on samples
}

// scoreLoop holds what is told of how an attempt was levelled against how it was.
func scoreLoop(t *Tally, c *Case, was sim.Attempt, truth, got schemas.Balance) {
	is := head(got.Diagnosis)
	t.table("diagnosis", was.Diagnosis, is)
	if was.Diagnosis != "" {
		t.hit("diagnosis told, where truth tells", is != "")
	}
	if was.Diagnosis != "" && is != "" {
		right := slices.Contains(alsoRight(was, truth, c.NoDrive), is)
		t.hit("diagnosis right, where truth and report tell", right)
		if !right {
			t.lose(0.25, "attempt with wrong diagnosis", "attempt at %s: %s, was %s", c.at(truth.StartS), said(is), was.Diagnosis)
		}
	}
	hand := got.LevelledBy == "hand"
	if was.ByHand {
		t.hit("levelled by hand told", hand)
	}
	if hand {
		t.hit("levelled by hand, where told", was.ByHand)
	}
	if was.DisturbedAtS != nil {
		t.hit("disturbance told", got.DisturbedAtS != nil)
	}
	if got.DisturbedAtS != nil {
		t.hit("disturbed within 0.5 s of it, where told", was.DisturbedAtS != nil && math.Abs(*got.DisturbedAtS-*was.DisturbedAtS) <= 0.5)
	}
}

// alsoRight are the words for a kind of trouble that are right of it: where its damping lies
// within nearBound of the bound between two of them, both, and every word for a swing that is not
// much is right of an attempt that went straight to level. A log without the drive command tells
// neither a loop without a rate term nor a command at its limit: there the wider words are right,
// of which these are kinds, as it is of a command at its limit on a board that slack or friction keeps
// swinging by itself. A swing of one size under a loop that by its straight equations has next to no
// damping may be kept up by that alone.
func alsoRight(was sim.Attempt, truth schemas.Balance, noDrive bool) []string {
	const nearBound = 0.05
	out := []string{was.Diagnosis}
	if noDrive {
		switch was.Diagnosis {
		case "proportional only":
			out = append(out, "too little damping")
		case "saturation":
			out = append(out, "stick-slip or saturation")
		}
	}
	if was.Diagnosis == "saturation" && was.Loose {
		out = append(out, "stick-slip or saturation")
	}
	under := []string{"too little damping"}
	if was.NoRate {
		under = append(under, "proportional only")
	}
	switch {
	case was.Diagnosis == "comes to level without a swing":
		return append(out, "well damped", "lightly damped")
	case was.Diagnosis == "stick-slip or saturation" && was.Damping != nil && math.Abs(*was.Damping) <= nearBound:
		return append(append(out, "swings grow"), under...)
	case truth.DampingRatio == nil || was.Diagnosis == "saturation" || was.Diagnosis == "stick-slip or saturation":
		return out
	}
	z := *truth.DampingRatio
	for _, b := range [...]struct {
		at          float64
		under, over []string
	}{
		{0, []string{"swings grow"}, under},
		{0.3, under, []string{"lightly damped"}},
		{0.6, []string{"lightly damped"}, []string{"well damped"}},
	} {
		if math.Abs(z-b.at) > nearBound {
			continue
		}
		out = append(out, b.over...)
		out = append(out, b.under...)
	}
	return out
}

// head is a diagnosis without what it says besides.
func head(diagnosis string) string {
	if i := strings.IndexAny(diagnosis, ":,"); i >= 0 {
		return diagnosis[:i]
	}
	return diagnosis
}
