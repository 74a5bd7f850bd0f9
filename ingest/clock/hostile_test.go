package clock_test

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/clock"
)

// sane requires what must hold after any input: no NaN, no infinity but a one-sided bound's, a
// bound that is not negative, memory that stays small, and a snapshot that reads back the same.
func sane(t require.TestingT, track *clock.Track) {
	fit, ok := track.Fit()
	if ok {
		finite(t, fit.Offset, fit.DriftPPM, fit.MinDelay, fit.Collector(fit.At), fit.Collector(math.MinInt64), fit.Robot(math.MaxInt64))
		require.Equal(t, fit.OneSided, math.IsInf(fit.Bound, 1))
		require.Equal(t, fit.OneSided, math.IsInf(fit.DriftBound, 1))
		require.Equal(t, fit.OneSided, fit.Exchanges == 0)
		require.GreaterOrEqual(t, fit.Bound, 0.)
		require.GreaterOrEqual(t, fit.DriftBound, 0.)
		require.LessOrEqual(t, math.Abs(fit.DriftPPM), clock.MaxDrift)
	}
	for _, at := range []int64{math.MinInt64, -1, 0, math.MaxInt64, fit.At} {
		offset, bound := track.BoundAt(at)
		finite(t, offset)
		require.GreaterOrEqual(t, bound, 0.)
		require.Equal(t, !ok || fit.OneSided, math.IsInf(bound, 1))
	}
	text, err := json.Marshal(track)
	require.NoError(t, err)
	require.Less(t, len(text), 256*45+200)
	var read clock.Track
	require.NoError(t, json.Unmarshal(text, &read), "%s", text)
	again, known := read.Fit()
	require.Equal(t, ok, known)
	require.Equal(t, fit, again)
}

func finite(t require.TestingT, values ...float64) {
	for _, v := range values {
		require.False(t, math.IsNaN(v) || math.IsInf(v, 0), "%v", values)
	}
}

// stamps at the ends of int64, near nothing, near each other, and anywhere.
func hostileStamp(t *rapid.T) int64 {
	return rapid.OneOf(
		rapid.SampledFrom([]int64{math.MinInt64, math.MinInt64 + 1, -9e15, -1, 0, 1, 9e15, math.MaxInt64 - 1, math.MaxInt64}),
		rapid.Int64Range(-1e3, 1e3), rapid.Int64Range(-1e9, 1e9), rapid.Int64(),
	).Draw(t, "stamp")
}

func TestHostileStamps(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var track clock.Track
		for range rapid.IntRange(1, 40).Draw(t, "steps") {
			e := clock.Exchange{T0: hostileStamp(t), T1: hostileStamp(t)}
			switch rapid.IntRange(0, 2).Draw(t, "kind") {
			case 0:
				e.T2, e.T3 = hostileStamp(t), hostileStamp(t)
				track.Add(e)
			case 1: // sound, however far the clocks are
				took := rapid.Int64Range(0, 16e6).Draw(t, "took")
				e.T2 = later(e.T1, rapid.Int64Range(0, took).Draw(t, "hold"))
				e.T3 = later(e.T0, took)
				track.Add(e)
			case 2:
				track.Arrived(e.T0, e.T1)
			}
			sane(t, &track)
		}
	})
}

// later is a stamp some time after another, or the last there is.
func later(stamp, by int64) int64 {
	if stamp > math.MaxInt64-by {
		return math.MaxInt64
	}
	return stamp + by
}

// FuzzTrack reads bytes as calls: a kind, then stamps.
func FuzzTrack(f *testing.F) {
	ask := func(kind byte, stamps ...int64) []byte {
		out := []byte{kind}
		for _, s := range stamps {
			out = binary.LittleEndian.AppendUint64(out, uint64(s))
		}
		return out
	}
	f.Add(ask(0, 1000, 2000, 2010, 1500))
	f.Add(append(ask(0, 1000, 2000, 2010, 1500), ask(1, 3000, 3900)...))
	f.Add(append(ask(1, math.MaxInt64, math.MinInt64), ask(0, math.MinInt64, math.MaxInt64, math.MaxInt64, math.MinInt64+9)...))
	f.Fuzz(func(t *testing.T, data []byte) {
		var track clock.Track
		stamp := func() (s int64) {
			var word [8]byte
			data = data[copy(word[:], data):]
			return int64(binary.LittleEndian.Uint64(word[:]))
		}
		for len(data) > 0 {
			kind := data[0]
			data = data[1:]
			switch kind % 3 {
			case 0:
				track.Add(clock.Exchange{T0: stamp(), T1: stamp(), T2: stamp(), T3: stamp()})
			case 1:
				track.Arrived(stamp(), stamp())
			case 2: // sound but for an overflow
				e := clock.Exchange{T0: stamp(), T1: stamp()}
				e.T2, e.T3 = e.T1+int64(kind), e.T0+100*int64(kind)
				track.Add(e)
			}
		}
		sane(t, &track)
	})
}
