package explain

import (
	"encoding/json"
	"errors"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/cycles"
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

func some(v float64) *float64 { return &v }

const robot = `
profile: 1
robot: heron
power: {voltage: power/voltage, brownout: {enter_v: 6.8, leave_v: 7.4}}
path: {stages: [{name: gate, sensor: path/gate/beam, command: path/gate/command}]}
cycles: {score: game/score}
balance: {tilt: imu/pitch, mount_deg: 6, level_deg: 2.5, hold_s: 1}
moves: [{name: arm, position: arm/position, target: arm/target, within: 0.02}]
`

func input(t *testing.T, r *schemas.Report) Input {
	t.Helper()
	p, err := profile.Parse("robot.yaml", []byte(robot))
	require.NoError(t, err)
	r.Match.StartS, r.Match.EndS = 10, 150
	return Input{Report: r, Profile: p}
}

// stuck is a report with one jam, whose evidence adds up to a little over nothing.
func stuck(t *testing.T) Input {
	piece := 4
	in := input(t, &schemas.Report{
		Jams: []schemas.Jam{{Stage: "gate", StartS: 50, EndS: 52, Cleared: true, How: "moved_on", Piece: &piece, Weighed: []schemas.Weighed{
			{Kind: schemas.WeighedPrior, What: "one piece in 50 jams at a stage", LogOdds: -3.9}, {Kind: schemas.WeighedTime, What: "driven 1.10 s where 0.50 s is usual", LogOdds: 5}, {Kind: schemas.WeighedBeam, What: "the beam flickers", LogOdds: -0.5},
		}}},
		Findings: []schemas.Finding{{ID: "jam-gate-1", Kind: "jam", Spans: []schemas.Span{{StartS: 50, EndS: 52}}}},
	})
	in.Jams = []path.Reason{{
		Followed: true, Told: true, Place: "in front of the beam of gate", CameS: 49, WentS: 52, DrivenS: 1.1, Block: some(0.98),
		Law: schemas.Law{UsualS: 0.5, In95S: 0.8, TookS: 1.1, ChanceLong: some(0.004)},
	}}
	return in
}

// The evidence must be what the probability is made of, to the last item.
func TestAJamsEvidenceAddsUp(t *testing.T) {
	e, err := Of(stuck(t), "jam-gate-1")
	require.NoError(t, err)
	require.Len(t, e.Events, 1)
	r := e.Events[0]
	sum := 0.0
	for _, a := range r.Weighed {
		sum += a.LogOdds
		assert.NotEmpty(t, a.Means)
	}
	assert.InDelta(t, 0.6, sum, 1e-9)
	assert.InDelta(t, sum, *r.LogOdds, 1e-9)
	assert.InDelta(t, math.Exp(0.6)/(1+math.Exp(0.6)), *r.Probability, 1e-9)
	assert.Equal(t, "what is believed before looking, for jams are rare: 49 to 1 against", r.Weighed[0].Means, "exp(3.9) is 49.4")
	assert.Equal(t, "the time it was driven, against how long pieces take here: 148 times likelier with a jam than without", r.Weighed[1].Means, "exp(5) is 148.4")
	assert.Equal(t, "then the beam is not to be trusted: 1.6 times less likely with a jam than without", r.Weighed[2].Means, "exp(0.5) is 1.65")
}

func TestOtherExplanationsOfAJam(t *testing.T) {
	in := stuck(t)
	because := func(what string) (text string, against *float64) {
		e, err := Of(in, "jam-gate-1")
		require.NoError(t, err)
		for _, a := range e.Events[0].Alternatives {
			if strings.Contains(a.What, what) {
				return a.Because, a.Against
			}
		}
		return "", nil
	}
	text, _ := because("on purpose")
	assert.Contains(t, text, "driven for 1.10 s")
	text, against := because("slow")
	assert.Contains(t, text, "once in 250")
	assert.InDelta(t, 5, *against, 1e-9)
	text, against = because("sensor")
	assert.Contains(t, text, "this speaks for it: the beam flickers")
	assert.InDelta(t, -0.5, *against, 1e-9)
	in.Report.Jams[0].Weighed[2] = schemas.Weighed{Kind: schemas.WeighedQueue, What: "the piece ahead stood in the way", LogOdds: -3}
	text, against = because("waiting")
	assert.Contains(t, text, "the piece ahead stood in the way")
	assert.InDelta(t, -3, *against, 1e-9)
	text, against = because("sensor")
	assert.Contains(t, text, "probability of 0.980")
	assert.InDelta(t, math.Log(0.98/0.02), *against, 1e-9)
	in.Jams[0].Told = false
	text, _ = because("on purpose")
	assert.Contains(t, text, "cannot be ruled out")
}

// What would change the verdict is found by taking items away, not by their size.
func TestWhatWouldChangeTheVerdict(t *testing.T) {
	in := stuck(t)
	e, _ := Of(in, "jam-gate-1")
	change := strings.Join(e.Events[0].Change, " ")
	assert.Contains(t, change, `Without "driven 1.10 s where 0.50 s is usual" the probability would be 0.01.`)
	assert.NotContains(t, change, "flickers", "without it the verdict is the same")
	assert.Contains(t, change, "within 0.80 s of driving")
	in.Report.Jams[0].Weighed[1].LogOdds = 3
	in.Report.SuspectedJams, in.Report.Jams = in.Report.Jams, nil
	in.Suspected, in.Jams = in.Jams, nil
	in.Report.Findings[0].ID = "jam-gate_suspected-1"
	e, err := Of(in, "jam-gate_suspected-1")
	require.NoError(t, err)
	require.Len(t, e.Events, 1)
	assert.Contains(t, e.Events[0].Change[0], "Evidence of 1.4 more for it: then it would be believed.")
}

func TestAnUnknownIDNamesTheKnownOnes(t *testing.T) {
	_, err := Of(stuck(t), "jam-lift-1")
	var unknown *UnknownError
	require.True(t, errors.As(err, &unknown))
	assert.Equal(t, `no finding "jam-lift-1": use jam-gate-1`, err.Error())
	_, err = Of(input(t, &schemas.Report{}), "x")
	assert.Equal(t, `no finding "x": the match has none`, err.Error())
}

// Every kind has a rule, numbers or readings, at least one other explanation, and something
// that would change the verdict.
func TestEveryKindIsExplained(t *testing.T) {
	why, jam := "collect", "jam"
	span := []schemas.Span{{StartS: 50, EndS: 60}}
	in := input(t, &schemas.Report{
		Usual:     schemas.Usual{CycleS: some(5), LowS: some(4), HighS: some(6), Cycles: 9, Source: "this match"},
		Cycles:    []schemas.Cycle{{Kind: "score", Period: "driver", StartS: 50, EndS: 60, DurationS: 10, Complete: true, Slow: true, Why: &why, ExcessS: some(5), P: some(0.001), Phases: schemas.Phases{CollectS: some(6), CarryS: some(1)}, PhaseP: schemas.PhaseChances{Collect: some(0.002)}, Events: []schemas.CycleEvent{{What: cycles.EventMissed, Phase: "collect", StartS: 51, EndS: 54, Times: 2}}}, {Kind: "score", Why: &jam}},
		Brownouts: []schemas.Brownout{{StartS: 50, EndS: some(50.2), MinV: 6.1, MinAtS: 50.1, Cause: "weak_battery", Branches: []schemas.Share{{Name: "drive left", Share: 0.4}}}},
		Battery:   schemas.Battery{ResistanceOhm: some(0.05), ResistanceLowOhm: some(0.045), ResistanceHighOhm: some(0.055), OpenCircuitV: some(12.3), RestV: some(12.1)},
		Balances:  []schemas.Balance{{StartS: 50, EndS: 60, Outcome: "ran_out", Overshoots: 5, PeakDeg: 12, Swings: []schemas.Swing{{AtS: 52, Tilt: -8}}, Model: &schemas.BalanceModel{StartS: 51, EndS: 59, ErrorDeg: 0.2}}},
		Moves:     []schemas.Move{{Name: "arm", StartS: 50, EndS: 60, From: 0, To: 1, Outcome: "short", PeakA: some(20)}},
		Quality:   schemas.Quality{Faults: []schemas.Fault{{Signal: "path/gate/beam", Kind: "stuck true", StartS: 50, EndS: 60, Note: "blocked for 10.0 s by no piece"}}},
		StandbyDraws: []schemas.StandbyDraw{
			{Branch: "lift", Signal: "power/branch/3", StartS: 50, EndS: 60, MedianA: 7},
		},
		Findings: []schemas.Finding{
			{ID: "slow_cycle-cycle_1-1", Kind: "slow_cycle", StartS: 50, EndS: 60},
			{ID: "brownout-supply-1", Kind: "brownout"},
			{ID: "battery-b3-1", Kind: "battery"},
			{ID: "balance-peel-1", Kind: "balance", StartS: 50, EndS: 60},
			{ID: "move-arm-1", Kind: "move", Title: "The arm stopped short.", Spans: span},
			{ID: "move-arm_swings-1", Kind: "move", Title: "The arm goes far past its target, on three of eight moves.", Spans: span, Because: "At 0:40 it went 0.300 past 1.00."},
			{ID: "sensor-gate-1", Kind: "sensor", Evidence: []schemas.Evidence{{Signal: "path/gate/beam", StartS: 50, EndS: 60, Note: "stuck true"}}},
			{ID: "sensor-missing-1", Kind: "sensor", Because: "Missing: x."},
			{ID: "motor-lift-1", Kind: "motor", Spans: span},
			{ID: "autonomous-end-1", Kind: "autonomous", Because: "It scored one."},
			{ID: "data_gap-match-1", Kind: "data_gap", StartS: 50, EndS: 60, Title: "10.0 s are missing.", Because: "Nothing came."},
			{ID: "data_gap-end-1", Kind: "data_gap", Title: "The log stops.", Because: "It stops."},
		},
	})
	in.Cycles = []cycles.Reason{{Weighed: []schemas.Weighed{{Kind: schemas.WeighedPrior, What: "before", LogOdds: -2}, {Kind: schemas.WeighedTime, What: "how long it took", LogOdds: 5}}}, {}}
	in.Dips = []power.Judged{{Cause: "weak_battery", CurrentA: some(120), HealthyV: some(9.4), SoundV: some(12.4), SoundOhm: some(0.025), ExpectedV: some(6.3), UnexplainedV: some(0.2)}}
	for _, f := range in.Report.Findings {
		t.Run(f.ID, func(t *testing.T) {
			e, err := Of(in, f.ID)
			require.NoError(t, err)
			require.Len(t, e.Events, 1)
			r := e.Events[0]
			assert.NotEmpty(t, r.Title)
			assert.NotEmpty(t, r.Rule)
			assert.NotZero(t, len(r.Numbers)+len(r.Observed))
			assert.NotEmpty(t, r.Alternatives)
			assert.NotEmpty(t, r.Change)
			assert.NotContains(t, strings.Join(r.Observed, " ")+r.Rule, "%!")
		})
	}
	e, _ := Of(in, "move-arm_swings-1")
	assert.Contains(t, e.Events[0].Rule, "a quarter of the way past")
	e, _ = Of(in, "brownout-supply-1")
	assert.Contains(t, e.Events[0].Rule, "below 6.80 V until it is at or above 7.40 V")
	assert.Contains(t, e.Events[0].Change[0], "over 224 A", "(12.4 V - 6.8 V) / 0.025 ohm")
	for _, a := range e.Events[0].Alternatives {
		assert.Equal(t, a.What == "a weak battery", strings.HasPrefix(a.Because, "taken: "), a.What)
	}
	for want, s := range map[string]schemas.Share{
		"Without lift it would not have dipped (95 %), nor with lift held to 41 A, all else as it was.": {Name: "lift", Share: 0.5, Necessary: "yes", LimitA: some(41.9)},
		"Without lift it would not have dipped (95 %), all else as it was.":                             {Name: "lift", Share: 0.5, Necessary: "yes"},
		"Without lift it would have dipped all the same (95 %).":                                        {Name: "lift", Share: 0.5, Necessary: "no"},
		"Whether it would have dipped without lift the log cannot tell.":                                {Name: "lift", Share: 0.5},
		"": {Name: "lift", Share: 0.01, Necessary: "no"},
	} {
		assert.Equal(t, want, without(s))
	}
	for want, volts := range map[string][2]float64{
		"it took both": {7.5, 9}, "either of the two alone would have brought it": {6, 6.5}, "too near to tell": {6.7, 9},
	} {
		in.Report.Brownouts[0].Cause = ""
		in.Dips[0].TightV, in.Dips[0].BehindV = some(volts[0]), some(volts[1])
		e, _ = Of(in, "brownout-supply-1")
		last := e.Events[0].Alternatives[3]
		assert.Equal(t, "connection and battery together", last.What)
		assert.Contains(t, last.Because, want)
	}
	assert.Empty(t, shared(schemas.Brownout{Branches: []schemas.Share{{Name: "lift", Share: 1}}}))
	assert.Equal(t, []string{
		"In no measured branch were 12 % of the current.",
		"Their fair parts of what the supply fell short of the cut-off (Shapley's): lift 0.31 V.",
		"With the currents read one sample earlier or later a branch's part changes by up to 7 % of the whole.",
	}, shared(schemas.Brownout{OtherShare: some(0.12), ShareShift: some(0.07), Branches: []schemas.Share{{Name: "lift", ShortfallV: some(0.31)}, {Name: "fan", ShortfallV: some(0.001)}}}))
	e, _ = Of(in, "slow_cycle-cycle_1-1")
	slow := e.Events[0]
	assert.Contains(t, slow.Observed, "From 41.00 s to 44.00 s, in the collect phase, it backed off from the piece, 2 times.")
	assert.Contains(t, slow.Observed, "By the law of the other trips' collect phases, one takes 6.0 s once in 500.")
	require.Len(t, slow.Weighed, 2)
	assert.Equal(t, "what is believed before looking: 7.4 to 1 against", slow.Weighed[0].Means)
	assert.InDelta(t, 1/(1+math.Exp(-3)), *slow.Probability, 1e-9, "-2 and 5")
	assert.Contains(t, e.Events[0].Change[0], "Under 6.7 s", "the geometric middle of a fifth of the usual 5 s and 3 s over it")
}

// Every kind of evidence the report may hold is explained: as that of a jam, or of a slow cycle.
func TestEveryKindOfEvidenceHasAMeaning(t *testing.T) {
	var schema struct {
		Defs struct {
			Weighed struct {
				Properties struct {
					Kind struct{ Enum []string }
				}
			}
		} `json:"$defs"`
	}
	require.NoError(t, json.Unmarshal(schemas.ReportSchema(), &schema))
	kinds := schema.Defs.Weighed.Properties.Kind.Enum
	require.NotEmpty(t, kinds)
	for _, kind := range kinds {
		ofCycles := kind == schemas.WeighedJams || kind == schemas.WeighedLoss
		assert.Equal(t, !ofCycles, meanings[kind] != "", kind)
	}
	for kind := range meanings {
		assert.Contains(t, kinds, kind)
	}
}

// A lug that is loose for moments has other ends than one that always jumps, and is told by another rule.
func TestALooseConnectionIsExplainedByWhatWasSeen(t *testing.T) {
	in := input(t, &schemas.Report{
		Battery:  schemas.Battery{ResistanceOhm: some(0.03), ResistanceLowOhm: some(0.025), ResistanceHighOhm: some(0.035), LooseLowOhm: some(0.019), LooseHighOhm: some(0.09)},
		Findings: []schemas.Finding{{ID: "battery-b3-1", Kind: "battery"}},
	})
	for atTimes, want := range map[bool]string{false: "highest tenth", true: "when loose"} {
		in.Line = &power.LoadLine{TightOhm: 0.019, LooseOhm: 0.09, AtTimes: atTimes}
		e, err := Of(in, "battery-b3-1")
		require.NoError(t, err)
		r := e.Events[0]
		last := r.Numbers[len(r.Numbers)-1]
		assert.Equal(t, want, last.Name)
		assert.InDelta(t, 0.09, *last.Value, 0)
		assert.Equal(t, atTimes, strings.Contains(r.Rule, "at 3 times or more"), r.Rule)
		assert.Contains(t, r.Alternatives[1].Because, "0.019 ohm")
	}
}
