package findings

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// jamCost is the scoring time that jams lost together; nil when it is not known of any.
func jamCost(here []schemas.Jam) *float64 {
	return total(here, func(j schemas.Jam) *float64 { return j.CostS })
}

// jamPoints is what jams lost together in points; nil when it is not known of one of them.
func jamPoints(here []schemas.Jam) *float64 {
	return all(here, func(j schemas.Jam) *float64 { return j.CostPoints })
}

// total adds up one figure of all jams; nil when no jam has it.
func total(here []schemas.Jam, of func(schemas.Jam) *float64) *float64 {
	sum, any := 0.0, false
	for _, j := range here {
		if v := of(j); v != nil {
			sum, any = sum+*v, true
		}
	}
	if !any {
		return nil
	}
	return &sum
}

// all is total, nil unless every jam has the figure.
func all(here []schemas.Jam, of func(schemas.Jam) *float64) *float64 {
	if slices.ContainsFunc(here, func(j schemas.Jam) bool { return of(j) == nil }) {
		return nil
	}
	return total(here, of)
}

// aroundJams are the sentences on what the jams of one stage cost, what made them and what
// they made, and what they have in common.
func (in Input) aroundJams(here []schemas.Jam) string {
	var out []string
	if s := costWords(here); s != "" {
		out = append(out, s)
	}
	last := here[len(here)-1]
	caused := false
	for _, j := range here {
		links, more := in.foldDips(j.Links)
		for _, l := range links {
			text := l.Text
			if l.Kind == schemas.LinkDip {
				text += more
			}
			if len(here) > 1 { // which of them
				text = fmt.Sprintf("The one at %s: %s", in.at(j.StartS), lowerFirst(text))
			}
			out, caused = append(out, text), caused || l.Role == "cause"
		}
	}
	if s := justBefore(last); !caused && s != "" {
		out = append(out, s)
	}
	for _, c := range last.Common {
		out = append(out, c.Text)
	}
	if len(out) == 0 {
		return ""
	}
	return " " + strings.Join(out, " ")
}

// foldDips leaves of the brownouts that fell into a jam the first, with a sentence to append
// for the others: a weak battery makes a dozen.
func (in Input) foldDips(links []schemas.Link) (out []schemas.Link, more string) {
	dips, last := 0, 0.0
	for _, l := range links {
		if l.Kind == schemas.LinkDip {
			if dips++; dips > 1 {
				last = l.StartS
				continue
			}
		}
		out = append(out, l)
	}
	switch {
	case dips == 2:
		more = fmt.Sprintf(" So did the one at %s.", in.at(last))
	case dips > 2:
		more = fmt.Sprintf(" So did %s more, up to %s.", numberWord(dips-1), in.at(last))
	}
	return out, more
}

// costWords says what jams cost, with an interval where there is one and as about where not.
func costWords(here []schemas.Jam) string {
	cost := jamCost(here)
	if cost == nil || *cost < 0.05 {
		return ""
	}
	who := "It"
	if len(here) > 1 {
		who = "Together they"
	}
	low := all(here, func(j schemas.Jam) *float64 { return j.CostLowS })
	high := all(here, func(j schemas.Jam) *float64 { return j.CostHighS })
	text := fmt.Sprintf("%s cost about %.1f s of scoring", who, *cost)
	if low != nil && high != nil {
		text = fmt.Sprintf("%s cost %.1f s of scoring", who, *cost)
		if *high-*low >= 0.2 { // else the figure itself says it
			text += fmt.Sprintf(" (%.1f to %.1f)", *low, *high)
		}
	}
	if points := jamPoints(here); points != nil && *points >= 0.05 {
		text += fmt.Sprintf(", about %s", pointsWord(*points))
	}
	return text + "."
}

// pointsWord is a number of points, a tenth shown only while there are few.
func pointsWord(v float64) string {
	if v < 9.95 {
		return fmt.Sprintf("%.1f points", v)
	}
	return fmt.Sprintf("%.0f points", v)
}

// justBefore says whether supply and roller were as usual before a jam that no sag explains:
// that leaves the mechanism.
func justBefore(j schemas.Jam) string {
	var parts []string
	odd := false
	for _, n := range j.Before {
		if n.Value == nil || n.Usual == nil || *n.Usual == 0 {
			continue
		}
		switch n.Unit {
		case "V":
			odd = odd || *n.Value < *n.Usual-0.3
			parts = append(parts, fmt.Sprintf("the supply at %.1f V (usual %.1f V)", *n.Value, *n.Usual))
		case "%":
			odd = odd || math.Abs(*n.Value-*n.Usual) > 5
			parts = append(parts, fmt.Sprintf("the roller at %.0f %% of its usual speed", clean(*n.Value)))
		}
	}
	switch {
	case len(parts) == 0:
		return ""
	case odd:
		return fmt.Sprintf("Just before: %s.", list(parts))
	default:
		return fmt.Sprintf("Just before, all was as usual: %s.", list(parts))
	}
}

// aroundNumbers are the figures behind those sentences: of all jams what they cost, of the
// last one what went before.
func aroundNumbers(here []schemas.Jam) []schemas.Number {
	var out []schemas.Number
	if points := jamPoints(here); points != nil {
		out = append(out, number("points lost", *points, ""))
	}
	return append(out, here[len(here)-1].Before...)
}

// forAndAgainst is the strongest evidence on either side of a jam that is only suspected.
func forAndAgainst(here []schemas.Jam) string {
	var most, least schemas.Weighed
	for _, e := range here[len(here)-1].Weighed {
		if e.LogOdds > most.LogOdds {
			most = e
		}
		if e.LogOdds < least.LogOdds {
			least = e
		}
	}
	text := ""
	if most.What != "" {
		text += " For a jam: " + most.What + "."
	}
	if least.What != "" {
		text += " Against: " + least.What + "."
	}
	return text
}
