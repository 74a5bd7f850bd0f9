package sim

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

// Off means off: no condition, no loss, no other robot, no slow cycle, no doubt. A controller may
// cut out for a blink at a start; its driver is gentle for a moment then.
func TestPlainMatchLosesNothing(t *testing.T) {
	t.Parallel()
	for seed := uint64(1); seed <= 3; seed++ {
		w, m := driven(t, seed)
		assert.Empty(t, w.rivals)
		for _, l := range w.losses {
			assert.Contains(t, []string{lostPiece, lostMark, elsewhere, lostCutOff}, l.cause, "seed %d: %+v", seed, l)
		}
		assert.Empty(t, m.Unsure["cycles"])
		for _, c := range m.Truth.Cycles {
			assert.False(t, c.Slow)
		}
	}
}

// Each trouble of driving makes cycles slow, in its phase, by seconds that the world lost
// and that the cycles show against the same robot's others.
func TestTroublesCostTheirSeconds(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name, why, cause string
		least            float64 // s, in one match
	}{
		{"blocked-return", "return", lostWay, 6},
		{"blocked-carry", "carry", lostWay, 6},
		{"pinned", "carry", lostPin, 4},
		{"missed-pickups", "collect", lostMiss, 8},
		{"long-aim", "place", lostAim, 8},
		{"lost-robot", "return", lostDriver, 8},
		{"dropped-piece", "collect", lostDropped, 5},
	} {
		t.Run(c.name, func(t *testing.T) {
			slow, right := 0, 0
			for seed := uint64(1); seed <= 4; seed++ {
				w, m := driven(t, seed, c.name)
				assert.Greater(t, lost(w, c.cause), c.least, "seed %d", seed)
				var plain []float64
				for i, cy := range m.Truth.Cycles {
					if cy.Complete && cy.Period == schemas.PeriodDriver && !cy.Slow && !slices.Contains(m.Unsure["cycles"], i) {
						plain = append(plain, cy.DurationS)
					}
				}
				slices.Sort(plain)
				for _, cy := range m.Truth.Cycles {
					if !cy.Slow {
						continue
					}
					slow++
					assert.GreaterOrEqual(t, cy.DurationS, plain[len(plain)/2]+3, "seed %d", seed)
					if cy.Why != nil && (*cy.Why == c.why || c.name == "lost-robot" && *cy.Why == "carry") {
						right++
					}
				}
			}
			assert.GreaterOrEqual(t, slow, 3)
			assert.GreaterOrEqual(t, right, slow-1)
		})
	}
}

// onlyUneven are the conditions by which a match is uneven, or unusual, and no cycle slow.
func onlyUneven() []string {
	return []string{
		"tapping", "queues", "uneven-pace", "two-goals", "two-pickups", "moved-zones", "hand-overs", "handed-in",
		"rolling-pieces", "double-loads", "slow-counter", "counted-after-end", "counted-too-late", "corrected-counter",
		"reset-counter", "beginner", "expert", "full-autonomous", "empty-autonomous", "long-pause", "disabled-midway",
	}
}

// nothingSlow: what is only uneven, or usual here, makes no cycle slow.
func nothingSlow(t *testing.T, w *world, m *Match) {
	t.Helper()
	assert.GreaterOrEqual(t, len(scoredIn(m, schemas.PeriodDriver)), 3)
	for _, c := range m.Truth.Cycles {
		bad := slices.ContainsFunc(w.losses, func(l loss) bool { // a driver may miss, and aim badly, without being told to
			at := w.begin + l.at
			return slices.Contains([]string{lostMiss, lostAim, lostMark}, l.cause) && c.StartS <= at && at < c.EndS
		})
		assert.False(t, c.Slow && !bad, "%+v", c)
	}
}
