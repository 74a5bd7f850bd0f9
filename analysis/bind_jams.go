package analysis

import (
	"github.com/afterbell/afterbell/analysis/before"
	"github.com/afterbell/afterbell/analysis/cost"
	"github.com/afterbell/afterbell/analysis/links"
	"github.com/afterbell/afterbell/schemas"
)

// tellJams adds to every jam what it cost, what went before it, and what else it hangs
// together with: that takes what several analyses found.
func tellJams(m *match) {
	r := m.report
	if len(r.Jams)+len(r.SuspectedJams) == 0 {
		return
	}
	earlier := before.Look(before.Input{
		Stages: m.path.Stages, Voltage: m.path.Voltage, Passes: r.Passes, Jams: r.Jams, Others: r.SuspectedJams,
	}, before.DefaultConfig())
	for i := range r.SuspectedJams {
		r.SuspectedJams[i].Before = earlier.Others[i]
	}
	lost := cost.Of(m.costs())
	tied := links.Find(links.Input{
		Stages: m.path.Stages, Jams: r.Jams, Facts: earlier.Facts, Cycles: r.Cycles, Brownouts: r.Brownouts,
		Usual: r.Usual, StartS: r.Match.StartS, EndS: schemas.Seconds(m.end),
	}, links.DefaultConfig())
	for i := range r.Jams {
		j, l := &r.Jams[i], lost[i]
		j.CostS, j.CostHow = schemas.Some(l.Seconds), l.How
		if l.Known {
			j.CostLowS, j.CostHighS = schemas.Some(l.LowS), schemas.Some(l.HighS)
		}
		j.CostPoints, j.CostPointsLow, j.CostPointsHigh = l.Points, l.PointsLow, l.PointsHigh
		j.Before, j.Common, j.Links = earlier.Jams[i], earlier.Common[j.Stage], tied[i]
	}
}

// costs is what the cost of anything is reckoned from.
func (m *match) costs() cost.Input {
	r := m.report
	in := cost.Input{Jams: r.Jams, Cycles: r.Cycles, Usual: r.Usual, Periods: r.Match.Periods}
	if g := m.Profile.Game; g != nil {
		in.Points = g.Points
	}
	return in
}

// tellBalances adds to every attempt on the platform what it cost.
func tellBalances(m *match) {
	for i := range m.report.Balances {
		b := &m.report.Balances[i]
		b.CostS, b.CostPoints = m.costs().OfBalance(*b)
	}
}
