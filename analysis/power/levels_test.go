package power

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// By hand: V = 12.6 - 0.03 I with a level that falls a volt over the log, which is no matter within
// ten seconds; what relaxes makes it more, and a current that stands still tells nothing.
func TestResistanceByLevels(t *testing.T) {
	r, cfg := rand.New(rand.NewPCG(6, 6)), DefaultConfig()
	of := func(relaxing, noise, swing float64) *aligned {
		a := &aligned{noiseI: noise, noiseV: 0.01}
		slow := 0.0
		for k := range 6000 {
			i := 30.0
			if k/50%2 == 0 {
				i += swing
			}
			slow += (i - slow) * 0.02 / 0.6
			a.T = append(a.T, int64(k)*20_000)
			a.I = append(a.I, i+noise*r.NormFloat64())
			a.V = append(a.V, 12.6-0.03*i-relaxing*slow-float64(k)/6000+0.01*r.NormFloat64())
		}
		a.V[100], a.I[200] = math.NaN(), math.NaN()
		return a
	}
	ohm, ok := of(0, 0.5, 40).byLevels(cfg)
	require.True(t, ok)
	assert.InDelta(t, 0.03, ohm, 0.0005)
	ohm, ok = of(0.02, 0.5, 40).byLevels(cfg)
	require.True(t, ok)
	assert.Greater(t, ohm, 0.033)
	_, ok = of(0, 0.5, 0).byLevels(cfg)
	assert.False(t, ok)

	// Steps that tell twice as much say so only where they are sure of it: once they are, by what
	// rests on them, it is asked again.
	assert.Empty(t, (&measured{ohm: 0.06, se: 0.01}).beyondLevels(of(0, 0.5, 40), cfg))
	assert.Contains(t, (&measured{ohm: 0.06, se: 0.005}).beyondLevels(of(0, 0.5, 40), cfg), "60 milliohm and its levels 30")
	assert.Empty(t, (&measured{ohm: 0.06, se: 0.005}).beyondLevels(of(0, 0.5, 0), cfg))
}
