package power

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// anyVoltage is a voltage that wanders about the cut-off, with late samples and gaps.
func anyVoltage(t *rapid.T) *series.Float {
	v := &series.Float{}
	at := int64(0)
	for range rapid.IntRange(1, 60).Draw(t, "samples") {
		at += rapid.SampledFrom([]int64{20_000, 20_000, 20_000, 1, 500_000}).Draw(t, "step")
		v.T = append(v.T, at)
		v.V = append(v.V, rapid.Float64Range(5, 9).Draw(t, "volts"))
	}
	return v
}

func shifted(s *series.Float, by int64) *series.Float {
	out := &series.Float{V: s.V}
	for _, at := range s.T {
		out.T = append(out.T, at+by)
	}
	return out
}

func TestDipsAreSortedAndApart(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyVoltage(t)
		found := dips(newTrace(v, nil, DefaultConfig()), 6.8, 7.4)
		for k, d := range found {
			assert.LessOrEqual(t, d.start, d.minAt)
			assert.GreaterOrEqual(t, d.end, d.minAt)
			assert.Less(t, d.minV, 6.8)
			assert.GreaterOrEqual(t, d.voltSeconds, 0.0)
			if k > 0 {
				assert.True(t, found[k-1].ended)
				assert.Less(t, found[k-1].end, d.start)
			}
		}
		// Every sample under the cut-off lies in a dip.
		for k, at := range v.T {
			in := false
			for _, d := range found {
				in = in || d.start <= at && (at < d.end || !d.ended)
			}
			if v.V[k] < 6.8 {
				assert.True(t, in)
			}
		}
	})
}

func TestQuietPaddingAddsNoDip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		v := anyVoltage(t)
		v.V[0], v.V[len(v.V)-1] = 12, 12 // or what is around would begin or end a dip
		padded := &series.Float{}
		for k := range int64(50) {
			padded.T, padded.V = append(padded.T, (k-60)*20_000), append(padded.V, 12.5)
		}
		padded.T, padded.V = append(padded.T, v.T...), append(padded.V, v.V...)
		last := v.T[len(v.T)-1]
		for k := range int64(50) {
			padded.T, padded.V = append(padded.T, last+(k+1)*20_000), append(padded.V, 12.5)
		}
		cfg := DefaultConfig()
		plain, more := newTrace(v, nil, cfg), newTrace(padded, nil, cfg)
		more.limit, more.holds = plain.limit, plain.holds
		assert.Equal(t, dips(plain, 6.8, 7.4), dips(more, 6.8, 7.4))
	})
}

func TestShiftInTimeShiftsTheResult(t *testing.T) {
	volts, amps := board(100, 0)
	weak := healthy
	weak.ohm = 0.06
	v, i := match(31, weak, volts, amps, 60)
	at := func(by int64) Result {
		return Detect(Input{
			Voltage: shifted(v, by), Current: shifted(i, by), EnterV: 6.8, LeaveV: 7.4,
			Branches: []Branch{{"half", shifted(i, by)}},
			Periods:  []schemas.Period{{Name: "driver", StartS: schemas.Seconds(by) + 5, EndS: schemas.Seconds(by) + 60}},
			Start:    v.T[0] + by, End: v.T[len(v.T)-1] + by,
		}, DefaultConfig())
	}
	want := at(0)
	require.NotEmpty(t, want.Brownouts)
	for _, by := range []int64{-3_000_000_000, 1, 86_400_000_000} {
		got := at(by)
		assert.Equal(t, want.Line, got.Line)
		assert.Equal(t, want.Judged, got.Judged)
		assert.Equal(t, want.Battery.RestV, got.Battery.RestV)
		assert.Equal(t, want.Battery.EnergyWh, got.Battery.EnergyWh)
		require.Len(t, got.Brownouts, len(want.Brownouts))
		for k, b := range want.Brownouts {
			g := got.Brownouts[k]
			assert.Equal(t, schemas.Micros(b.StartS)+by, schemas.Micros(g.StartS))
			assert.Equal(t, schemas.Micros(*b.EndS)+by, schemas.Micros(*g.EndS))
			assert.Equal(t, schemas.Micros(b.MinAtS)+by, schemas.Micros(g.MinAtS))
			assert.Equal(t, b.Branches, g.Branches)
			assert.Equal(t, b.VoltSeconds, g.VoltSeconds)
			assert.Equal(t, b.CurrentA, g.CurrentA)
		}
	}
}

func TestQuietPaddingHardlyMovesTheResistance(t *testing.T) {
	volts, amps := board(50, 0)
	v, i := match(17, healthy, volts, amps, 60)
	plain := measure(v, i).Line
	calm, idle := steady(60, 60, 50, v.V[len(v.V)-1]), steady(60, 60, 50, i.V[len(i.V)-1])
	long := measure(
		&series.Float{T: append(v.T[:len(v.T):len(v.T)], calm.T...), V: append(v.V[:len(v.V):len(v.V)], calm.V...)},
		&series.Float{T: append(i.T[:len(i.T):len(i.T)], idle.T...), V: append(i.V[:len(i.V):len(i.V)], idle.V...)}).Line
	require.NotNil(t, plain)
	require.NotNil(t, long)
	assert.InEpsilon(t, plain.ResistanceOhm, long.ResistanceOhm, 0.01)
}
