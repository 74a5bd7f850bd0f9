package sim

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// lateScoreS is how long after a period a score while disabled still belongs to it.
const lateScoreS = 3

// cycles are the times from score to score in each period, by the samples of the counter: a
// rise scores (also one that only takes a correction back: the counter tells no more), a
// fall scores nothing. Hand-overs are rows of their own, from the score or hand-over before.
func (v view) cycles() (unsure []int) {
	score := v.world.recorder.clean("game/score")
	if score == nil {
		return nil
	}
	for _, p := range v.report.Match.Periods {
		start := p.StartS
		for _, r := range v.rises(score, p) {
			v.cycle(p.Name, start, r.at, r.n, v.idsOf(r))
			start = r.at
		}
		if start < p.EndS {
			v.cycle(p.Name, start, p.EndS, 0, nil)
		}
	}
	v.handovers()
	v.report.Placing = v.placing()
	return v.slow()
}

// rise is one step up of a counter at a sample that is in the log.
type rise struct {
	before, at float64 // s, robot clock, of the sample before and this one
	n          int
}

// rises are those that belong to a period: in it, or while disabled within 3 s of its end.
func (v view) rises(c *clean, p schemas.Period) []rise {
	var out []rise
	for i := 1; i < len(c.v); i++ {
		n, t := int(c.v[i]-c.v[i-1]), schemas.Seconds(c.t[i])
		if n <= 0 || t < p.StartS || t > p.EndS+lateScoreS || v.otherPeriod(p, t) {
			continue
		}
		out = append(out, rise{schemas.Seconds(c.t[i-1]), t, n})
	}
	return out
}

// otherPeriod says whether t lies in another period than p.
func (v view) otherPeriod(p schemas.Period, t float64) bool {
	return slices.ContainsFunc(v.report.Match.Periods, func(q schemas.Period) bool {
		return q != p && q.StartS <= t && t < q.EndS
	})
}

// idsOf are the pieces that made a rise; none when it was a correction.
func (v view) idsOf(r rise) []int {
	var ids []int
	for _, e := range v.world.field.events {
		if at := v.world.begin + e.at - step/2; r.before < at && at <= r.at {
			ids = append(ids, e.ids...)
		}
	}
	return ids
}

// cycle writes down one; pieces 0 is one that was cut off. ids are the pieces that ended it.
func (v view) cycle(period string, start, end float64, pieces int, ids []int) {
	out := schemas.Cycle{
		Kind: "score", Pieces: pieces, Period: period, StartS: start, EndS: end,
		DurationS: end - start, Complete: pieces > 0,
	}
	if len(ids) > 0 {
		out.Phases = v.phases(start, end, ids)
		v.route(&out, ids)
		out.Align = v.align(&out, ids)
	}
	v.report.Cycles = append(v.report.Cycles, out)
}

// handovers are rows of their own in the order of their ends.
func (v view) handovers() {
	given := v.world.recorder.clean("game/handover")
	if given == nil {
		return
	}
	var rows []schemas.Cycle
	for _, p := range v.report.Match.Periods {
		start := p.StartS
		for _, r := range v.rises(given, p) {
			from := start
			for _, c := range v.report.Cycles {
				if c.Complete && c.Period == p.Name && c.EndS <= r.at {
					from = max(from, c.EndS)
				}
			}
			rows = append(rows, schemas.Cycle{
				Kind: "handover", Pieces: r.n, Period: p.Name, StartS: from, EndS: r.at,
				DurationS: r.at - from, Complete: true,
			})
			start = r.at
		}
	}
	v.report.Cycles = append(v.report.Cycles, rows...)
	slices.SortStableFunc(v.report.Cycles, func(a, b schemas.Cycle) int {
		switch {
		case a.EndS < b.EndS:
			return -1
		case a.EndS > b.EndS:
			return 1
		}
		return 0
	})
}

// phases of the cycle that placed the pieces ids, by the robot's true place every 10 ms:
//
//	return   from start to the first step into a pickup zone
//	collect  from there until the last of the pieces is in the path
//	carry    from there to the last entry into a goal before the end
//	place    from there to the end
//
// A piece that was in the path at the start, or came into it outside the pickup zones, has
// neither return nor collect. One whose robot did not enter a goal after that, or entered
// one more after the piece had left, has neither carry nor place: what the words mean there
// cannot be told.
func (v view) phases(start, end float64, ids []int) schemas.Phases {
	var out schemas.Phases
	w := v.world
	if w.recorder.clean("pose/x") == nil {
		return out
	}
	taken, gone := v.life(ids)
	arrive := v.firstStep(start, end)
	fetched := taken >= start && arrive <= taken
	if fetched || math.IsNaN(taken) {
		out.ReturnS, out.CollectS = schemas.Some(arrive-start), schemas.Some(taken-arrive)
	}
	enter := v.lastEntry(start, end)
	if math.IsNaN(enter) || enter < taken || enter > gone {
		return out
	}
	out.CarryS = schemas.Some(enter - max(taken, start))
	if math.IsNaN(taken) {
		out.CarryS = nil
	}
	out.PlaceS = schemas.Some(end - enter)
	return out
}

// life is when the last of the pieces came into the path, as the log shows it, not a number
// when it does not, and when it left, s robot clock.
func (v view) life(ids []int) (taken, gone float64) {
	p := v.world.path
	taken, gone = math.NaN(), math.Inf(1)
	for _, pass := range v.report.Passes {
		if !slices.Contains(ids, pass.Piece) {
			continue
		}
		at := pass.EnterS
		if at == nil && len(pass.Stages) > 0 {
			at = pass.Stages[0].EnterEstS
		}
		if at != nil && !(*at < taken) {
			taken = *at
		}
	}
	for _, c := range p.gone {
		if slices.Contains(ids, c.id) {
			gone = c.trace.at(p, len(c.trace.moments))
		}
	}
	return taken, gone
}

// firstStep is the first time between start and end the robot was in a pickup zone, not a
// number when it never was.
func (v view) firstStep(start, end float64) float64 {
	for _, at := range v.world.track {
		if at.AtS >= start && at.AtS <= end && inSome(v.world.field.pickups, at) {
			return at.AtS
		}
	}
	return math.NaN()
}

// lastEntry is the last time between start and end the robot came into a goal.
func (v view) lastEntry(start, end float64) float64 {
	enter, in := math.NaN(), false
	for _, at := range v.world.track {
		if at.AtS > end {
			break
		}
		now := inSome(v.world.field.goals, at)
		if now && !in && at.AtS >= start {
			enter = at.AtS
		}
		in = now
	}
	return enter
}
