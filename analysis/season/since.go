package season

import (
	"math"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// Effect is how a measure stood before something was changed and stands since.
type Effect struct {
	Before, Since          Level
	Difference, Less, More float64 // since less before, with its 95 % interval
}

// Since compares a measure before and since the match of that index. Before reaches back to the
// last change of the measure found by itself, and since reaches to the next: what is compared is
// the level in which something was changed with the one that came of it, not with half a
// season ago. ok is false without a reading on one of the sides, and for a measure that drifts,
// which is other since whatever was changed.
func Since(s *Series, f *Facts, index int) (e Effect, ok bool) {
	if f.Drift != nil {
		return Effect{}, false
	}
	at := 0
	for at < len(s.Index) && s.Index[at] < index {
		at++
	}
	from, to := 0, len(s.Index)
	for _, c := range f.Changes {
		switch {
		case c.At+shortest <= at: // one so near is taken as this one
			from = c.At
		case c.At >= at+shortest:
			to = min(to, c.At)
		}
	}
	if at == from || at >= to {
		return Effect{}, false
	}
	e.Before, e.Since = level(s, from, at), level(s, at, to)
	if s.share() {
		e.Difference = e.Since.Centre - e.Before.Centre
		e.Less, e.More = stat.NewcombeDifference(
			sum(s.Events[at:to]), sum(s.Tries[at:to]), sum(s.Events[from:at]), sum(s.Tries[from:at]), sureness)
		return e, true
	}
	e.Difference, e.Less, e.More = stat.HodgesLehmann(s.Value[at:to], s.Value[from:at], sureness)
	return e, true
}

func sum(counts []float64) int {
	total := 0.0
	for _, v := range counts {
		total += v
	}
	return int(total)
}

// seen is whether the interval says that there is a difference.
func (e Effect) seen() bool {
	return !math.IsNaN(e.Less) && !math.IsNaN(e.More) && (e.Less > 0 || e.More < 0)
}

// Changed is an entry of the parts log, placed among the matches.
type Changed struct {
	Letter, At, Kind, Text string
	Index                  int // of the first match since
}

// parted fills in the entries of the parts log: what was before and is since, measure by
// measure. Entries with fewer than three matches between them cannot be told apart.
func parted(all []Series, facts []Facts, entries []Changed, matches []Match) []schemas.SeasonPart {
	out := []schemas.SeasonPart{}
	for i, c := range entries {
		p := schemas.SeasonPart{Letter: c.Letter, At: c.At, Kind: c.Kind, Text: c.Text, Index: c.Index, CloseTo: []string{}, Effects: []schemas.SeasonEffect{}}
		for k, o := range entries {
			if k != i && max(o.Index-c.Index, c.Index-o.Index) < shortest && o.Index < len(matches) && c.Index < len(matches) {
				p.CloseTo = append(p.CloseTo, o.Letter)
			}
		}
		for k := range all {
			e, ok := Since(&all[k], &facts[k], c.Index)
			if !ok {
				continue
			}
			s := &all[k]
			effect := schemas.SeasonEffect{
				Measure: s.Name, Before: side(s, e.Before), Since: side(s, e.Since),
				Difference: e.Difference, Low: known(e.Less), High: known(e.More), Seen: e.seen(),
			}
			if strings.HasPrefix(s.Name, "jam_rate/") {
				effect.PerHour = ratio(s, e)
			}
			if s.Name == "cycle_s" {
				effect.Cycles = lasting(s, e, matches)
			}
			p.Effects = append(p.Effects, effect)
		}
		out = append(out, p)
	}
	return out
}

// ratio is how many times as many jams there are in an hour of running since.
func ratio(s *Series, e Effect) *schemas.SeasonRatio {
	before, since := s.perHour(e.Before.From, e.Before.To), s.perHour(e.Since.From, e.Since.To)
	if before == nil || since == nil {
		return nil
	}
	r, low, high := stat.RateRatio(
		sum(s.Events[e.Since.From:e.Since.To]), since.Hours, sum(s.Events[e.Before.From:e.Before.To]), before.Hours, sureness)
	return &schemas.SeasonRatio{Value: known(r), Low: low, High: known(high)}
}

// lasting compares the cycles of both sides one by one, those that were cut off too.
func lasting(s *Series, e Effect, matches []Match) *schemas.SeasonCycles {
	out := &schemas.SeasonCycles{}
	groups := func(l Level) (all [][]stat.Lasted) {
		for _, i := range s.Index[l.From:l.To] {
			all = append(all, matches[i].Cycles)
			for _, c := range matches[i].Cycles {
				if c.Complete {
					out.Complete++
				} else {
					out.CutOff++
				}
			}
		}
		return all
	}
	_, out.P = stat.LogRankOfGroups(groups(e.Since), groups(e.Before))
	if out.Complete == 0 {
		return nil
	}
	return out
}

func side(s *Series, l Level) schemas.SeasonSide {
	out := schemas.SeasonSide{Value: l.Centre, Matches: l.To - l.From}
	if s.share() {
		events, tries := sum(s.Events[l.From:l.To]), sum(s.Tries[l.From:l.To])
		out.Events, out.Of = &events, &tries
		out.PerHour = s.perHour(l.From, l.To)
	}
	return out
}
