package season

import (
	"cmp"
	"fmt"
	"math"
	"slices"
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

// headline is what matters most of a season: the surest two of what changed, and their numbers.
func headline(all []Series, facts []Facts, out *schemas.Season) (sentence, detail string) {
	type told struct {
		at int
		p  float64
	}
	var news []told
	tested := 0
	for i, f := range facts {
		if !math.IsNaN(f.P) {
			tested++
		}
		if len(f.Changes) > 0 || f.Drift != nil {
			news = append(news, told{i, f.P})
		}
	}
	n := len(out.Matches)
	switch {
	case tested == 0 && n == 1:
		return "One match is too few to say.", fmt.Sprintf("It takes %d matches with a measure to tell a change from chance.", fewest)
	case tested == 0:
		return fmt.Sprintf("%d matches are too few to say.", n), fmt.Sprintf("It takes %d matches with a measure to tell a change from chance.", fewest)
	case len(news) == 0:
		return fmt.Sprintf("No change seen in %d matches.", n), fmt.Sprintf("%d measures were looked at; below stands for each what would have been seen.", tested)
	}
	slices.SortStableFunc(news, func(a, b told) int { return cmp.Compare(a.p, b.p) })
	var sentences, details []string
	for _, t := range news[:min(2, len(news))] {
		s, f := &all[t.at], &facts[t.at]
		sentences = append(sentences, sayNews(s, f, out))
		m := &out.Measures[t.at]
		details = append(details, measureWords(s)+": "+numbersOf(s, f, m)+".")
	}
	if rest := len(news) - 2; rest == 1 {
		details = append(details, "One more measure has changed.")
	} else if rest > 1 {
		details = append(details, fmt.Sprintf("%d more measures have changed.", rest))
	}
	return strings.Join(sentences, " "), strings.Join(details, " ")
}

// sayNews is the newest change of a measure, or its drift, as a sentence.
func sayNews(s *Series, f *Facts, out *schemas.Season) string {
	kind, of, _ := strings.Cut(s.Name, "/")
	up, index, by := false, 0, 0.0
	drifts := f.Drift != nil && len(f.Changes) == 0
	since := ""
	if drifts {
		up, by = f.Drift.PerMatch > 0, f.Drift.PerMatch
		if f.Drift.From > 0 {
			index = s.Index[f.Drift.From]
			since = " since " + sinceWhat(out, index)
		}
	} else {
		c := f.Changes[len(f.Changes)-1]
		up, by, index = c.After > c.Before, c.After-c.Before, s.Index[c.At]
		since = " since " + sinceWhat(out, index)
		if kind == "jam_rate" && c.Before == 0 {
			return fmt.Sprintf("%s jams began with %s.", capital(of), sinceWhat(out, index))
		}
	}
	size := amount(s, math.Abs(by))
	words := map[string][2]string{ // less, more
		"cycle_s": {"Cycles are %s faster", "Cycles are %s slower"}, "jam_rate": {capital(of) + " jams are rarer by %s", capital(of) + " jams are more frequent by %s"},
		"resistance_ohm": {"Battery " + of + " has %s less resistance", "Battery " + of + " has %s more resistance"},
		"lowest_v":       {"The supply sags %s lower", "The supply sags %s less"}, "balance_settle_s": {"Coming level takes %s less", "Coming level takes %s more"},
		"balance_level_rate": {"The robot comes level less often, by %s", "The robot comes level more often, by %s"},
		"autonomous_score":   {"Autonomous scores %s less", "Autonomous scores %s more"},
	}[kind]
	if words[0] == "" {
		words = [2]string{s.Name + " is %s lower", s.Name + " is %s higher"}
	}
	if drifts {
		word := "falls"
		if up {
			word = "rises"
		}
		return fmt.Sprintf("%s %s by %s a match%s.", measureWords(s), word, size, since)
	}
	which := words[0]
	if up {
		which = words[1]
	}
	return fmt.Sprintf(which, size) + since + "."
}

// sinceWhat names a match by the entry of the parts log that is nearest before or at it, where one
// is near enough, and by itself elsewhere.
func sinceWhat(out *schemas.Season, index int) string {
	best, off := -1, shortest
	for i, p := range out.Parts {
		if d := max(index-p.Index, p.Index-index); d < off {
			best, off = i, d
		}
	}
	if best >= 0 {
		return "“" + out.Parts[best].Text + "”"
	}
	return matchName(out.Matches, index)
}

// numbersOf are the numbers of a measure's newest change or its drift.
func numbersOf(s *Series, f *Facts, m *schemas.SeasonMeasure) string {
	if f.Drift != nil && len(f.Changes) == 0 {
		return fmt.Sprintf("%s a match, %s", signed(s, f.Drift.PerMatch), between(s, f.Drift.Low, f.Drift.High))
	}
	c := f.Changes[len(f.Changes)-1]
	if n := len(m.Levels); s.share() && n > 1 {
		return fmt.Sprintf("%d of %d before, %d of %d since (%s)",
			*m.Levels[n-2].Events, *m.Levels[n-2].Of, *m.Levels[n-1].Events, *m.Levels[n-1].Of, between(s, c.Less, c.More))
	}
	return fmt.Sprintf("%s (%s)", signed(s, c.After-c.Before), between(s, c.Less, c.More))
}

// measureWords names a measure at the beginning of a sentence.
func measureWords(s *Series) string {
	kind, of, _ := strings.Cut(s.Name, "/")
	name := map[string]string{
		"cycle_s": "Cycle time", "jam_rate": capital(of) + " jams", "resistance_ohm": "Resistance of battery " + of, "lowest_v": "Lowest voltage",
		"balance_settle_s": "Time to level", "balance_level_rate": "Attempts that came level", "autonomous_score": "Pieces in autonomous",
	}[kind]
	if name == "" {
		return s.Name
	}
	return name
}

func capital(text string) string {
	if text == "" {
		return text
	}
	r := []rune(text)
	return strings.ToUpper(string(r[:1])) + string(r[1:])
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
