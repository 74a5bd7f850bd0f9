package season

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// note says in a sentence or two what the measure tells. Words say 'since', never 'because of'.
func note(s *Series, f *Facts, names []schemas.SeasonMatch) string {
	if few := Enough(len(s.Value)); few != "" {
		return few
	}
	var said []string
	for _, c := range f.Changes {
		said = append(said, fmt.Sprintf("%s since %s: %s before, %s since (%s)",
			moved(c.After-c.Before), matchName(names, s.Index[c.At]), amount(s, c.Before), amount(s, c.After), between(s, c.Less, c.More)))
	}
	if d := f.Drift; d != nil {
		since := ""
		if d.From > 0 {
			since = " since " + matchName(names, s.Index[d.From])
		}
		word := "rises"
		if d.PerMatch < 0 {
			word = "falls"
		}
		said = append(said, fmt.Sprintf("%s%s by %s a match (%s)", word, since, amount(s, math.Abs(d.PerMatch)), between(s, d.Low, d.High)))
	}
	if len(said) == 0 {
		text := "no change seen"
		if !math.IsNaN(f.Smallest) {
			text += fmt.Sprintf("; a difference of %s between the halves of the season would have shown four times in five", amount(s, f.Smallest))
		}
		said = append(said, text)
	}
	switch n := len(f.Strays); {
	case n == 1:
		said = append(said, fmt.Sprintf("%s stands out with %s", matchName(names, s.Index[f.Strays[0]]), amount(s, s.Value[f.Strays[0]])))
	case n > 1:
		said = append(said, fmt.Sprintf("%d matches stand out", n))
	}
	if f.Dependent {
		said = append(said, "matches are like the ones before, so this is less sure than it looks")
	}
	return strings.Join(said, "; ")
}

// PartWords say what differs since an entry of the parts log, a line each, and what cannot be told.
func PartWords(p schemas.SeasonPart) []string {
	var out []string
	for _, e := range p.Effects {
		if !e.Seen {
			continue
		}
		s := Series{Name: e.Measure, Unit: unitOf(e.Measure)}
		if e.Since.Of != nil {
			s.Tries = []float64{}
		}
		out = append(out, fmt.Sprintf("%s: %s before, %s since (%s), %d and %d matches",
			e.Measure, sideWords(&s, e.Before), sideWords(&s, e.Since), between(&s, orInf(e.Low, -1), orInf(e.High, 1)), e.Before.Matches, e.Since.Matches))
	}
	switch {
	case len(p.Effects) == 0:
		out = append(out, "no match since")
	case len(out) == 0:
		out = append(out, "no difference seen")
	}
	if len(p.CloseTo) > 0 {
		out = append(out, "too near to "+strings.Join(p.CloseTo, ", ")+" to be told apart")
	}
	return out
}

func sideWords(s *Series, side schemas.SeasonSide) string {
	if side.Of != nil {
		return fmt.Sprintf("%d of %d", *side.Events, *side.Of)
	}
	return amount(s, side.Value)
}

func orInf(v *float64, sign int) float64 {
	if v == nil {
		return math.Inf(sign)
	}
	return *v
}

func moved(by float64) string {
	if by < 0 {
		return "lower"
	}
	return "higher"
}

func matchName(names []schemas.SeasonMatch, index int) string {
	if index < 0 || index >= len(names) {
		return fmt.Sprintf("match %d", index+1)
	}
	return names[index].Event + "/" + names[index].Match
}

// amount is a number of the measure with its unit; a share in percent.
func amount(s *Series, v float64) string {
	if s.share() {
		return number(100*v) + " %"
	}
	if s.Unit == "" {
		return number(v)
	}
	return number(v) + " " + s.Unit
}

// between is the interval of a difference in words.
func between(s *Series, low, high float64) string {
	switch {
	case math.IsInf(low, 0) && math.IsInf(high, 0), math.IsNaN(low), math.IsNaN(high):
		return "too few to say how sure"
	case math.IsInf(low, 0):
		return "95 %: at most " + signed(s, high)
	case math.IsInf(high, 0):
		return "95 %: at least " + signed(s, low)
	}
	return "95 %: " + signed(s, low) + " to " + signed(s, high)
}

func signed(s *Series, v float64) string {
	if v > 0 {
		return "+" + amount(s, v)
	}
	return strings.Replace(amount(s, v), "-", "\u2212", 1)
}

// number has two or three significant digits, which is what a season tells.
func number(v float64) string {
	if v == 0 {
		return "0"
	}
	digits := 1 - int(math.Floor(math.Log10(math.Abs(v))))
	if a := math.Abs(v); a >= 10 {
		digits = 1
	}
	if digits > 4 {
		digits = 4
	}
	return fmt.Sprintf("%.*f", max(0, digits), v)
}
