package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// everyTwelve is a robot whose pieces leave it every 12 s and are counted 0.6 s after, in the
// fifth cycle with what is late: the piece itself, or its count.
func everyTwelve(leavesS, countS float64) Input {
	var passes []schemas.Pass
	var scored []float64
	for k := range 8 {
		leave := 12 * float64(k+1)
		late := leave + 0.6
		if k == 4 {
			leave, late = leave+leavesS, late+leavesS+countS
		}
		p := pass(leave-6, leave)
		p.Piece = k + 1
		passes, scored = append(passes, p), append(scored, late)
	}
	return Input{
		Score: counter(-1, scored...), Passes: passes,
		Periods: []schemas.Period{{Name: schemas.PeriodDriver, StartS: 0, EndS: 120}}, End: 120_000_000,
	}
}

// A piece that rolls on, or a counter that waits, keeps no robot.
func TestACountThatComesLateMakesNoCycleSlow(t *testing.T) {
	slow := func(leavesS, countS float64) (out []int, r Result) {
		r = Detect(everyTwelve(leavesS, countS), DefaultConfig())
		for i, c := range r.Cycles {
			if c.Slow {
				out = append(out, i)
			}
		}
		return out, r
	}

	late, r := slow(0, 6)
	assert.Empty(t, late)
	require.Contains(t, r.Notes, "1 piece counted later than usual after leaving the robot, by up to 6.0 s: no loss of the robot's")
	assert.InDelta(t, 18, r.Cycles[4].DurationS, 1e-6, "a cycle lasts from count to count all the same")
	assert.Less(t, *r.Cycles[4].ExcessS, 1.0)

	late, r = slow(6, 0)
	assert.Equal(t, []int{4}, late, "the robot was late, not the count")
	for _, note := range r.Notes {
		assert.NotContains(t, note, "counted later")
	}
}
