package explain

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/cycles"
	"github.com/afterbell/afterbell/schemas"
)

// slowCycle explains why a cycle is called slow, and why by that phase.
func (in Input) slowCycle(f schemas.Finding) []schemas.Reasoning {
	cfg, u := cycles.DefaultConfig(), in.Report.Usual
	for i, c := range in.Report.Cycles {
		if c.Kind != "score" || c.StartS != f.StartS || c.EndS != f.EndS {
			continue
		}
		r := schemas.Reasoning{
			Title: fmt.Sprintf("The cycle from %s to %s", in.at(c.StartS), in.at(c.EndS)), StartS: c.StartS, EndS: c.EndS, Seen: in.seen(f.Evidence),
			Rule: fmt.Sprintf("A cycle is slow when it lost at least %.0f s and %.0f %% of the usual one rather than under %.0f %%: as its duration says against the spread of the usual ones, and as the robot's way and jams show where the log has them.",
				cfg.LostS, 100*cfg.LostShare, 100*cfg.MildShare),
			Numbers: []schemas.Number{number("cycle", schemas.Some(c.DurationS), "s", u.CycleS), number("over the usual", c.ExcessS, "s", nil), number("chance that a usual cycle takes as long", c.P, "", nil)},
		}
		r.Observed = append(r.Observed, fmt.Sprintf("It took %.2f s from score to score.", c.DurationS))
		if u.CycleS != nil && u.LowS != nil && u.HighS != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("8 in 10 of the usual cycles take %.1f to %.1f s, the median %.1f s, of %d cycles (%s).", *u.LowS, *u.HighS, *u.CycleS, u.Cycles, u.Source))
		}
		if c.P != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("By a lognormal law of the other cycles, in which those cut off count as at least as long, a usual cycle takes as long %s.", schemas.OnceIn(*c.P)))
		}
		if c.LostS != nil {
			r.Numbers = append(r.Numbers, number("seen not to get on", c.LostS, "s", nil))
			r.Observed = append(r.Observed, fmt.Sprintf("Its way took %.1f s more than such ways usually do at the speed it drove.", math.Max(0, *c.LostS)))
		}
		if c.Confidence != nil {
			r.Observed = append(r.Observed, fmt.Sprintf("Together that makes it slow with a probability of %.2f.", *c.Confidence))
		}
		for _, p := range phasesOf(c, u.Phases) {
			if p.took == nil {
				continue
			}
			r.Numbers = append(r.Numbers, number(p.name, p.took, "s", p.usual))
			if p.chance != nil {
				r.Observed = append(r.Observed, fmt.Sprintf("By the law of the other trips' %s phases, one takes %.1f s %s.", p.name, *p.took, schemas.OnceIn(*p.chance)))
			}
		}
		for _, e := range c.Events {
			r.Observed = append(r.Observed, in.eventOf(e))
		}
		if i < len(in.Cycles) {
			in.weighCycle(&r, in.Cycles[i])
		}
		r.Alternatives = in.insteadOfSlow(c, cfg)
		if u.CycleS != nil {
			r.Change = append(r.Change, fmt.Sprintf("Under %.1f s it would not be told, however sure.", *u.CycleS+cfg.Least(*u.CycleS)))
		}
		r.Change = append(r.Change, "More matches of this robot: a wider spread of its usual cycles makes this one less odd, a narrower one more.")
		return []schemas.Reasoning{r}
	}
	return in.plain(f)
}

