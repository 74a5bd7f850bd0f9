package series

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A position told in steps of 5 mm, once as it was read and once as what changed.
func TestOnChange(t *testing.T) {
	read := make([]float64, 400)
	for i := range read {
		read[i] = 0.005 * math.Round(40*math.Sin(float64(i)/20))
	}
	var changed []float64
	for i, v := range read {
		if i == 0 || v != read[i-1] {
			changed = append(changed, v)
		}
	}
	assert.False(t, OnChange(read))
	assert.True(t, OnChange(changed))
	assert.False(t, OnChange(changed[:21]), "a run up: 20 changes, some of more than a step")
	assert.True(t, OnChange(append([]float64{math.NaN()}, changed...)), "what is not known is no repeat")
	assert.False(t, OnChange(nil))
	smooth := make([]float64, 400)
	for i := range smooth {
		smooth[i] = math.Sin(float64(i) * float64(i))
	}
	assert.False(t, OnChange(smooth), "it lies on no steps")
}
