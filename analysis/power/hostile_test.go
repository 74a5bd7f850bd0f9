package power

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Motors that brake feed current back: the line goes on below 0 A and the same resistance
// holds there.
func TestResistanceOfARobotThatFeedsBack(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 3))
	load := drive(rng, 90)
	for k := range load {
		if s := float64(k) * fine; math.Mod(s, 4) > 3.6 {
			load[k] = -40
		}
	}
	volts, amps := board(50, 0)
	in := Input{
		Voltage: volts.read(rng, healthy.volts(load, fine)), Current: amps.read(rng, load), EnterV: 6.8, LeaveV: 7.4, End: 90_000_000,
		Branches: []Branch{{"drive", amps.read(rng, load)}},
	}
	b := Detect(in, DefaultConfig()).Battery
	require.NotNil(t, b.ResistanceOhm, b.Reason)
	assert.InEpsilon(t, healthy.ohm, *b.ResistanceOhm, 0.02)
	assert.Less(t, *b.ResistanceLowOhm, healthy.ohm)
	assert.Greater(t, *b.ResistanceHighOhm, healthy.ohm)
}

// A branch that never draws has no share, was not needed, and no limit on it helps.
func TestABranchThatNeverDraws(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 8))
	load := drive(rng, 60)
	weak := healthy
	weak.ohm = 0.05
	volts, amps := board(50, 0)
	in := Input{
		Voltage: volts.read(rng, weak.volts(load, fine)), Current: amps.read(rng, load), EnterV: 6.8, LeaveV: 7.4, End: 60_000_000,
		Branches: []Branch{{"drive", amps.read(rng, load)}, {"unplugged", steady(0, 60, 50, 0)}},
	}
	r := Detect(in, DefaultConfig())
	require.NotEmpty(t, r.Brownouts)
	for _, b := range r.Brownouts {
		require.Len(t, b.Branches, 2)
		assert.Zero(t, b.Branches[1].Share)
		assert.Equal(t, schemas.NecessaryNo, b.Branches[1].Necessary)
		assert.Nil(t, b.Branches[1].LimitA)
		assert.Zero(t, *b.Branches[1].ShortfallV)
	}
}

// A fast voltage and a slow current: what lies between two readings of the current is not
// known, and the interval is wide enough for that, or nothing is told.
func TestFastVoltageAndSlowCurrent(t *testing.T) {
	covered, told := 0, 0
	for seed := range uint64(12) {
		v, i := match(seed, healthy, sensor{1000, 0, 0.01, 1.0 / 64}, sensor{20, 0.005, 0.5, 0.1}, 60)
		if l := measure(v, i).Line; l != nil {
			told++
			if l.ResistanceLowOhm <= healthy.ohm && healthy.ohm <= l.ResistanceHighOhm {
				covered++
			}
		}
	}
	t.Logf("covers %d of %d told, of 12", covered, told)
	assert.GreaterOrEqual(t, covered, told-1)
}

func TestALogThatBeginsInADip(t *testing.T) {
	r := brownouts(volts(20_000, 6, 6.2, 6.5, 12, 12), 6.8, 7.4)
	require.Len(t, r.Brownouts, 1)
	assert.Zero(t, r.Brownouts[0].StartS)
	assert.Empty(t, r.Brownouts[0].Length)
	assert.Contains(t, strings.Join(r.Notes, "\n"), "the log begins within the brownout at 0.00 s")
}

// A voltage that comes back from a silence under the cut-off went there unseen.
func TestADipThatBeganUnseen(t *testing.T) {
	v := volts(20_000, 12, 12, 12, 12, 6.5, 6.4, 12, 12)
	for k := 4; k < len(v.T); k++ {
		v.T[k] += 2_000_000
	}
	r := brownouts(v, 6.8, 7.4)
	require.Len(t, r.Brownouts, 1)
	assert.InDelta(t, 2.02, r.Brownouts[0].UnseenS, 1e-9)
	assert.Empty(t, r.Brownouts[0].Length, "0.04 s or 2.06 s")
	assert.Contains(t, strings.Join(r.Notes, "\n"), "silent for 2.0 s just before the brownout at 2.08 s")
}

