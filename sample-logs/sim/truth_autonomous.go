package sim

import "github.com/afterbell/afterbell/schemas"

// autonomous is what was scored in it, a time for each piece, and where the robot ended.
func (v view) autonomous() {
	for _, p := range v.report.Match.Periods {
		if p.Name != schemas.PeriodAutonomous {
			continue
		}
		out := &v.report.Autonomous
		out.StartS, out.EndS = schemas.Some(p.StartS), schemas.Some(p.EndS)
		pieces := 0
		for _, c := range v.report.Cycles {
			if c.Kind != "score" || c.Period != p.Name || !c.Complete {
				continue
			}
			pieces += c.Pieces
			for range c.Pieces {
				out.ScoresS = append(out.ScoresS, c.EndS)
			}
		}
		if v.world.recorder.clean("game/score") != nil {
			out.Pieces = &pieces
		}
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
