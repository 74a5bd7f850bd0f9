package score

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// kinds of findings, in the order of the report's definition.
func kinds() []string {
	return []string{
		"jam", "brownout", "battery", "slow_cycle", "balance", "move", "motor", "sensor", "data_gap", "autonomous", "trend",
	}
}

func findingFigures() []Figure {
	out := []Figure{
		{Name: "findings right", Kind: Rate, Leads: true},
		{Name: "false stop or fix findings a match", Kind: Per, Unit: "match", Leads: true, Small: true},
	}
	for _, k := range kinds() {
		out = append(out, Figure{Name: k + " findings right", Kind: Rate}, Figure{Name: k + " findings not judged", Kind: Count})
	}
	return out
}

// scoreFindings judges what a crew reads. Some findings cannot be judged by the truth (a
// signal that is missing is a fact of the log); they are counted.
func scoreFindings(c *Case) *Tally {
	t := newTally()
	alarms := 0
	for _, f := range c.Got.Findings {
		right, can := c.judge(f)
		if !can {
			t.add(f.Kind+" findings not judged", 1, 0)
			continue
		}
		t.hit("findings right", right)
		t.hit(f.Kind+" findings right", right)
		t.judge("findings", f.Confidence, right)
		t.judge(f.Kind+" findings", f.Confidence, right)
		if right {
			continue
		}
		weight := 0.25
		if f.Severity != schemas.SeverityWatch {
			alarms++
			weight = 1
		}
		t.lose(weight, f.Severity+" finding of "+f.Kind+" that is false", "false (%s, %.2f): %s", f.Severity, f.Confidence, f.Title)
	}
	t.add("false stop or fix findings a match", float64(alarms), 1)
	return t
}

// usualMostOhm is the resistance above which a battery may be called one of high resistance:
// common practice takes 0.012 to 0.025 ohm as usual.
const usualMostOhm = 0.025

// judge says whether a finding is true, and whether that can be told.
func (c *Case) judge(f schemas.Finding) (right, can bool) {
	switch f.Kind {
	case "jam":
		// It claims at least one of its spans, with the confidence of the surest.
		span := func(j schemas.Jam) (float64, float64) { return j.StartS, j.EndS }
		right = anySpan(f, c.Truth.Jams, span, nearOnset)
		return right, right || !anySpan(f, c.Creeps, span, 0)
	case "brownout":
		return anySpan(f, c.Truth.Brownouts, func(b schemas.Brownout) (float64, float64) { return b.StartS, c.endOf(b.EndS) }, nearDip), true
	case "battery":
		if strings.Contains(f.Title, "charged") || strings.Contains(f.Title, "empty") {
			return c.judgeCharge()
		}
		r := c.Truth.Battery.ResistanceOhm
		return r != nil && *r > usualMostOhm, r != nil
	case "slow_cycle":
		for i, w := range c.Truth.Cycles {
			if math.Abs(w.StartS-f.StartS) <= sameTime && w.Complete {
				return w.Slow, !c.unsure("cycles", i)
			}
		}
		return false, true
	case "balance":
		return c.judgeBalance(f), true
	case "move":
		return c.judgeMove(f)
	case "motor":
		return anySpan(f, c.Truth.StandbyDraws, func(d schemas.StandbyDraw) (float64, float64) { return d.StartS, d.EndS }, 1) || c.stalledIn(f), true
	case "sensor":
		return c.judgeSensor(f)
	case "data_gap":
		return anySpan(f, c.Truth.Quality.Gaps, func(g schemas.Gap) (float64, float64) { return g.StartS, g.EndS }, 1), len(f.Spans) > 0
	}
	return false, false
}

// judgeCharge: a battery was not charged when at true rest it showed less than 12.25 V, half full
// and the reading's error by common practice; where the log shows no rest, by its voltage without
// load in the match, which lies below that of the rest.
func (c *Case) judgeCharge() (right, can bool) {
	const lowV = 12.25
	b := c.Truth.Battery
	if b.RestV != nil {
		return *b.RestV < lowV, true
	}
	return b.OpenCircuitV != nil && *b.OpenCircuitV < lowV, b.OpenCircuitV != nil
}

// judgeMove: a finding about moves is right when in one of its spans a move stopped short, or
// went past its target where that is what it says. Of a slow one the truth does not tell.
func (c *Case) judgeMove(f schemas.Finding) (right, can bool) {
	if strings.Contains(f.Title, "slower") {
		return false, false
	}
	swings := strings.Contains(f.Title, "past its target")
	for _, w := range c.Truth.Moves {
		if !slices.ContainsFunc(f.Spans, func(s schemas.Span) bool { return s.StartS-0.1 <= w.StartS && w.StartS <= s.EndS }) {
			continue
		}
		if !swings && w.Outcome == "short" || swings && w.Overshoot > liftWithinM {
			return true, true
		}
	}
	return false, true
}

// liftWithinM is the tolerance of the simulator's lift, m.
const liftWithinM = 0.02

// judgeSensor: a finding about a sensor is right when the truth has a fault of that signal in
// one of its spans. Without spans it is of signals that are missing, a fact of the log; and
// one of a poor sensor may be right.
func (c *Case) judgeSensor(f schemas.Finding) (right, can bool) {
	poor := true
	for _, g := range c.Got.Quality.Faults {
		if len(f.Evidence) == 0 || g.Signal != f.Evidence[0].Signal {
			continue
		}
		if slices.ContainsFunc(c.Truth.Quality.Faults, func(w schemas.Fault) bool { return sameFault(w, g) }) {
			return true, true
		}
		poor = poor && slices.Contains(c.Poor, g.Kind)
	}
	return false, len(f.Spans) > 0 && !poor
}

// judgeBalance: a finding about an attempt is right when the attempt it is about ended as
// the report has it.
func (c *Case) judgeBalance(f schemas.Finding) bool {
	for _, g := range c.Got.Balances {
		if g.StartS != f.StartS {
			continue
		}
		for _, w := range c.Truth.Balances {
			if _, ok := overlapOrNear(w.StartS, w.EndS, g.StartS, g.EndS, nearAttempt); ok && w.Outcome == g.Outcome {
				return true
			}
		}
	}
	return false
}

// anySpan says whether one of the spans a finding speaks of is one of the true stretches.
func anySpan[T any](f schemas.Finding, truth []T, of func(T) (start, end float64), near float64) bool {
	for _, s := range f.Spans {
		for _, w := range truth {
			start, end := of(w)
			if _, ok := overlapOrNear(start, end, s.StartS, s.EndS, near); ok {
				return true
			}
		}
	}
	return false
}
