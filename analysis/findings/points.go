package findings

import (
	"fmt"

	"github.com/afterbell/afterbell/analysis/cost"
	"github.com/afterbell/afterbell/schemas"
)

// points is what the profile says something is worth in points.
func (in Input) points(what string) (float64, bool) {
	if in.Profile.Game == nil {
		return 0, false
	}
	v, ok := in.Profile.Game.Points[what]
	return v, ok
}

// worthOfSecond is what a second of scoring is worth in a kind of period, in points.
func (in Input) worthOfSecond(period string) (float64, bool) {
	if in.Profile.Game == nil {
		return 0, false
	}
	return cost.Input{Cycles: in.Report.Cycles, Usual: in.Report.Usual, Points: in.Profile.Game.Points}.Worth(period)
}

// tellPoints adds to a finding what it cost in points, a tenth of one at least.
func tellPoints(d *drafted, points float64) {
	if points < 0.05 {
		return
	}
	d.CostPoints = schemas.Some(points)
	d.Because += fmt.Sprintf(" That cost about %s.", pointsWord(points))
	d.Numbers = append(d.Numbers, number("points lost", points, ""))
}

// secondsInPoints is what seconds spread over a finding's stretches are worth.
func (in Input) secondsInPoints(spans []schemas.Span) (points float64, ok bool) {
	for _, s := range spans {
		for _, p := range in.Report.Match.Periods {
			if seconds := overlap(s.StartS, s.EndS, p.StartS, p.EndS); seconds > 0 {
				each, known := in.worthOfSecond(p.Name)
				if !known {
					return 0, false
				}
				points, ok = points+each*seconds, true
			}
		}
	}
	return points, ok
}

// tellLevelPoints adds to a balance what it cost: what being level at the end is worth, where that
// was missed, else the pieces that a usual cycle scores in the time it took too long.
func (in Input) tellLevelPoints(d *drafted, b schemas.Balance) {
	missed := in.levelPoints(b)
	if missed == 0 {
		d.CostPoints = b.CostPoints
		return
	}
	d.CostPoints = schemas.Some(missed)
	d.Because += fmt.Sprintf(" Being level at the end would have been worth %s.", pointsWord(missed))
	d.Numbers = append(d.Numbers, number("points lost", missed, ""))
}

// levelPoints is what an attempt that ran out cost in points: what being level at the end of its
// period is worth, unless another attempt of that period was level; 0 where the profile does not
// say.
func (in Input) levelPoints(b schemas.Balance) float64 {
	what := "level"
	if b.Period == schemas.PeriodAutonomous {
		what = "autonomous_level"
	}
	each, ok := in.points(what)
	if !ok || b.Outcome != schemas.BalanceRanOut {
		return 0
	}
	for _, o := range in.Report.Balances {
		if o.Period == b.Period && (o.Outcome == schemas.BalanceLevel || o.Outcome == schemas.BalanceRanOut && o.StartS > b.StartS) {
			return 0
		}
	}
	return each
}
