// Package season says whether a robot gets better: for each measure of its matches, whether and
// when its level changed, whether it drifts, and what could not be told.
//
// # The idea
//
// The unit is the match: one number of each match (a median, a share, a resistance), because
// what happens within a match hangs together. A measure is looked at in three steps.
//
//  1. Is there anything? A step at some match, a level that differs in some stretch of matches from
//     all others, or a drift (Mann-Kendall, Student's for few). Readings are clipped before, so that one odd match weighs
//     little; of counts the match that speaks most for a change is left out, and what comes in
//     bunches counts less. All measures
//     of a robot are one family (Holm), so that a season in which nothing changed is told so 19
//     times in 20, however many measures it has.
//  2. What is it? Levels with one or more steps, a drift that goes on all the time or begins or ends
//     on the way, and a step on a drift are fitted by least squares, odd matches calmed; the Bayesian information criterion
//     chooses. Each step must hold by itself against the two levels it parts.
//  3. How much, and since when? Hodges and Lehmann's difference of the two levels with its interval,
//     Newcombe's for shares, Theil and Sen's slope for drifts; and the matches at which a step may lie,
//     by what speaks for each (Smith), for a crew to know what it did then.
//
// A single odd match is neither a step nor a drift: no level is shorter than three matches. With
// fewer than six matches nothing is tested, and that is said.
package season

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	gonum "gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
)

// Limits of the method.
const (
	fewest    = 6    // matches: with fewer no order of them is rare enough
	shortest  = 3    // matches of one level
	mostSteps = 4    // in one measure
	family    = 0.05 // the chance that a season without changes is told of one
	local     = 0.01 // the chance at which one step among several is kept; chosen by us
	sureness  = 0.95 // of intervals
)

// Series is one measure over the matches that have it. Value is its reading in each; a share
// has Events of Tries instead, and Value is their ratio.
type Series struct {
	Name, Unit    string
	Index         []int // of the match, in order of time, strictly rising
	Value         []float64
	Shown         []float64 // what was measured, where Value is judged beside others; nil for Value
	Low, High     []float64 // of each reading; NaN where not known
	Events, Tries []float64 // nil unless the measure is a share
	Passes        []int     // of pieces through the stage that the measure is of; 0 for others
	Hours         []float64 // that the match ran
}

// share is whether the measure counts events.
func (s *Series) share() bool { return s.Tries != nil }

// Facts are what a measure tells.
type Facts struct {
	Changes []Change
	Drift   *Drift
	Strays  []int   // places in the series of readings far from their level
	P       float64 // that chance alone makes a step or drift like this; NaN when not tested
	// Adjusted is P with all measures of the season considered. At most 0.05: there is something.
	Adjusted float64
	// Smallest is the change between two halves of the season that would have been seen four
	// times in five; NaN when it cannot be told.
	Smallest float64
	// Dependent is whether readings depend on the ones before more than chance explains, so that
	// the chances above are too small. Not looked at for shares, whose readings differ in spread.
	Dependent bool
	// Alarm is set when the newest matches lie together to one side of their level.
	Alarm *Alarm
	// Levels are the values between changes, in order; nil for a drift or too few matches.
	Levels []Level
}

// Level is a stretch of the series without a change.
type Level struct {
	From, To  int     // places in the series, To not included
	Centre    float64 // median; of a share, all events of all tries
	Low, High float64 // what nearly all matches of it lie between: centre ± 3 of the chart of single values
}

// Change is a step from one level to another.
type Change struct {
	At                   int // place in the series of the first reading after it
	Earliest, Latest     int // At lies between them with chance 0.95
	Before, After        float64
	Less, More           float64 // After less Before lies between them with chance 0.95
	MatchesBefore, Since int     // readings of both levels
}

// Drift is a level that rises or falls match by match.
type Drift struct {
	From      int     // place in the series from which on it drifts; 0 when always
	Until     int     // place from which on it goes no further; that of the newest reading while it goes on
	PerMatch  float64 // for each step of Index
	Low, High float64 // 95 %
	P         float64 // of a drift as clear by chance
}

