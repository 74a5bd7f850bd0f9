package season

import (
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// Match is what of one match counts for the season. Nil is not known.
type Match struct {
	CycleS           *float64 // median of complete scoring cycles of the driver period
	Stages           []Stage  // along the path
	Battery          string   // empty: not known
	ResistanceOhm    *float64
	ResistanceLow    *float64 // 95 %
	ResistanceHigh   *float64
	LowestV          *float64
	BalanceSettleS   *float64 // median of the attempts that came level
	Attempts, Level  int      // balance attempts, and those that came level
	AutonomousPieces *int
}

// Stage is a stage of the path in one match: pieces that entered it, and jams in it.
type Stage struct {
	Name         string
	Passes, Jams int
}

// Measures are the series of a robot's matches, in order of time. The stages of the path come
// in the order they have in the newest match, batteries by name.
func Measures(matches []Match) []Series {
	var out []Series
	add := func(s *Series) {
		if len(s.Index) > 0 {
			out = append(out, *s)
		}
	}
	add(numbers(matches, "cycle_s", func(m *Match) *float64 { return m.CycleS }))
	for _, stage := range stageNames(matches) {
		s := &Series{Name: "jam_rate/" + stage}
		for i := range matches {
			for _, g := range matches[i].Stages {
				if g.Name == stage {
					s.addShare(i, g.Jams, g.Passes)
				}
			}
		}
		add(s)
	}
	batteries := map[string]bool{}
	for i := range matches {
		if b := matches[i].Battery; b != "" {
			batteries[b] = true
		}
	}
	for _, b := range slices.Sorted(maps.Keys(batteries)) {
		name := "resistance_ohm/" + b
		s := &Series{Name: name, Unit: unitOf(name)}
		for i := range matches {
			if m := &matches[i]; m.Battery == b && m.ResistanceOhm != nil {
				s.add(i, *m.ResistanceOhm, orNaN(m.ResistanceLow), orNaN(m.ResistanceHigh))
			}
		}
		add(s)
	}
	add(numbers(matches, "lowest_v", func(m *Match) *float64 { return m.LowestV }))
	add(numbers(matches, "balance_settle_s", func(m *Match) *float64 { return m.BalanceSettleS }))
	level := &Series{Name: "balance_level_rate"}
	for i := range matches {
		level.addShare(i, matches[i].Level, matches[i].Attempts)
	}
	add(level)
	add(numbers(matches, "autonomous_score", func(m *Match) *float64 {
		if m.AutonomousPieces == nil {
			return nil
		}
		v := float64(*m.AutonomousPieces)
		return &v
	}))
	return out
}

// unitOf is the unit of a measure by its name; shares have none.
func unitOf(name string) string {
	kind, _, _ := strings.Cut(name, "/")
	return map[string]string{
		"cycle_s": "s", "resistance_ohm": "ohm", "lowest_v": "V", "balance_settle_s": "s", "autonomous_score": "pieces",
	}[kind]
}

func numbers(matches []Match, name string, of func(*Match) *float64) *Series {
	s := &Series{Name: name, Unit: unitOf(name)}
	for i := range matches {
		if v := of(&matches[i]); v != nil {
			s.add(i, *v, math.NaN(), math.NaN())
		}
	}
	return s
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// add is a reading of a match; one that is no number is none.
func (s *Series) add(index int, value, low, high float64) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	s.Index, s.Value = append(s.Index, index), append(s.Value, value)
	s.Low, s.High = append(s.Low, low), append(s.High, high)
}

// addShare is events of tries in a match; without tries there is no reading. More events than
// tries, such as two jams of one piece, count as all.
func (s *Series) addShare(index, events, tries int) {
	if tries <= 0 {
		return
	}
	events = max(0, min(events, tries))
	low, high := stat.Wilson(events, tries, sureness)
	s.add(index, float64(events)/float64(tries), low, high)
	s.Events, s.Tries = append(s.Events, float64(events)), append(s.Tries, float64(tries))
}

// stageNames are the stages of the newest match that has any, then those of earlier ones.
func stageNames(matches []Match) []string {
	var out []string
	for i := len(matches) - 1; i >= 0; i-- {
		for _, g := range matches[i].Stages {
			if !slices.Contains(out, g.Name) {
				out = append(out, g.Name)
			}
		}
	}
	return out
}

// Look is what a robot's matches and its parts log, both in order of time, tell together.
func Look(robot string, names []schemas.SeasonMatch, matches []Match, changed []Changed) schemas.Season {
	out := schemas.Season{Season: schemas.SeasonVersion, Robot: robot, Matches: names, Measures: []schemas.SeasonMeasure{}}
	if out.Matches == nil {
		out.Matches = []schemas.SeasonMatch{}
	}
	all := Measures(matches)
	facts := Describe(all)
	for i := range all {
		m := measure(&all[i], &facts[i])
		m.Note = note(&all[i], &facts[i], names)
		out.Measures = append(out.Measures, m)
	}
	out.Parts = parted(all, facts, changed, len(matches))
	out.Headline, out.Detail = headline(all, facts, &out)
	return out
}

func measure(s *Series, f *Facts) schemas.SeasonMeasure {
	m := schemas.SeasonMeasure{
		Name: s.Name, Unit: s.Unit, Points: []schemas.SeasonPoint{}, Levels: []schemas.SeasonLevel{}, Changes: []schemas.SeasonChange{},
		P: known(f.P), AdjustedP: known(f.Adjusted), Smallest: known(f.Smallest),
	}
	for i := range s.Value {
		p := schemas.SeasonPoint{Index: s.Index[i], Value: s.Value[i], Low: known(s.Low[i]), High: known(s.High[i]), Stray: slices.Contains(f.Strays, i)}
		if s.share() {
			p.Events, p.Of = whole(s.Events[i]), whole(s.Tries[i])
		}
		m.Points = append(m.Points, p)
	}
	for _, l := range f.Levels {
		level := schemas.SeasonLevel{From: s.Index[l.From], To: s.Index[l.To-1], Value: l.Centre, Low: known(l.Low), High: known(l.High)}
		if s.share() {
			var events, tries float64
			for i := l.From; i < l.To; i++ {
				events, tries = events+s.Events[i], tries+s.Tries[i]
			}
			level.Events, level.Of = whole(events), whole(tries)
		}
		m.Levels = append(m.Levels, level)
	}
	for _, c := range f.Changes {
		m.Changes = append(m.Changes, schemas.SeasonChange{
			Index: s.Index[c.At], Before: c.Before, After: c.After, Low: known(c.Less), High: known(c.More),
		})
	}
	if d := f.Drift; d != nil {
		m.Trend = &schemas.SeasonTrend{From: s.Index[d.From], PerMatch: d.PerMatch, Low: known(d.Low), High: known(d.High), P: d.P}
	}
	return m
}

// known is nil for what is no number.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

func whole(v float64) *int {
	n := int(v)
	return &n
}