// weighCycle lays out the evidence item by item.
func (in Input) weighCycle(r *schemas.Reasoning, why cycles.Reason) {
	sum := 0.0
	for _, e := range why.Weighed {
		means := "it speaks neither for nor against"
		switch {
		case e.Kind == schemas.WeighedPrior:
			means = fmt.Sprintf("what is believed before looking: %.1f to 1 against", math.Exp(-e.LogOdds))
		case e.LogOdds > 0.005:
			means = times(e.LogOdds) + " likelier of a slow cycle than of one that lost next to nothing"
		case e.LogOdds < -0.005:
			means = times(e.LogOdds) + " less likely of a slow cycle than of one that lost next to nothing"
		}
		r.Weighed = append(r.Weighed, schemas.Argument{What: e.What, Means: means, LogOdds: e.LogOdds})
		sum += e.LogOdds
	}
	if len(why.Weighed) > 0 {
		r.LogOdds, r.Probability = schemas.Some(sum), schemas.Some(probability(sum))
	}
}

// eventOf is one thing that was seen in a cycle, in a sentence.
func (in Input) eventOf(e schemas.CycleEvent) string {
	what := map[string]string{
		cycles.EventJam: "a jam stood", cycles.EventBrownout: "the supply browned out", cycles.EventStood: "on its way the robot stood",
		cycles.EventBlocked: "on its way the robot stood though it was driven", cycles.EventMissed: "it backed off from the piece",
		cycles.EventLinedUp: "it moved off from the goal and lined up again", cycles.EventUncounted: "a piece left it that never counted, until the next was aboard",
	}[e.What]
	if what == "" {
		what = e.What
	}
	text := fmt.Sprintf("From %s to %s", in.at(e.StartS), in.at(e.EndS))
	if e.Phase != "" {
		text += fmt.Sprintf(", in the %s phase", e.Phase)
	}
	text += ", " + what
	if e.Times > 1 {
		text += fmt.Sprintf(", %d times", e.Times)
	}
	return text + "."
}

type phase struct {
	name                string
	took, usual, chance *float64
}

func phasesOf(c schemas.Cycle, u schemas.Phases) []phase {
	p, q := c.Phases, c.PhaseP
	return []phase{
		{"return", p.ReturnS, u.ReturnS, q.Return},
		{"collect", p.CollectS, u.CollectS, q.Collect},
		{"carry", p.CarryS, u.CarryS, q.Carry},
		{"place", p.PlaceS, u.PlaceS, q.Place},
	}
}

// insteadOfSlow are reasons for a long cycle other than the phase that was named.
func (in Input) insteadOfSlow(c schemas.Cycle, cfg cycles.Config) []schemas.Alternative {
	var out []schemas.Alternative
	add := func(what, because string, args ...any) {
		out = append(out, schemas.Alternative{What: what, Because: fmt.Sprintf(because, args...)})
	}
	stood := 0.0
	for _, j := range in.Report.Jams {
		stood += math.Max(0, math.Min(j.EndS, c.EndS)-math.Max(j.StartS, c.StartS))
	}
	if stood > 0 {
		add("a jam", "a piece stood %.1f s of it, not the bigger part (%.0f %%) of what was lost", stood, 100*cfg.JamShare)
	} else {
		add("a jam", "no jam lies in it")
	}
	handed := 0
	for _, h := range in.Report.Cycles {
		if h.Kind == "handover" && c.StartS < h.EndS && h.EndS <= c.EndS {
			handed++
		}
	}
	if handed > 0 {
		add("a piece given to a partner", "%d were; the cycle is judged from the last hand-over on", handed)
	} else {
		add("a piece given to a partner", "none was handed over in it")
	}
	dips := 0
	for _, b := range in.Report.Brownouts {
		if c.StartS <= b.StartS && b.StartS < c.EndS {
			dips++
		}
	}
	if dips > 0 {
		add("the supply", "it browned out %d times in it: outputs were cut for a moment", dips)
	} else {
		add("the supply", "it did not brown out in it")
	}
	for _, p := range phasesOf(c, in.Report.Usual.Phases) {
		if p.took != nil && p.usual != nil && (c.Why == nil || *c.Why != p.name) {
			add("the "+p.name+" phase", "it took %.1f s where %.1f s is usual", *p.took, *p.usual)
		}
	}
	add("chance", "see the probability above; the longest of ten usual cycles is always longer than most")
	return out
}