// Describe says what each measure of a robot tells. The series are one family: what is believed
// of one depends on how many there are.
func Describe(all []Series) []Facts {
	out := make([]Facts, len(all))
	for i := range all {
		out[i] = test(&all[i])
	}
	adjust(all, out)
	for i := range all {
		f := &out[i]
		if f.Adjusted <= family {
			explain(&all[i], f)
			onlyNews(&all[i], f)
		}
		settle(&all[i], f)
	}
	for i := range all {
		out[i].Alarm = alarm(&all[i], &out[i], len(all))
	}
	return out
}

// onlyNews leaves out what is too small to be worth telling, where a kind of measure has such a size.
func onlyNews(s *Series, f *Facts) {
	k, _ := kindOf(s.Name)
	f.Changes = slices.DeleteFunc(f.Changes, func(c Change) bool { return !k.matters(c.After-c.Before, c.Before) })
	if d := f.Drift; d != nil {
		if first, last := d.ends(s); !k.matters(last-first, first) {
			f.Drift = nil
		}
	}
}

// test asks whether there is anything.
func test(s *Series) Facts {
	f := Facts{P: math.NaN(), Adjusted: math.NaN(), Smallest: math.NaN()}
	n := len(s.Value)
	if n < fewest {
		return f
	}
	var step, spell, drift float64
	if s.share() {
		step = stat.SharpestRateStep(s.Events, s.Tries, shortest).P
		spell = stat.SharpestRateSpell(s.Events, s.Tries, shortest).P
		_, drift = stat.RateTrend(places(s), s.Events, s.Tries)
	} else {
		y := clipped(s.Value)
		step, spell = stat.SharpestStep(y, shortest).P, stat.SharpestSpell(y, shortest).P
		drift = stat.MannKendall(s.Value).P
		if n < ranksFrom {
			drift = slopeChance(places(s), y)
		}
	}
	f.P = min(1, 2*step, 4*spell, 4*drift) // three looks, of which the first is the likeliest to see something
	return f
}

// ranksFrom is from how many matches on a drift is judged by ranks alone: of fewer no order is rare
// enough to be told among all measures of a robot, such as of a battery that is in every fifth match.
const ranksFrom = 20

// slopeChance is that of a slope as steep by chance: Student's test of least squares.
func slopeChance(x, y []float64) float64 {
	r := gonum.Correlation(x, y, nil)
	freedom := float64(len(x) - 2)
	if math.IsNaN(r) {
		return 1 // all equal
	}
	t := math.Abs(r) * math.Sqrt(freedom/math.Max(1e-15, 1-r*r))
	return 2 * distuv.StudentsT{Sigma: 1, Nu: freedom}.Survival(t)
}

// clipLimit is how many robust standard deviations from the median a reading may count; chosen
// by us: a step of a few standard deviations in few matches must keep its size.
const clipLimit = 3

// clipped are the readings, those beyond the limit brought to it. Where more than half are equal
// there is no scale, and their ranks stand for them.
func clipped(y []float64) []float64 {
	middle, scale := stat.Median(y), 1.4826*stat.MAD(y)
	if scale == 0 {
		return stat.Ranks(y)
	}
	out := slices.Clone(y)
	for i := range out {
		out[i] = min(max(out[i], middle-clipLimit*scale), middle+clipLimit*scale)
	}
	return out
}

// ofSecond is the part of the family's chance that wear and practice have; chosen by us. The rest is
// for what a crew asks first.
const ofSecond = 0.2

