package power

import (
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A battery whose resistance falls with the current, as real cells do (gnuplot's battery
// data: the quadratic term is 5.6 standard errors from 0), and one whose does not.
func TestResistanceThatDependsOnTheCurrent(t *testing.T) {
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 21))
		load := drive(rng, 120)
		volts, amps := board(100, 0)
		straight := healthy.volts(load, fine)
		bent := make([]float64, len(straight))
		for k, v := range straight {
			bent[k] = v + 4e-5*load[k]*load[k] // 0.018 ohm at nothing, 0.010 at 100 A
		}
		r := measure(volts.read(rng, bent), amps.read(rng, load))
		require.NotNil(t, r.Line, r.Battery.Reason)
		assert.Contains(t, strings.Join(r.Notes, "\n"), "the resistance depends on the current")
		r = measure(volts.read(rng, straight), amps.read(rng, load))
		require.NotNil(t, r.Line)
		assert.NotContains(t, strings.Join(r.Notes, "\n"), "depends on the current")
	}
}
