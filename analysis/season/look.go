package season

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// Look is what a robot's matches and its parts log, both in order of time, tell together.
func Look(robot string, names []schemas.SeasonMatch, matches []Match, changed []Changed) schemas.Season {
	out := schemas.Season{Season: schemas.SeasonVersion, Robot: robot, Matches: names, Measures: []schemas.SeasonMeasure{}}
	if out.Matches == nil {
		out.Matches = []schemas.SeasonMatch{}
	}
	if mixed(matches) {
		for i := range out.Matches {
			out.Matches[i].Practice = matches[i].Practice
		}
	}
	all := Measures(matches)
	facts := Describe(all)
	for i := range all {
		m := measure(&all[i], &facts[i])
		m.Note = note(&all[i], &facts[i], names)
		out.Measures = append(out.Measures, m)
	}
	out.Growth = growth(matches, all, facts)
	out.Parts = parted(all, facts, changed, matches)
	out.Drivers = drivers(matches, changed)
	out.Headline, out.Detail = headline(all, facts, &out)
	return out
}

// drivers are the people who drove, by the entries of the parts log of kind driver, and for how
// long. Without an entry it is one nobody named.
func drivers(matches []Match, changed []Changed) []schemas.SeasonDriver {
	out := []schemas.SeasonDriver{}
	of := func(name string) *schemas.SeasonDriver {
		i := slices.IndexFunc(out, func(d schemas.SeasonDriver) bool { return d.Name == name })
		if i < 0 {
			out, i = append(out, schemas.SeasonDriver{Name: name}), len(out)
		}
		return &out[i]
	}
	for i, m := range matches {
		name := ""
		for _, c := range changed {
			if c.Kind == "driver" && c.Index <= i {
				name = c.Text
			}
		}
		d := of(name)
		if m.Practice {
			d.Sessions++
			d.PracticeHours += m.DriverS / 3600
		} else {
			d.Matches++
			d.MatchHours += m.DriverS / 3600
		}
	}
	return out
}

func measure(s *Series, f *Facts) schemas.SeasonMeasure {
	k, _ := kindOf(s.Name)
	m := schemas.SeasonMeasure{
		Name: s.Name, Title: k.title, Unit: s.Unit, Wear: k.wear, Points: []schemas.SeasonPoint{}, Levels: []schemas.SeasonLevel{}, Changes: []schemas.SeasonChange{},
		P: known(f.P), AdjustedP: known(f.Adjusted), Smallest: known(f.Smallest),
	}
	shown := s.Shown
	if shown == nil {
		shown = s.Value
	}
	for i := range s.Value {
		p := schemas.SeasonPoint{Index: s.Index[i], Value: shown[i], Low: known(s.Low[i]), High: known(s.High[i]), Stray: slices.Contains(f.Strays, i)}
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
			level.PerHour = s.perHour(l.From, l.To)
		}
		m.Levels = append(m.Levels, level)
	}
	for _, c := range f.Changes {
		m.Changes = append(m.Changes, schemas.SeasonChange{
			Index: s.Index[c.At], Earliest: s.Index[c.Earliest], Latest: s.Index[c.Latest], Before: c.Before, After: c.After, Low: known(c.Less), High: known(c.More),
		})
	}
	if d := f.Drift; d != nil {
		m.Trend = &schemas.SeasonTrend{From: s.Index[d.From], Until: s.Index[d.Until], PerMatch: d.PerMatch, Low: known(d.Low), High: known(d.High), P: d.P}
	}
	if a := f.Alarm; a != nil {
		m.Alarm = &schemas.SeasonAlarm{Since: s.Index[a.Since], Up: a.Up, P: a.P}
	}
	return m
}

// perHour is how often the events of a stretch happened in an hour of running; nil where that is
// not known, or is no question of hours.
func (s *Series) perHour(from, to int) *schemas.SeasonRate {
	if !strings.HasPrefix(s.Name, "jam_rate/") || len(s.Hours) != len(s.Value) {
		return nil
	}
	hours := 0.0
	for _, h := range s.Hours[from:to] {
		hours += h
	}
	if hours <= 0 {
		return nil
	}
	events := sum(s.Events[from:to])
	low, high := stat.Garwood(events, sureness)
	return &schemas.SeasonRate{Value: float64(events) / hours, Low: low / hours, High: high / hours, Hours: hours}
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
