package sim

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// lateScoreS is how long after a period a score while disabled still belongs to it.
const lateScoreS = 3

// cycles are the times from score to score in each period, by the samples of the counter.
func (v view) cycles() {
	score := v.world.recorder.clean("game/score")
	if score == nil {
		return
	}
	for _, p := range v.report.Match.Periods {
		start, counted := p.StartS, 0
		for i := 1; i < len(score.v); i++ {
			n := int(score.v[i] - score.v[i-1])
			if n <= 0 {
				continue
			}
			t := schemas.Seconds(score.t[i])
			counted += n
			if t < p.StartS || t > p.EndS+lateScoreS || v.otherPeriod(p, t) {
				continue
			}
			v.cycle(p.Name, start, t, n, v.world.field.scored[:counted])
			start = t
		}
		if start < p.EndS {
			v.cycle(p.Name, start, p.EndS, 0, nil)
		}
	}
	v.slow()
}

// otherPeriod says whether t lies in another period than p.
func (v view) otherPeriod(p schemas.Period, t float64) bool {
	return slices.ContainsFunc(v.report.Match.Periods, func(q schemas.Period) bool {
		return q != p && q.StartS <= t && t < q.EndS
	})
}

// cycle writes down one; pieces 0 is one that was cut off. scored are the ids of the pieces
// that had counted by its end.
func (v view) cycle(period string, start, end float64, pieces int, scored []int) {
	out := schemas.Cycle{
		Kind: "score", Pieces: pieces, Period: period, StartS: start, EndS: end,
		DurationS: end - start, Complete: pieces > 0,
	}
	if out.Complete {
		out.Phases = v.phases(start, end, scored[len(scored)-1])
	}
	v.report.Cycles = append(v.report.Cycles, out)
}

// phases of the cycle that placed piece id, by the robot's true place at the pose samples.
func (v view) phases(start, end float64, id int) schemas.Phases {
	var out schemas.Phases
	track := v.world.track
	arrive, enter := math.NaN(), math.NaN() // first into the pickup zone, last into the goal zone
	inGoal := false
	for _, p := range track {
		if p.AtS > end {
			break
		}
		goal := inZone(p, goalZone)
		if goal && !inGoal && p.AtS >= start {
			enter = p.AtS
		}
		inGoal = goal
		if math.IsNaN(arrive) && p.AtS >= start && inZone(p, pickupZone) {
			arrive = p.AtS
		}
	}
	if v.world.recorder.clean("pose/x") == nil || math.IsNaN(enter) {
		return out
	}
	taken := math.NaN()
	for _, p := range v.report.Passes {
		if p.Piece == id && p.EnterS != nil {
			taken = *p.EnterS
		}
	}
	out.PlaceS = schemas.Some(end - enter)
	switch {
	case taken < start: // it was in the path when the cycle began: nothing to fetch
		out.ReturnS, out.CollectS, out.CarryS = schemas.Some(0), schemas.Some(0), schemas.Some(enter-start)
	default:
		out.ReturnS = schemas.Some(arrive - start)
		out.CollectS = schemas.Some(taken - arrive)
		out.CarryS = schemas.Some(enter - taken)
	}
	return out
}

// slow marks the complete cycles that the scenario made longer on purpose, or a jam did, by
// a third of the undisturbed ones and 3 s at least.
func (v view) slow() {
	cycles := v.report.Cycles
	var usual []float64
	why := make([]string, len(cycles))
	complete := 0
	for i, c := range cycles {
		for _, j := range v.report.Jams {
			if j.StartS < c.EndS && j.EndS > c.StartS {
				why[i] = "jam"
			}
		}
		for _, t := range v.world.troubles {
			if start := v.world.begin + t.start; why[i] == "" && c.StartS <= start && start < c.EndS {
				why[i] = t.why
			}
		}
		if c.Complete {
			complete++
			if why[i] == "" && c.Period == schemas.PeriodDriver {
				usual = append(usual, c.DurationS)
			}
		}
	}
	if complete < 6 || len(usual) == 0 {
		return
	}
	slices.Sort(usual)
	median := usual[len(usual)/2]
	for i := range cycles {
		c := &cycles[i]
		if c.Complete && why[i] != "" && c.DurationS > 1.33*median && c.DurationS > median+3 {
			c.Slow, c.Why = true, &why[i]
		}
	}
}

// autonomous is what was scored in it and where it ended.
func (v view) autonomous() {
	for _, p := range v.report.Match.Periods {
		if p.Name != schemas.PeriodAutonomous {
			continue
		}
		out := &v.report.Autonomous
		out.StartS, out.EndS = schemas.Some(p.StartS), schemas.Some(p.EndS)
		pieces := 0
		for _, c := range v.report.Cycles {
			if c.Period == p.Name && c.Complete {
				pieces += c.Pieces
				out.ScoresS = append(out.ScoresS, c.EndS)
			}
		}
		out.Pieces = &pieces
		if v.world.recorder.clean("pose/x") == nil {
			return
		}
		for _, at := range v.world.track {
			if at.AtS <= p.EndS {
				out.EndX, out.EndY = schemas.Some(at.X), schemas.Some(at.Y)
			}
		}
	}
}

// zone is an upright rectangle of the field, m.
type zone struct{ x0, y0, x1, y1 float64 }

var (
	pickupZone = zone{0, 0, pickupX, 3}
	goalZone   = zone{goalX, 0, 14, 4}
)

func inZone(p schemas.TrackedAt, z zone) bool {
	return z.x0 <= p.X && p.X <= z.x1 && z.y0 <= p.Y && p.Y <= z.y1
}
