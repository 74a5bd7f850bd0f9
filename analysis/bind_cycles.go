package analysis

import (
	"github.com/afterbell/afterbell/analysis/autonomous"
	"github.com/afterbell/afterbell/analysis/cycles"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

func lookAtCycles(m *match) outcome {
	c := m.Profile.Cycles
	if c == nil {
		return off("cycles")
	}
	in := cycles.Input{
		Score: m.float(c.Score, (*profile.Ref).Float), Handover: m.float(c.Handover, (*profile.Ref).Float),
		Zones: c.Zones, Passes: m.report.Passes, Jams: m.report.Jams,
		Modes: periodsOf(m.Match.Modes), Periods: m.report.Match.Periods, Start: m.start, End: m.end,
		NoMode: m.wholeLog(),
	}
	in.X, in.Y, _ = m.pose()
	in.Brownouts = m.report.Brownouts
	if a := c.Align; a != nil {
		in.AimError, in.AimGoodM, in.Assist = m.float(a.Error, (*profile.Ref).Metres), a.Good, m.bool(a.Assist)
	}
	if b := m.Profile.Balance; b != nil {
		in.Drive = m.float(b.Drive, (*profile.Ref).Command)
	}
	if in.Score == nil || len(in.Score.T) == 0 {
		return m.without("score counter")
	}
	for _, h := range m.History {
		in.History = append(in.History, cycles.History{
			Match: h.Match.Season + "/" + h.Match.Event + "/" + h.Match.Match, Cycles: h.Cycles,
		})
	}
	out := cycles.Detect(in, cycles.DefaultConfig())
	m.report.Cycles, m.report.Usual, m.report.Placing = out.Cycles, out.Usual, out.Placing
	for i := range m.report.Passes {
		p := &m.report.Passes[i]
		if was, ok := out.Counted[p.Piece]; ok && p.Outcome == schemas.PassReleased {
			p.Counted = &was
		}
	}
	m.why.Cycles = out.Reasons
	m.note(out.Notes)
	return outcome{}
}

// wholeLog says whether the log is one period from end to end, as when nothing says when the
// robot was driven.
func (m *match) wholeLog() bool {
	p := m.report.Match.Periods
	return len(p) == 1 && schemas.Micros(p[0].StartS) <= m.start && schemas.Micros(p[0].EndS) >= m.end
}

// pose is where the robot was; all nil when the profile has none.
func (m *match) pose() (x, y, heading *series.Float) {
	if m.Profile.Cycles == nil || m.Profile.Cycles.Pose == nil {
		return nil, nil, nil
	}
	p := m.Profile.Cycles.Pose
	return m.float(p.X, (*profile.Ref).Metres), m.float(p.Y, (*profile.Ref).Metres), m.float(p.Heading, (*profile.Ref).Radians)
}

func lookAtAutonomous(m *match) outcome {
	if m.Profile.Cycles == nil {
		return off("cycles")
	}
	in := autonomous.Input{
		Score: m.float(m.Profile.Cycles.Score, (*profile.Ref).Float),
		Modes: periodsOf(m.Match.Modes), Periods: m.report.Match.Periods,
	}
	in.X, in.Y, in.Heading = m.pose()
	if in.Score == nil && in.X == nil {
		return m.without("score or pose")
	}
	if m.Profile.Mode == nil {
		return outcome{Reason: "the profile has no mode section, so no autonomous period is known"}
	}
	for _, h := range m.History {
		in.History = append(in.History, h.Autonomous)
	}
	m.report.Autonomous = autonomous.Detect(in, autonomous.DefaultConfig())
	return outcome{}
}
