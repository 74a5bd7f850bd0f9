package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// Quiet stretches are averaged hard, jumps and fast swings are not smeared.
func TestCleanKeepsMotionAndTakesNoise(t *testing.T) {
	const noise = 0.3
	r := rand.New(rand.NewPCG(2, 2))
	truth := func(s float64) float64 {
		switch {
		case s < 5:
			return 0
		case s < 8:
			return 12 // a wheel drops
		case s < 14:
			return 12 * math.Cos(2*math.Pi*1.4*(s-8))
		default:
			return 2.4
		}
	}
	for _, rate := range []float64{50, 200, 1000} {
		tilt := &series.Float{}
		for i := range int(20 * rate) {
			us := int64(float64(i) / rate * 1e6)
			tilt.T, tilt.V = append(tilt.T, us), append(tilt.V, truth(seconds(us))+noise*r.NormFloat64())
		}
		tr := clean(tilt, nil, 0, DefaultConfig())
		require.InDelta(t, noise, tr.noise, 0.05)
		rms := func(from, to float64) float64 {
			sum, n := 0.0, 0.0
			for i, at := range tr.t {
				if s := seconds(at); s >= from && s < to {
					e := tr.v[i] - truth(s)
					sum, n = sum+e*e, n+1
				}
			}
			return math.Sqrt(sum / n)
		}
		kept := noise / math.Sqrt(max(1, rate/100)) // of what averaging to a hundred a second leaves
		t.Logf("%g Hz: quiet %.3f, at the jump %.3f, swing %.3f deg of %.1f", rate, rms(0, 4.5), rms(4.8, 5.2), rms(8, 13.9), noise)
		require.Less(t, rms(0, 4.5), 0.5*kept)
		require.Less(t, rms(14.5, 20), 0.5*kept)
		require.Less(t, rms(4.8, 5.2), 1.2*noise)
		require.Less(t, rms(8, 13.9), noise)
		for i, at := range tr.t {
			if math.Abs(seconds(at)-5) > 0.015 && math.Abs(seconds(at)-14) > 0.015 { // an average over a jump is neither side of it
				require.Less(t, math.Abs(tr.v[i]-truth(seconds(at))), 7*noise, "at %g s", seconds(at))
			}
		}
	}
}
