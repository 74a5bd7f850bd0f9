package score

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

func moveFigures() []Figure {
	return []Figure{
		{Name: "move recall", Kind: Rate, Leads: true},
		{Name: "move precision", Kind: Rate, Leads: true},
		{Name: "move outcome right", Kind: Rate, Leads: true},
		{Name: "move outcome right, ended behind the match", Kind: Rate},
		{Name: "moves left out, undecidable", Kind: Count},
		{Name: "move settle error", Kind: Error, Unit: "s"},
		{Name: "move settle within 0.2 s", Kind: Rate},
		{Name: "move overshoot error", Kind: Error},
		{Name: "current that carries the weight, error", Kind: Error, Unit: "%"},
		{Name: "current that carries the weight, interval holds truth", Kind: Rate, Nominal: 0.95},
		{Name: "moves called slow, where a usual is known", Kind: Rate, Small: true},
		{Name: "matches not looked at by moves", Kind: Count},
	}
}

// scoreMoves compares moves by name and start. The outcome of one that was still open when
// the match ended is counted apart: a disabled arm sinks.
func scoreMoves(c *Case) *Tally {
	t := newTally()
	truth, got := c.Truth.Moves, c.Got.Moves
	const near = 0.1
	p := c.sure(t, "moves", inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		off := math.Abs(truth[i].StartS - got[j].StartS)
		return off, truth[i].Name == got[j].Name && off <= near
	}))
	t.found("move recall", "move precision", "", len(p.pairs), len(p.missed), len(p.extra))
	for _, i := range p.missed {
		t.lose(0.5, "move missed", "missed: %s sent to %.2f at %s, %s", truth[i].Name, truth[i].To, c.at(truth[i].StartS), truth[i].Outcome)
	}
	for _, i := range p.extra {
		t.lose(0.5, "move that was none", "%s was not sent to %.2f at %s (told %s)", got[i].Name, got[i].To, c.at(got[i].StartS), got[i].Outcome)
	}
	for _, x := range p.pairs {
		scoreMove(t, c, truth[x[0]], got[x[1]])
	}
	for _, m := range got {
		if m.UsualSettleS != nil {
			t.hit("moves called slow, where a usual is known", m.Slow)
		}
	}
	scoreWeight(t, c)
	t.notLookedAt(c, "moves")
	return t
}

// scoreWeight compares what carries a mechanism's weight, where the truth knows it.
func scoreWeight(t *Tally, c *Case) {
	for _, truth := range c.Truth.Mechanisms {
		for _, got := range c.Got.Mechanisms {
			if got.Name != truth.Name {
				continue
			}
			t.both("current that carries the weight", truth.WeightA, got.WeightA, func(a, b float64) {
				t.value("current that carries the weight, error", 100*(b-a)/math.Abs(a))
				t.hit("current that carries the weight, interval holds truth", *got.WeightLowA <= a && a <= *got.WeightHighA)
			})
		}
	}
}

func scoreMove(t *Tally, c *Case, truth, got schemas.Move) {
	right := truth.Outcome == got.Outcome
	if truth.EndS > c.Truth.Match.EndS {
		t.hit("move outcome right, ended behind the match", right)
		t.table("move outcome, ended behind the match", truth.Outcome, got.Outcome)
	} else {
		t.hit("move outcome right", right)
		t.table("move outcome", truth.Outcome, got.Outcome)
		if !right {
			t.lose(0.5, "move with wrong outcome", "%s sent to %.2f at %s told %s, was %s", truth.Name, truth.To, c.at(truth.StartS), got.Outcome, truth.Outcome)
		}
	}
	t.both("move settle", truth.SettleS, got.SettleS, func(a, b float64) {
		t.value("move settle error", b-a)
		t.hit("move settle within 0.2 s", math.Abs(b-a) <= 0.2)
		if math.Abs(b-a) > 0.5 {
			t.lose(0.25, "move settle time off", "%s sent at %s settled after %.2f s, was %.2f s", truth.Name, c.at(truth.StartS), b, a)
		}
	})
	t.value("move overshoot error", got.Overshoot-truth.Overshoot)
}
