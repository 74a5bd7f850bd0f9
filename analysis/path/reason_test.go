package path

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Every jam comes with what it was decided on: its own stay, its own law, and what was held
// possible when the stay began, which adds up to all there is.
func TestEveryJamHasItsReason(t *testing.T) {
	followed := 0
	for seed := range uint64(6) {
		in, _, _ := play(settings{seed: seed, stages: 3, hz: 50, jamRate: 0.2, cap: 2, long: 90})
		in.Explain = true
		out := Detect(in, DefaultConfig())
		require.Len(t, out.JamReasons, len(out.Jams))
		require.Len(t, out.SuspectedReasons, len(out.Suspected))
		for i, j := range out.Jams {
			r := out.JamReasons[i]
			if !r.Followed {
				assert.Empty(t, r.Considered)
				continue
			}
			followed++
			assert.LessOrEqual(t, r.CameS, j.StartS)
			assert.LessOrEqual(t, r.CameS, r.WentS)
			assert.Contains(t, r.Place, "beam")
			assert.Positive(t, r.Law.UsualS)
			assert.Less(t, r.Law.In80S, r.Law.In95S)
			require.NotNil(t, r.Law.ChanceLong)
			shares := map[float64]float64{}
			for _, c := range r.Considered {
				shares[c.AtS] += c.Share
				assert.NotEmpty(t, c.When)
				assert.NotEmpty(t, c.What)
			}
			require.NotEmpty(t, shares, "the stay began with something that the tracker had to explain")
			for at, sum := range shares { // two beams may change at one moment
				assert.InDelta(t, math.Round(sum), sum, 1e-3, "at %g", at)
				assert.GreaterOrEqual(t, sum, 0.999)
			}
		}
	}
	require.Greater(t, followed, 5)
}
