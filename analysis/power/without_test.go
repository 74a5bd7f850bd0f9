package power

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// What would have been is known here, for the battery is the test's own: its voltage with
// one branch taken away, or held to the limit, from the same differential equation.
func TestWithoutABranch(t *testing.T) {
	const enter = 7.0
	sure, right, limits, kept := 0, 0, 0, 0
	for seed := range uint64(12) {
		rng := rand.New(rand.NewPCG(seed, 71))
		weak := cell{12.5, 0.04, 0.012, 0.8, 0.01, 20}
		var each [3][]float64
		whole := make([]float64, int(90/fine))
		for b, part := range [...]float64{0.75, 0.5, 0.15} {
			each[b] = drive(rng, 90)
			for k := range each[b] {
				each[b][k] *= part
				whole[k] += each[b][k]
			}
		}
		volts, amps := board(100, 0)
		noisy := volts.read(rng, weak.volts(whole, fine))
		in := Input{Voltage: noisy, Current: amps.read(rng, whole), EnterV: enter, LeaveV: 7.6, End: 90_000_000}
		for b := range each {
			in.Branches = append(in.Branches, Branch{fmt.Sprint(b), amps.read(rng, each[b])})
		}
		r := Detect(in, DefaultConfig())
		require.NotNil(t, r.Line, r.Battery.Reason)
		// The lowest voltage of a stretch had one branch drawn at most limit.
		lowest := func(d schemas.Brownout, branch int, limit float64) float64 {
			load := slices.Clone(whole)
			from, to := int(d.StartS/fine), int(*d.EndS/fine)
			for k := from - int(0.05/fine); k < to; k++ {
				load[k] -= max(0, each[branch][k]-limit)
			}
			v := weak.volts(load, fine)
			return slices.Min(v[from:to])
		}
		for _, d := range r.Brownouts {
			for b, s := range d.Branches {
				if s.Necessary != schemas.NecessaryUnknown {
					sure++
					held := lowest(d, b, 0) > enter
					if held == (s.Necessary == schemas.NecessaryYes) {
						right++
					}
				}
				if s.LimitA != nil {
					limits++
					if lowest(d, b, *s.LimitA) > enter-0.02 {
						kept++
					}
				}
			}
		}
	}
	t.Logf("necessary: right in %d of %d told; limits: %d of %d would have held", right, sure, kept, limits)
	require.Greater(t, sure, 100)
	require.Greater(t, limits, 50)
	assert.GreaterOrEqual(t, float64(right), 0.93*float64(sure))
	assert.GreaterOrEqual(t, float64(kept), 0.9*float64(limits))
}

// A line from 12 V with 0.05 ohm exactly: at 100 A the supply is at 7 V, 0.5 V under a
// cut-off of 7.5 V; a branch of 60 A may keep 50 A, and one of 5 A cannot have done it.
func TestLimitByHand(t *testing.T) {
	voltage := newTrace(steady(0, 1, 100, 7), nil, DefaultConfig())
	branch := func(amps float64) namedTrace {
		return namedTrace{"b", newTrace(steady(0, 1, 100, amps), nil, DefaultConfig())}
	}
	m := model{pair: &aligned{}, line: &LoadLine{perRead: 0.05, ResistanceLowOhm: 0.05, ResistanceHighOhm: 0.05}}
	b := schemas.Brownout{Branches: make([]schemas.Share, 3)}
	s := supply{branches: []namedTrace{branch(60), branch(5), branch(35)}}
	m.without(&b, dip{start: 100_000, end: 200_000, minV: 7}, voltage, &s, 7.5)
	assert.InDelta(t, 50, *b.Branches[0].LimitA, 1e-9)
	assert.Equal(t, schemas.NecessaryYes, b.Branches[0].Necessary)
	assert.Nil(t, b.Branches[1].LimitA)
	assert.Equal(t, schemas.NecessaryNo, b.Branches[1].Necessary)

	m.line.ResistanceLowOhm, m.line.ResistanceHighOhm = 0.03, 0.07
	b = schemas.Brownout{Branches: make([]schemas.Share, 3)}
	m.without(&b, dip{start: 100_000, end: 200_000, minV: 7}, voltage, &s, 7.5)
	assert.InDelta(t, 60-0.5/(0.05-1.645*0.04/3.92), *b.Branches[0].LimitA, 1e-9, "an uncertain line asks for a lower limit")
	s.branches[2] = branch(11)
	m.without(&b, dip{start: 100_000, end: 200_000, minV: 7}, voltage, &s, 7.5)
	assert.Equal(t, schemas.NecessaryUnknown, b.Branches[2].Necessary, "11 A at 0.05 ohm would just do, give or take")
	assert.False(t, math.IsNaN(*b.Branches[0].LimitA))
}
