package season

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
)

// MatchOf is what of the tables of a match counts for the season. The event's name says whether it
// was practice.
func MatchOf(event string, m tables.Match, stages []tables.Stage, mechanisms []tables.Mechanism) Match {
	out := Match{
		Event: event, Practice: schemas.IsPractice(event), DriverS: m.DriverS, RunS: m.AutonomousS + m.DriverS,
		CycleS: m.CycleS, LowestV: m.LowestV, BalanceSettleS: m.BalanceSettleS, AutonomousPieces: whole64(m.AutonomousPieces),
		Resistance: Reading{m.ResistanceOhm, m.ResistanceLowOhm, m.ResistanceHighOhm},
		OpenV:      Reading{m.OpenCircuitV, m.OpenCircuitLowV, m.OpenCircuitHighV},
	}
	for _, d := range m.CycleTimesS {
		out.Cycles = append(out.Cycles, stat.Lasted{Time: d, Complete: true})
	}
	for _, d := range m.CutOffS {
		out.Cycles = append(out.Cycles, stat.Lasted{Time: d})
	}
	if m.Battery != nil {
		out.Battery = *m.Battery
	}
	if m.BalanceAttempts != nil && m.BalanceLevel != nil {
		out.Attempts, out.Level = int(*m.BalanceAttempts), int(*m.BalanceLevel)
	}
	for _, s := range stages {
		out.Stages = append(out.Stages, Stage{
			Name: s.Stage, Passes: int(s.Passes), Jams: int(s.Jams), Reversals: int(s.Reversals), TransitS: s.TransitS, FreeA: s.FreeA,
		})
	}
	for _, a := range mechanisms {
		out.Mechanisms = append(out.Mechanisms, Mechanism{Name: a.Name, SettleS: a.SettleS})
	}
	return out
}

func whole64(v *int64) *int {
	if v == nil {
		return nil
	}
	n := int(*v)
	return &n
}
