package analysis

import (
	"github.com/afterbell/afterbell/analysis/balance"
	"github.com/afterbell/afterbell/analysis/moves"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

func lookAtBalance(m *match) outcome {
	b := m.Profile.Balance
	if b == nil {
		return off("balance")
	}
	in := balance.Input{
		Tilt: m.float(b.Tilt, (*profile.Ref).Degrees), Rate: m.float(b.Rate, (*profile.Ref).DegreesPerSecond), Drive: m.float(b.Drive, (*profile.Ref).Command),
		MountDeg: b.MountDeg, LevelDeg: b.LevelDeg, HoldS: b.HoldS,
		Periods: m.report.Match.Periods, Start: m.start, End: m.end,
	}
	in.X, in.Y, in.Heading = m.pose()
	if in.Tilt == nil || len(in.Tilt.T) == 0 {
		return m.without("tilt")
	}
	out := balance.Detect(in, balance.DefaultConfig())
	m.report.Balances = out.Balances
	m.note(out.Notes)
	return outcome{}
}

func lookAtMoves(m *match) outcome {
	if len(m.Profile.Moves) == 0 {
		return off("moves")
	}
	in := moves.Input{Periods: m.report.Match.Periods, Start: m.start, End: m.end}
	for i := range m.Profile.Moves {
		mech := m.mechanism(&m.Profile.Moves[i])
		if mech.Position != nil && mech.Target != nil {
			in.Mechanisms = append(in.Mechanisms, mech)
		}
	}
	if len(in.Mechanisms) == 0 {
		return m.without("no mechanism has both position and target")
	}
	for _, h := range m.History {
		in.History = append(in.History, h.Moves)
	}
	out := moves.Detect(in, moves.DefaultConfig())
	m.report.Moves, m.report.Mechanisms = out.Moves, out.Mechanisms
	m.note(out.Notes)
	return outcome{}
}

// mechanism binds what a move is; a signal that the log does not have is nil.
func (m *match) mechanism(p *profile.Move) moves.Mechanism {
	mech := moves.Mechanism{Name: p.Name, Current: m.float(p.Current, (*profile.Ref).Amps), Within: p.Within}
	mech.Position = m.float(p.Position, func(_ *profile.Ref, log *schemas.Log) (*series.Float, error) {
		position, _, err := p.Bind(log)
		return position, err
	})
	mech.Target = m.float(p.Target, func(_ *profile.Ref, log *schemas.Log) (*series.Float, error) {
		_, target, err := p.Bind(log)
		return target, err
	})
	return mech
}
