package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The two parameters of the exam lie where it says they do in every match of it, and never
// there in a drawn one, whatever else is on: see Drawn and Exam.
func TestExamLiesOutside(t *testing.T) {
	for _, c := range []struct {
		scenario      string
		grip, relaxes [2]float64
	}{
		{Drawn, [2]float64{0.68, 0.92}, [2]float64{0.63, 1.17}},
		{Exam, [2]float64{0.45, 0.60}, [2]float64{0.25, 0.45}},
	} {
		for seed := uint64(1); seed <= 100; seed++ {
			s, _ := findScenario(c.scenario)
			o := Options{Scenario: c.scenario, Seed: seed}
			require.NoError(t, s.prepare(o))
			w := newWorld(s, o)
			between := func(v float64, lies [2]float64, what string) {
				assert.True(t, lies[0]-1e-9 <= v && v <= lies[1]+1e-9, "%s %d %v: %s %g", c.scenario, seed, s.with, what, v)
			}
			between(w.battery.tau1, c.relaxes, "fast relaxation, s")
			between(w.sound.tau1, c.relaxes, "fast relaxation of the sound battery, s")
			r := stream(seed, "some pieces")
			for range 5 {
				piece := newPiece(r)
				w.scenario.fit(w, piece)
				between(piece.mu, c.grip, "grip")
			}
		}
	}
}
