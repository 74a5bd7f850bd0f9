package main

import (
	"encoding/json"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// The sample logs are of matches that never were, made by sample-logs/sim, which knows what
// was true and shares no code with the analyses. So this is a net that catches a change for
// the worse, seed by seed the same; it is no score, and says nothing about real robots.
// The tolerances are those of what each thing is used for, not of what is reached today.
func TestSampleLogsAgainstTheirTruth(t *testing.T) {
	for _, s := range samples {
		t.Run(s.name, func(t *testing.T) {
			var truth schemas.Report
			require.NoError(t, json.Unmarshal(readSample(t, s.name+".truth.json"), &truth))
			log := readLog(t, sample(s.log))
			got := reportIn(t, sampleAnalysis(t, s.name).stdout)

			assert.Equal(t, truth.Quality.Samples, got.Quality.Samples)
			assert.Equal(t, truth.Quality.Signals, got.Quality.Signals)
			assert.Empty(t, got.Quality.Missing)
			samePeriods(t, truth.Match, got.Match)
			sameJams(t, truth.Jams, got.Jams)
			samePasses(t, truth.Passes, got.Passes)
			sameBrownouts(t, truth.Brownouts, got.Brownouts, log.Find("power/voltage"))
			sameBattery(t, truth.Battery, got.Battery)
			sameCycles(t, truth.Cycles, got.Cycles)
			sameBalances(t, truth.Balances, got.Balances)
			sameMoves(t, truth.Moves, got.Moves)
			sameMotors(t, truth.Motors, got.Motors)
			sameAutonomous(t, truth.Autonomous, got.Autonomous)
			sameGaps(t, truth.Quality.Gaps, got.Quality.Gaps)
			onlyKnownFindings(t, &truth, got.Findings)
		})
	}
}

func samePeriods(t *testing.T, want, got schemas.Match) {
	t.Helper()
	assert.Equal(t, want.Periods, got.Periods)
	assert.Equal(t, [2]float64{want.StartS, want.EndS}, [2]float64{got.StartS, got.EndS})
}

// sameJams: each jam at its stage or, where its piece stands between two sensors, at the
// next; start and end within 0.3 s, the shortest stop that is a jam; and no others.
func sameJams(t *testing.T, want, got []schemas.Jam) {
	t.Helper()
	if !assert.Len(t, got, len(want), "%+v", got) {
		return
	}
	for i, w := range want {
		g := got[i]
		assert.Equal(t, w.Stage, g.Stage)
		assert.InDelta(t, w.StartS, g.StartS, 0.3)
		assert.InDelta(t, w.EndS, g.EndS, 0.3)
		assert.Equal(t, w.Cleared, g.Cleared)
		assert.GreaterOrEqual(t, g.Confidence, 0.5)
	}
}

// samePasses: as many pieces, in the order they came in, with the same outcomes. Two
// pieces that come in within half a second may be told in the other order.
func samePasses(t *testing.T, want, got []schemas.Pass) {
	t.Helper()
	outcomes := func(passes []schemas.Pass) map[string]int {
		out := map[string]int{}
		for _, p := range passes {
			out[p.Outcome]++
		}
		return out
	}
	assert.Equal(t, outcomes(want), outcomes(got))
	if !assert.Len(t, got, len(want)) {
		return
	}
	for i, w := range want {
		if w.EnterS != nil && got[i].EnterS != nil {
			assert.InDelta(t, *w.EnterS, *got[i].EnterS, 0.5, "piece %d", w.Piece)
		}
	}
}

// sameBrownouts: start and end within one sample of the voltage.
func sameBrownouts(t *testing.T, want, got []schemas.Brownout, voltage *schemas.Signal) {
	t.Helper()
	if !assert.Len(t, got, len(want)) {
		return
	}
	for i, w := range want {
		g := got[i]
		assert.InDelta(t, w.StartS, g.StartS, stepAt(voltage, w.StartS))
		require.Equal(t, w.EndS == nil, g.EndS == nil)
		if w.EndS != nil {
			assert.InDelta(t, *w.EndS, *g.EndS, stepAt(voltage, *w.EndS))
		}
		assert.InDelta(t, w.MinV, g.MinV, 0.1)
		assert.Equal(t, w.Period, g.Period)
	}
}

// stepAt is the longest step of the signal next to a time, in s, and a hair.
func stepAt(s *schemas.Signal, at float64) float64 {
	us, longest := schemas.Micros(at), int64(0)
	for i := 1; i < s.Len(); i++ {
		if s.Time[i] >= us && s.Time[i-1] <= us {
			longest = max(longest, s.Time[i]-s.Time[i-1])
		}
	}
	return schemas.Seconds(longest) + 1e-6
}

// sameBattery: the true resistance in the interval, or the estimate within 3 % of it.
func sameBattery(t *testing.T, want, got schemas.Battery) {
	t.Helper()
	assert.Equal(t, want.ID, got.ID)
	require.Equal(t, want.ResistanceOhm == nil, got.ResistanceOhm == nil, got.Reason)
	if want.ResistanceOhm != nil {
		r := *want.ResistanceOhm
		inside := *got.ResistanceLowOhm <= r && r <= *got.ResistanceHighOhm
		assert.True(t, inside || math.Abs(*got.ResistanceOhm-r) <= 0.03*r,
			"%v Ω is not in %v to %v", r, *got.ResistanceLowOhm, *got.ResistanceHighOhm)
		assert.InEpsilon(t, *want.EnergyWh, *got.EnergyWh, 0.02)
		assert.InEpsilon(t, *want.ChargeAh, *got.ChargeAh, 0.02)
	}
	require.Equal(t, want.RestV == nil, got.RestV == nil)
	if want.RestV != nil {
		assert.InDelta(t, *want.RestV, *got.RestV, 0.05)
	}
}

func sameCycles(t *testing.T, want, got []schemas.Cycle) {
	t.Helper()
	if !assert.Len(t, got, len(want)) {
		return
	}
	for i, w := range want {
		g := got[i]
		assert.Equal(t, []any{w.Kind, w.Pieces, w.Period, w.Complete, w.Slow, w.Why}, []any{g.Kind, g.Pieces, g.Period, g.Complete, g.Slow, g.Why}, "cycle at %v", w.StartS)
		assert.InDelta(t, w.StartS, g.StartS, 1e-6)
		assert.InDelta(t, w.EndS, g.EndS, 1e-6)
		assert.InDelta(t, w.DurationS, g.DurationS, 1e-6)
	}
}

func sameBalances(t *testing.T, want, got []schemas.Balance) {
	t.Helper()
	if !assert.Len(t, got, len(want)) {
		return
	}
	for i, w := range want {
		g := got[i]
		assert.Equal(t, w.Outcome, g.Outcome)
		assert.InDelta(t, w.StartS, g.StartS, 0.1)
		assert.InDelta(t, w.EndS, g.EndS, 0.1)
		require.Equal(t, w.SettleS == nil, g.SettleS == nil)
		if w.SettleS != nil {
			assert.InDelta(t, *w.SettleS, *g.SettleS, 0.1)
		}
		assert.Equal(t, w.Overshoots, g.Overshoots)
	}
}

// sameMotors: the motors of the path have the resistance and the constant that they had, to a
// tenth and a hundredth, and stood as long as they did, to a third of a second or 3 %.
func sameMotors(t *testing.T, want, got []schemas.Motor) {
	t.Helper()
	for _, w := range want {
		for _, g := range got {
			if g.Name != w.Name {
				continue
			}
			if g.ResistanceOhm != nil {
				assert.InEpsilon(t, *w.ResistanceOhm, *g.ResistanceOhm, 0.1, w.Name)
				assert.InEpsilon(t, *w.ConstantVS, *g.ConstantVS, 0.01, w.Name)
			}
			assert.NotEqual(t, schemas.CurrentSupply, g.Side, w.Name)
			assert.InDelta(t, *w.StalledS, *g.StalledS, max(0.35, 0.03**w.StalledS), w.Name)
			assert.Empty(t, g.Unpowered, w.Name)
			assert.Empty(t, g.Idle, w.Name)
		}
	}
}

// sameMoves: every change of the target is a move, with the same end. Of the last one that
// is not asked: behind the match the robot is disabled and its lift sinks, which the truth
// counts and an analysis need not.
func sameMoves(t *testing.T, want, got []schemas.Move) {
	t.Helper()
	if !assert.Len(t, got, len(want)) {
		return
	}
	for i, w := range want {
		g := got[i]
		assert.Equal(t, w.Name, g.Name)
		assert.InDelta(t, w.StartS, g.StartS, 0.1)
		assert.InDelta(t, w.To, g.To, 1e-6)
		if i+1 < len(want) {
			assert.Equal(t, w.Outcome, g.Outcome, "move at %v", w.StartS)
		}
	}
}

func sameAutonomous(t *testing.T, want, got schemas.Autonomous) {
	t.Helper()
	if want.Pieces == nil {
		return
	}
	if assert.NotNil(t, got.Pieces) {
		assert.Equal(t, *want.Pieces, *got.Pieces)
	}
}

// sameGaps: the stretches in which nothing at all came. A camera that sees its target only
// now and then has gaps of its own.
func sameGaps(t *testing.T, want, got []schemas.Gap) {
	t.Helper()
	var all []schemas.Gap
	for _, g := range got {
		if g.Signal == "" {
			all = append(all, g)
		}
	}
	assert.Equal(t, len(want), len(all))
	for i := range min(len(want), len(all)) {
		assert.Equal(t, want[i], all[i])
	}
}

// onlyKnownFindings: nothing that would send a crew to a robot that has nothing. What is
// only to be watched may be wrong now and then, and says so by its confidence.
func onlyKnownFindings(t *testing.T, truth *schemas.Report, got []schemas.Finding) {
	t.Helper()
	unlevel := false
	for _, b := range truth.Balances {
		unlevel = unlevel || b.Outcome != schemas.BalanceLevel
	}
	slow := false // for another reason than a jam, which is said where the jam is
	for _, c := range truth.Cycles {
		slow = slow || c.Slow && (c.Why == nil || *c.Why != "jam")
	}
	happened := map[string]bool{
		"jam": len(truth.Jams) > 0, "brownout": len(truth.Brownouts) > 0, "battery": len(truth.Brownouts) > 0,
		"balance": unlevel, "slow_cycle": slow, "data_gap": len(truth.Quality.Gaps) > 0,
	}
	seen := map[string]bool{}
	for _, f := range got {
		seen[f.Kind] = true
		if f.Severity != schemas.SeverityWatch || f.Confidence >= 0.5 {
			assert.True(t, happened[f.Kind], "%s: %s (%s, %.2f)", f.Kind, f.Title, f.Severity, f.Confidence)
		}
	}
	for _, kind := range strings.Fields("jam brownout balance slow_cycle") {
		assert.True(t, !happened[kind] || seen[kind], "no finding tells of the %s", kind)
	}
}
