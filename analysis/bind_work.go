package analysis

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// What a mechanism at work shows at least. All chosen by us.
const (
	driven     = 0.2 // command
	turning    = 0.1 // of the roller's highest speed
	travelling = 0.1 // of the mechanism's travel, within travelTime
	travelTime = 300_000
	workTime   = 200_000 // µs at a stretch; noise of a still one is beyond for a sample or two
	fewPieces  = 2       // went all the way through the path: its rollers turned
)

// atWork are the stretches in which others saw the mechanism at work that a sensor watches,
// by the sensor's role: a roller whose speed was read, or that was driven while pieces went
// through the path, and an arm or a lift that went somewhere.
func (m *match) atWork() map[string][]series.Interval {
	out := map[string][]series.Interval{}
	if p := m.Profile.Path; p != nil {
		through := m.through()
		for i := range p.Stages {
			s, role := &p.Stages[i], fmt.Sprintf("path.stages[%d].", i)
			works := through
			if command := quietly(m, s.Command, (*profile.Ref).Command); command != nil && through != nil {
				works = beyond(command, driven)
			}
			out[role+"speed"], out[role+"current"] = works, works
			speed := quietly(m, s.Speed, (*profile.Ref).RadiansPerSecond)
			if top := largest(speed); top > 0 {
				out[role+"current"] = beyond(speed, turning*top)
			}
		}
	}
	for i := range m.Profile.Moves {
		p := &m.Profile.Moves[i]
		if position, _, err := p.Bind(m.Log); err == nil && position != nil {
			out[fmt.Sprintf("moves[%d].current", i)] = travels(m.believed(p.Position, position))
		}
	}
	return out
}

// through are the stretches in which pieces went all the way through the path, nil with too
// few to say that its rollers turn.
func (m *match) through() []series.Interval {
	var out []series.Interval
	for _, p := range m.report.Passes {
		if p.Outcome != schemas.PassReleased || p.EnterS == nil {
			continue
		}
		i := series.Interval{Start: schemas.Micros(*p.EnterS), End: schemas.Micros(*p.EnterS)}
		for _, s := range p.Stages {
			for _, at := range []*float64{s.LeaveS, s.LeaveEstS} {
				if at != nil {
					i.End = max(i.End, schemas.Micros(*at))
				}
			}
		}
		out = append(out, i)
	}
	if len(out) < fewPieces {
		return nil
	}
	return out
}

// quietly binds a number that another analysis has bound already, and told when it is missing.
func quietly(m *match, r *profile.Ref, bind func(*profile.Ref, *schemas.Log) (*series.Float, error)) *series.Float {
	if r == nil {
		return nil
	}
	s, err := bind(r, m.Log)
	if err != nil {
		return nil
	}
	return s
}

func largest(s *series.Float) float64 {
	top := 0.0
	if s != nil {
		for _, v := range s.V {
			top = max(top, math.Abs(v))
		}
	}
	return top
}

// beyond are the stretches of workTime and longer in which the size of a signal is least or more.
func beyond(s *series.Float, least float64) []series.Interval {
	on := series.Bool{T: s.T, V: make([]bool, len(s.V))}
	for i, v := range s.V {
		on.V[i] = math.Abs(v) >= least
	}
	if len(s.T) == 0 {
		return nil
	}
	return slices.DeleteFunc(on.Runs(s.T[len(s.T)-1]), func(i series.Interval) bool { return i.Len() < workTime })
}

// travels are the stretches in which a position changed by a good part of all its travel.
func travels(s *series.Float) []series.Interval {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range s.V {
		low, high = min(low, v), max(high, v)
	}
	moves := series.Float{T: s.T, V: make([]float64, len(s.V))}
	for i, k := range s.T {
		if j := series.Before(s.T, k-travelTime); j >= 0 {
			moves.V[i] = s.V[i] - s.V[j]
		}
	}
	if high <= low {
		return nil
	}
	return beyond(&moves, travelling*(high-low))
}