// A reading that is no number is none: it neither begins nor ends a dip, and what lies on
// both sides is as it would be without.
func TestReadingsThatAreNoNumbers(t *testing.T) {
	with := volts(20_000, math.NaN(), 12, 6.5, math.NaN(), 6.4, math.Inf(-1), 12, math.Inf(1), math.NaN())
	without := &series.Float{T: []int64{20_000, 40_000, 80_000, 120_000}, V: []float64{12, 6.5, 6.4, 12}}
	assert.Equal(t, brownouts(without, 6.8, 7.4).Brownouts, brownouts(with, 6.8, 7.4).Brownouts)
	assert.Empty(t, brownouts(volts(20_000, math.NaN(), math.NaN()), 6.8, 7.4).Brownouts)
}

// Whatever comes in, the report is one that can be written down: no panic, no NaN, no
// infinity, shares from 0 to 1 and intervals the right way round.
func TestAnyInputMakesAReport(t *testing.T) {
	anything := func(t *rapid.T, name string, values ...float64) *series.Float {
		if rapid.IntRange(0, 5).Draw(t, name+" none") == 0 {
			return nil
		}
		s := &series.Float{}
		at := rapid.Int64Range(-1_000_000, 1_000_000).Draw(t, name+" from")
		step := rapid.SampledFrom([]int64{1, 1000, 20_000, 50_000, 1_000_000}).Draw(t, name+" step")
		for range rapid.IntRange(0, 400).Draw(t, name+" samples") {
			at += step
			if rapid.IntRange(0, 60).Draw(t, "gap") == 0 {
				at += 3_000_000
			}
			s.T = append(s.T, at)
			s.V = append(s.V, rapid.SampledFrom(values).Draw(t, name))
		}
		return s
	}
	rapid.Check(t, func(t *rapid.T) {
		odd := []float64{0, -1, 1e300, -1e300, math.NaN(), math.Inf(1), math.MaxFloat64, math.SmallestNonzeroFloat64}
		in := Input{
			Voltage: anything(t, "volts", append(odd, 12, 11, 6, 7, 12.5, 10)...), Current: anything(t, "amps", append(odd, 10, 100, 50, -20)...),
			EnterV: rapid.SampledFrom([]float64{0, 6.8, -1}).Draw(t, "enter"), LeaveV: 7.4, End: 10_000_000,
		}
		for _, name := range []string{"a", "b"} {
			in.Branches = append(in.Branches, Branch{name, anything(t, name, append(odd, 10, 40)...)})
		}
		r := Detect(in, DefaultConfig())
		if _, err := json.Marshal(struct {
			B any
			C schemas.Battery
		}{r.Brownouts, r.Battery}); err != nil {
			t.Fatal(err)
		}
		for _, b := range r.Brownouts {
			for _, s := range b.Branches {
				if s.Share < 0 || s.Share > 1 {
					t.Fatalf("share %g", s.Share)
				}
			}
		}
		if b := r.Battery; b.ResistanceOhm != nil && !(*b.ResistanceLowOhm <= *b.ResistanceOhm && *b.ResistanceOhm <= *b.ResistanceHighOhm) {
			t.Fatalf("%g not from %g to %g", *b.ResistanceOhm, *b.ResistanceLowOhm, *b.ResistanceHighOhm)
		}
	})
}

// A few small steps in a noisy voltage give a resistance from next to nothing to nearly twice
// as much: that is no answer, and the report says so instead.
func TestAResistanceKnownTooBadlyIsNotTold(t *testing.T) {
	cfg := DefaultConfig()
	told, not := 0, 0
	for seed := range uint64(30) {
		rng := rand.New(rand.NewPCG(seed, 9))
		load := drive(rng, 25)
		for k := range load {
			load[k] *= 0.15
		}
		v, i := sensor{50, 0, 0.12, 1.0 / 64}.read(rng, healthy.volts(load, fine)), sensor{50, 0, 0.3, 0.1}.read(rng, load)
		r := measure(v, i)
		b := r.Battery
		if b.ResistanceOhm == nil {
			require.NotEmpty(t, b.Reason)
			assert.Nil(t, b.ResistanceLowOhm)
			assert.Nil(t, b.OpenCircuitV)
			assert.Nil(t, b.BrownoutA)
			if r.Line != nil {
				assert.Contains(t, b.Reason, "too little to go by")
				not++
			}
			continue
		}
		told++
		assert.LessOrEqual(t, *b.ResistanceHighOhm-*b.ResistanceLowOhm, 2*cfg.WidestPart**b.ResistanceOhm+1e-9)
	}
	t.Logf("told %d, known too badly %d of 30", told, not)
	assert.NotZero(t, not)
}
