package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A roller that stalls on a piece stands for as long as the program drives it, within the
// jam; nothing stands in a match in which nothing goes wrong.
func TestWhichMotorsStood(t *testing.T) {
	_, clean := follow(t, 4, nil)
	require.Len(t, clean.Motors, 5)
	for _, m := range clean.Motors {
		assert.InDelta(t, 0, *m.StalledS, 0, m.Name)
		assert.InDelta(t, 0.3, *m.ResistanceOhm, 0.05, m.Name)
		assert.Greater(t, *m.ConstantVS, 0.3)
	}
	stood := 0
	for seed := uint64(1); seed <= 4; seed++ {
		_, r := follow(t, seed, nil, "locked-stage")
		for _, m := range r.Motors {
			for _, s := range m.Stalls {
				stood++
				assert.Greater(t, s.MeanA, 10.0)
				inJam := false
				for _, j := range r.Jams {
					inJam = inJam || s.StartS < j.EndS && s.EndS > j.StartS
				}
				assert.True(t, inJam, "seed %d: %s stood from %.2f to %.2f s outside of any jam", seed, m.Name, s.StartS, s.EndS)
			}
		}
	}
	assert.Positive(t, stood)
}