// adjust sets Adjusted by Holm's step-down method over the measures that were tested, those a crew asks
// first and the others each with their part of the family's chance: together they are wrong no
// more often.
//
// Holm, Scandinavian Journal of Statistics 6 (1979).
func adjust(all []Series, facts []Facts) {
	var order [2][]int
	for i := range facts {
		if !math.IsNaN(facts[i].P) {
			w := 0
			if k, _ := kindOf(all[i].Name); k.second() {
				w = 1
			}
			order[w] = append(order[w], i)
		}
	}
	for w, part := range []float64{1 - ofSecond, ofSecond} {
		if len(order[1-w]) == 0 {
			part = 1
		}
		slices.SortStableFunc(order[w], func(a, b int) int { return cmp.Compare(facts[a].P, facts[b].P) })
		least := 0.0
		for rank, i := range order[w] {
			least = math.Max(least, math.Min(1, facts[i].P*float64(len(order[w])-rank)/part))
			facts[i].Adjusted = least
		}
	}
}

// settle fills in what holds whatever was found.
func settle(s *Series, f *Facts) {
	n := len(s.Value)
	if n < fewest {
		return
	}
	if f.Drift == nil {
		cuts := []int{0}
		for _, c := range f.Changes {
			cuts = append(cuts, c.At)
		}
		cuts = append(cuts, n)
		for i := 1; i < len(cuts); i++ {
			f.Levels = append(f.Levels, level(s, cuts[i-1], cuts[i]))
		}
	}
	rest := residuals(s, f)
	scale := 1.4826 * stat.MAD(rest)
	for i, r := range rest {
		if !s.share() && scale > 0 && math.Abs(r) > 3.5*scale { // Iglewicz and Hoaglin's limit
			f.Strays = append(f.Strays, i)
		}
	}
	if c, ok := stat.Individuals(rest); ok && !s.share() && c.AutocorrelationP < 0.05 && c.Autocorrelation > 0 {
		f.Dependent = true
	}
	// Two halves, five chances in a hundred to be wrong and four in five to see it.
	const both = 1.959964 + 0.841621
	if s.share() {
		var events, tries float64
		for i := range s.Events {
			events, tries = events+s.Events[i], tries+s.Tries[i]
		}
		p := (events + 0.5) / (tries + 1) // so that no event is not taken as 'never'
		f.Smallest = both * math.Sqrt(4*p*(1-p)/tries)
	} else if scale > 0 {
		f.Smallest = both * scale * math.Sqrt(4/float64(n))
	}
}

// level is the stretch from place i up to, not including, j.
func level(s *Series, i, j int) Level {
	l := Level{From: i, To: j}
	if s.share() {
		var events, tries float64
		for k := i; k < j; k++ {
			events, tries = events+s.Events[k], tries+s.Tries[k]
		}
		l.Centre = events / tries
		l.Low, l.High = stat.Wilson(int(events), int(tries), sureness)
		return l
	}
	l.Centre = stat.Quantile(0.5, s.Value[i:j])
	l.Low, l.High = math.NaN(), math.NaN()
	if c, ok := stat.Individuals(s.Value[i:j]); ok && j-i >= 8 { // fewer make no limits worth drawing
		l.Low, l.High = l.Centre-3*c.Sigma, l.Centre+3*c.Sigma
		if slices.Min(s.Value) >= 0 { // times and counts are never below nothing
			l.Low = math.Max(0, l.Low)
		}
	}
	return l
}

// residuals are the readings less what was found.
func residuals(s *Series, f *Facts) []float64 {
	out := slices.Clone(s.Value)
	if d := f.Drift; d != nil {
		for i := range out {
			out[i] -= d.by(s, i)
		}
	}
	cuts := []int{0}
	for _, c := range f.Changes {
		cuts = append(cuts, c.At)
	}
	cuts = append(cuts, len(out))
	for i := 1; i < len(cuts); i++ {
		middle := stat.Median(out[cuts[i-1]:cuts[i]])
		for k := cuts[i-1]; k < cuts[i]; k++ {
			out[k] -= middle
		}
	}
	return out
}

// Enough is why a series of n readings was not tested, or "".
func Enough(n int) string {
	if n >= fewest {
		return ""
	}
	return fmt.Sprintf("too few to say: %d of the %d matches it takes", n, fewest)
}
