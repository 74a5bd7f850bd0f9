package explain

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/findings"
	"github.com/afterbell/afterbell/schemas"
)

// Every finding about a motor that package findings can make is explained by a rule of its
// own, with what else it may be.
func TestEveryMotorFindingIsExplained(t *testing.T) {
	stalls := []schemas.Stall{{StartS: 50, EndS: 53, MeanA: 30}}
	usual := schemas.Motor{
		Name: "gate", Current: "path/gate/current", ResistanceOhm: some(0.5), ResistanceLowOhm: some(0.49), ResistanceHighOhm: some(0.51), ConstantVS: some(0.3), Side: "winding",
		UsualResistanceOhm: some(0.3), SpreadResistanceOhm: some(0.01), UsualMatches: 3,
	}
	hard := usual
	hard.ResistanceOhm, hard.FreeA, hard.UsualFreeA, hard.SpreadFreeA = some(0.3), some(5), some(2), some(0.1)
	twin := schemas.Motor{Name: "other", ConstantVS: some(0.4), ConstantLowVS: some(0.39), ConstantHighVS: some(0.41)}
	rules := map[string]bool{}
	for _, m := range []schemas.Motor{
		{Heat: some(1.2), HeatAtS: some(60), LimitA: some(20), TauS: some(30)},
		{Heat: some(0.9), HeatAtS: some(60), LimitA: some(20), TauS: some(30)},
		{StalledS: some(3), Stalls: stalls},
		{Twin: "other", TwinShare: some(0.1), TwinShareLow: some(0.05), TwinShareHigh: some(0.15)},
		{Unpowered: stalls},
		{Idle: stalls},
		usual,
		hard,
		{Twin: "other", TwinShare: some(0.6), TwinShareLow: some(0.58), TwinShareHigh: some(0.62), ConstantVS: some(0.3), ConstantLowVS: some(0.29), ConstantHighVS: some(0.31)},
	} {
		m.Name, m.Current = "gate", "path/gate/current"
		in := input(t, &schemas.Report{Motors: []schemas.Motor{m, twin}})
		in.Report.Findings, _ = findings.Build(findings.Input{Report: in.Report, Profile: in.Profile, LogEnd: 160})
		require.Len(t, in.Report.Findings, 1, "%+v", m)
		f := in.Report.Findings[0]
		e, err := Of(in, f.ID)
		require.NoError(t, err)
		require.Len(t, e.Events, 1)
		assert.NotEmpty(t, e.Events[0].Rule, f.Title)
		assert.NotEmpty(t, e.Events[0].Alternatives, f.Title)
		assert.Contains(t, e.Events[0].Observed, f.Because)
		rules[e.Events[0].Rule] = true
	}
	assert.Len(t, rules, 8, "both about heat share one")
}
