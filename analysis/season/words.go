package season

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// note says in a sentence or two what the measure tells. Words say 'since', never 'because of'.
func note(s *Series, f *Facts, names []schemas.SeasonMatch) string {
	if few := Enough(len(s.Value)); few != "" {
		return few
	}
	var said []string
	told := f.Changes
	if n := len(told); n > 2 {
		said, told = append(said, fmt.Sprintf("changed %d times, last", n)), told[n-1:]
	}
	for _, c := range told {
		before, after := apartly(s, c.Before, c.After)
		said = append(said, fmt.Sprintf("%s since %s%s: %s before, %s since (%s)",
			moved(c.After-c.Before), matchName(names, s.Index[c.At]), c.reach(s, names), before, after, between(s, c.Less, c.More)))
		said = append(said, s.slower(c.Before, c.After, c.At))
	}
	if d := f.Drift; d != nil {
		since := ""
		if d.From > 0 {
			since = d.from(s) + matchName(names, s.Index[d.From])
		}
		until := d.until(s, names)
		said = append(said, fmt.Sprintf("%s%s%s by %s a match (%s)", d.word(s), since, until, amount(s, math.Abs(d.PerMatch)), between(s, d.Low, d.High)))
		first, last := d.ends(s)
		said = append(said, s.slower(first, last, d.From))
	}
	said = slices.DeleteFunc(said, func(text string) bool { return text == "" })
	if len(said) == 0 {
		text := "no change seen"
		if !math.IsNaN(f.Smallest) {
			text += fmt.Sprintf("; a difference of %s between the halves of the season would have shown four times in five", amount(s, f.Smallest))
		}
		said = append(said, text)
	}
	if a := f.Alarm; a != nil {
		side := "below"
		if a.Up {
			side = "above"
		}
		said = append(said, fmt.Sprintf("the newest matches lie %s that together, from %s on: watch it", side, matchName(names, s.Index[a.Since])))
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

// reach names the matches between which a step lies, where its place is not sure.
func (c *Change) reach(s *Series, names []schemas.SeasonMatch) string {
	if c.Earliest == c.Latest {
		return ""
	}
	return fmt.Sprintf(" (95 %%: %s to %s)", matchName(names, s.Index[c.Earliest]), matchName(names, s.Index[c.Latest]))
}

// slower says how much longer pieces take through a stage, and over how many passes since place
// from; empty for other measures.
func (s *Series) slower(before, since float64, from int) string {
	if !strings.HasPrefix(s.Name, "transit_s/") || !(before > 0) || len(s.Passes) < len(s.Value) {
		return ""
	}
	passes := 0
	for _, n := range s.Passes[from:] {
		passes += n
	}
	word := "slower"
	if since < before {
		word = "faster"
	}
	return fmt.Sprintf("%s by %s %% over %d passes", word, number(100*math.Abs(since/before-1)), passes)
}

// ended is whether a drift goes no further.
func (d *Drift) ended(s *Series) bool { return d.Until < len(s.Index)-1 }

func (d *Drift) word(s *Series) string {
	words := [2]string{"rises", "falls"}
	if d.ended(s) {
		words = [2]string{"rose", "fell"}
	}
	if d.PerMatch < 0 {
		return words[1]
	}
	return words[0]
}

// from stands before the match at which a drift began.
func (d *Drift) from(s *Series) string {
	if d.ended(s) {
		return " from "
	}
	return " since "
}

// until names the match at which a drift ended; empty while it goes on.
func (d *Drift) until(s *Series, names []schemas.SeasonMatch) string {
	if !d.ended(s) {
		return ""
	}
	return " until " + matchName(names, s.Index[d.Until])
}

// ends are what the line of a drift says of its first and of the newest reading.
func (d *Drift) ends(s *Series) (first, last float64) {
	rest := slices.Clone(flattened(s, d).Value)
	level := stat.Median(rest)
	return level, level + d.by(s, len(s.Index)-1)
}

// PartWords say what differs since an entry of the parts log, a line each, and what cannot be told.
func PartWords(p schemas.SeasonPart) []string {
	var out []string
	for _, e := range p.Effects {
		if k, _ := kindOf(e.Measure); !e.Seen || k.wear && !k.matters(e.Difference, e.Before.Value) {
			continue
		}
		s := Series{Name: e.Measure, Unit: unitOf(e.Measure)}
		if e.Since.Of != nil {
			s.Tries = []float64{}
		}
		before, since := sideWords(&s, e.Before), sideWords(&s, e.Since)
		if !s.share() {
			before, since = apartly(&s, e.Before.Value, e.Since.Value)
		}
		out = append(out, fmt.Sprintf("%s: %s before, %s since (%s), %d and %d matches",
			e.Measure, before, since, between(&s, orInf(e.Low, -1), orInf(e.High, 1)), e.Before.Matches, e.Since.Matches))
		if e.Cycles != nil {
			out[len(out)-1] += "; " + e.Cycles.Words()
		}
	}
	switch {
	case len(p.Effects) == 0:
		out = append(out, "no match yet on one of its sides")
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
		at, second, worse int // the smaller, the sooner told
		p                 float64
	}
	var news []told
	tested := 0
	for i, f := range facts {
		if !math.IsNaN(f.P) {
			tested++
		}
		if len(f.Changes) > 0 || f.Drift != nil {
			n := told{at: i, p: f.P}
			k, _ := kindOf(all[i].Name)
			if k.second() {
				n.second = 1
			}
			if f.up() == (k.better > 0) {
				n.worse = 2 // no: better
			}
			if k.follows {
				n.worse++
			}
			news = append(news, n)
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
	slices.SortStableFunc(news, func(a, b told) int { // what a crew asks first, and of it what got worse
		return cmp.Or(cmp.Compare(a.second, b.second), cmp.Compare(a.worse, b.worse), cmp.Compare(a.p, b.p))
	})
	var sentences, details []string
	for _, t := range news[:min(2, len(news))] {
		s, f := &all[t.at], &facts[t.at]
		sentences = append(sentences, sayNews(s, f, out))
		m := &out.Measures[t.at]
		k, _ := kindOf(s.Name)
		details = append(details, k.title+": "+numbersOf(s, f, m)+".")
	}
	if rest := len(news) - 2; rest == 1 {
		details = append(details, "One more measure has changed.")
	} else if rest > 1 {
		details = append(details, fmt.Sprintf("%d more measures have changed.", rest))
	}
	return strings.Join(sentences, " "), strings.Join(details, " ")
}

// up is whether the newest change, or the drift, is upwards.
func (f *Facts) up() bool {
	if n := len(f.Changes); n > 0 {
		return f.Changes[n-1].After > f.Changes[n-1].Before
	}
	return f.Drift != nil && f.Drift.PerMatch > 0
}

// sayNews is the newest change of a measure, or its drift, as a sentence.
func sayNews(s *Series, f *Facts, out *schemas.Season) string {
	k, of := kindOf(s.Name)
	up, index, by := f.up(), 0, 0.0
	drifts := f.Drift != nil && len(f.Changes) == 0
	since := ""
	if drifts {
		by = f.Drift.PerMatch
		if f.Drift.From > 0 {
			index = s.Index[f.Drift.From]
			since = f.Drift.from(s) + sinceWhat(out, index)
		}
	} else {
		c := f.Changes[len(f.Changes)-1]
		by, index = c.After-c.Before, s.Index[c.At]
		since = " since " + sinceWhat(out, index)
		if strings.HasPrefix(s.Name, "jam_rate/") && c.Before == 0 {
			return fmt.Sprintf("%s jams began with %s.", capital(of), sinceWhat(out, index))
		}
	}
	size := amount(s, math.Abs(by))
	if drifts {
		return fmt.Sprintf("%s %s by %s a match%s%s.", k.title, f.Drift.word(s), size, since, f.Drift.until(s, out.Matches))
	}
	which := k.less
	if up {
		which = k.more
	}
	return fmt.Sprintf(which, size) + since + "."
}

// sinceWhat names a match by the entry of the parts log that is nearest before or at it, where one
// is near enough and can be told from others, and by itself elsewhere.
func sinceWhat(out *schemas.Season, index int) string {
	best, off := -1, shortest
	for i, p := range out.Parts {
		if d := max(index-p.Index, p.Index-index); d < off && len(p.CloseTo) == 0 {
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
func amount(s *Series, v float64) string { return amountOf(s, v, 2) }

func amountOf(s *Series, v float64, digits int) string {
	if s.share() {
		return rounded(100*v, digits) + " %"
	}
	if s.Unit == "" {
		return rounded(v, digits)
	}
	return rounded(v, digits) + " " + s.Unit
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

// apartly are two numbers of the measure with as many digits as it takes to see them differ.
func apartly(s *Series, a, b float64) (string, string) {
	for digits := 2; ; digits++ {
		x, y := amountOf(s, a, digits), amountOf(s, b, digits)
		if x != y || digits == 5 {
			return x, y
		}
	}
}

func signed(s *Series, v float64) string {
	if v > 0 {
		return "+" + amount(s, v)
	}
	return strings.Replace(amount(s, v), "-", "\u2212", 1)
}

// number has two or three significant digits, which is what a season tells.
func number(v float64) string { return rounded(v, 2) }

// rounded has that many significant digits, one behind the point of larger numbers at least, and four at most.
func rounded(v float64, digits int) string {
	if v == 0 {
		return "0"
	}
	behind := digits - 1 - int(math.Floor(math.Log10(math.Abs(v))))
	if math.Abs(v) >= 10 {
		behind = digits - 1
	}
	return fmt.Sprintf("%.*f", max(0, min(behind, 4)), v)
}
