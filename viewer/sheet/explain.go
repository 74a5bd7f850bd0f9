package sheet

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// ExplanationText writes the reasoning behind a finding for a terminal of width columns, in
// plain sentences. Times are match time. Color adds the terminal's own colours and changes
// no letter.
func ExplanationText(w io.Writer, e *schemas.Explanation, width int, color bool) error {
	if e == nil {
		return fmt.Errorf("explanation: there is none to show")
	}
	x := explained{
		text:  &text{out: bufio.NewWriter(w), width: max(width, leastWidth), color: color},
		start: e.MatchStartS,
	}
	f := e.Finding
	x.wrap("", "", e.Match+" "+e.Robot+", "+f.ID, faint)
	x.wrap(shape(f.Severity)+" ", "  ", strings.TrimSpace(draw.SeverityWord(f.Severity)+" "+f.Title), severityCodes(f.Severity)...)
	x.wrap("  ", "  ", f.Because)
	lost := "unknown"
	if f.CostS != nil {
		lost = number(*f.CostS, 1) + " s"
	}
	x.wrap("  ", "  ", "Scoring lost: "+lost+"; sure "+sure(f.Confidence)+".", faint)
	for _, r := range e.Events {
		x.event(r)
	}
	x.line("")
	x.wrap("", "", "This is how the program reasons. It does not know what it did not see.")
	return x.out.Flush()
}

// explained is a text in match time.
type explained struct {
	*text
	start float64
}

func (x explained) at(logS float64) string { return number(logS-x.start, 2) + " s" }

func (x explained) event(r schemas.Reasoning) {
	x.line("")
	x.wrap("", "", r.Title, bold)
	if r.Rule != "" {
		x.part("The rule")
		x.wrap("    ", "    ", r.Rule)
	}
	if len(r.Seen)+len(r.Observed) > 0 {
		x.part("What was seen")
		for _, s := range r.Observed {
			x.item(s)
		}
		for _, s := range r.Seen {
			x.item(fmt.Sprintf("%s (%s): %s from %s to %s.", s.Signal, s.Role, counted(s.Samples, "sample", "samples"), x.at(s.StartS), x.at(s.EndS)))
		}
	}
	x.considered(r.Considered)
	x.law(r.Law)
	x.weighed(r)
	x.numbers(r.Numbers)
	if len(r.Alternatives) > 0 {
		x.part("Other explanations")
		for _, a := range r.Alternatives {
			words := capital(a.What) + ": " + a.Because + "."
			if a.Against != nil {
				words += fmt.Sprintf(" (%+.1f)", *a.Against)
			}
			x.item(words)
		}
	}
	if len(r.Change) > 0 {
		x.part("What would change the verdict")
		for _, c := range r.Change {
			x.item(c)
		}
	}
}

func (x explained) part(s string) { x.wrap("  ", "  ", s, bold) }

func (x explained) item(s string) { x.wrap("    - ", "      ", s) }

func (x explained) considered(all []schemas.Considered) {
	if len(all) == 0 {
		return
	}
	x.part("What the tracker held possible, by all it had seen up to then")
	for i, c := range all {
		if i == 0 || all[i-1].AtS != c.AtS || all[i-1].When != c.When {
			x.item(fmt.Sprintf("At %s %s:", x.at(c.AtS), c.When))
		}
		x.wrap("      "+share(c.Share)+"  ", strings.Repeat(" ", 14), c.What)
	}
}

// share is a probability in six columns, small ones as less than.
func share(p float64) string {
	switch {
	case p >= 0.99995:
		return ">.9999"
	case p < 0.0001:
		return "<.0001"
	default:
		return fmt.Sprintf("%.4f", p)
	}
}

func (x explained) law(l *schemas.Law) {
	if l == nil {
		return
	}
	x.part("What is usual here")
	x.item(fmt.Sprintf("A piece %s takes %.2f s of driving; 80 in 100 are gone in %.2f s, 95 in %.2f s.", l.What, l.UsualS, l.In80S, l.In95S))
	x.item(fmt.Sprintf("That rests on %.1f undisturbed passes of this match, and before them on %s.", l.Passes, l.Prior))
	took := "This one took"
	if !l.Completed {
		took = "This one was not seen to go on in"
	}
	words := fmt.Sprintf("%s %.2f s of driving", took, l.TookS)
	if l.ChanceLong != nil {
		words += "; a usual one takes that long " + schemas.OnceIn(*l.ChanceLong)
	}
	x.item(words + ".")
}

func (x explained) weighed(r schemas.Reasoning) {
	if len(r.Weighed) == 0 {
		return
	}
	x.part("The evidence, as log-odds that add up (0.7 is twice as likely, 2.3 ten times)")
	for _, a := range r.Weighed {
		lead := fmt.Sprintf("    %+6.1f  ", a.LogOdds)
		x.wrap(lead, strings.Repeat(" ", len(lead)), capital(a.What)+".")
		x.wrap(strings.Repeat(" ", len(lead)), strings.Repeat(" ", len(lead)), capital(a.Means)+".", faint)
	}
	if r.LogOdds != nil && r.Probability != nil {
		lead := fmt.Sprintf("    %+6.1f  ", *r.LogOdds)
		words := fmt.Sprintf("in all: a probability of %s", probabilityWords(*r.Probability))
		if *r.Probability > 0.99 {
			words += ", told as 0.99 at most, for that the piece was followed rightly is assumed in all of it"
		}
		x.wrap(lead, strings.Repeat(" ", len(lead)), words+".", bold)
	}
}

func probabilityWords(p float64) string {
	if p > 0.9999 {
		return "over 0.9999"
	}
	return fmt.Sprintf("%.4f", p)
}

func (x explained) numbers(all []schemas.Number) {
	known := all[:0:0]
	for _, n := range all {
		if n.Value != nil {
			known = append(known, n)
		}
	}
	if len(known) == 0 {
		return
	}
	x.part("Numbers")
	for _, n := range known {
		words := capital(n.Name) + ": " + significant(*n.Value)
		if n.Unit != "" {
			words += " " + n.Unit
		}
		if n.Usual != nil {
			words += " (usual " + significant(*n.Usual) + ")"
		}
		x.item(words + ".")
	}
}

// significant is a number with three figures or all before its point.
func significant(v float64) string {
	switch a := math.Abs(v); {
	case a == 0 || a >= 100:
		return number(v, 0)
	case a >= 10:
		return number(v, 1)
	case a >= 1:
		return number(v, 2)
	default:
		return fmt.Sprintf("%.3g", v)
	}
}
