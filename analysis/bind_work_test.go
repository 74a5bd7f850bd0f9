package analysis

import (
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas/series"
)

// Noise of a roller that stands is beyond any limit for a sample or two, and is no work; a fifth of
// a second is.
func TestNoiseIsNoWork(t *testing.T) {
	speed := func(from, to int) *series.Float {
		s := &series.Float{}
		for k := range 100 {
			v := 0.1
			if from <= k && k < to || k%20 == 7 {
				v = 5
			}
			s.T, s.V = append(s.T, int64(k)*20_000), append(s.V, v)
		}
		return s
	}
	assert.Empty(t, beyond(speed(0, 0), 1))
	assert.Empty(t, beyond(speed(50, 59), 1), "0.18 s")
	assert.Equal(t, []series.Interval{{Start: 1_000_000, End: 1_200_000}}, beyond(speed(50, 60), 1))
}
