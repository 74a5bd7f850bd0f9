package cycles

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Without a pose a near and a far goal still make two kinds of cycles: each is held against its
// own. Of 14 cycles of about 10 and 20 s one takes 16 s longer than its kind.
func TestTwoKindsWithoutPose(t *testing.T) {
	in := lasting(10, 20.2, 9.8, 19.7, 10.4, 21, 9.6, 36, 10.1, 20.4, 9.9, 19.6, 10.2, 20.1)
	r := Detect(in, DefaultConfig())
	assert.Equal(t, []int{7}, slowOnes(r))
	require.NotNil(t, r.Cycles[1].ExcessS)
	assert.InDelta(t, 0.2, *r.Cycles[1].ExcessS, 0.6, "as long as its kind usually takes")
	assert.InDelta(t, 16, *r.Cycles[7].ExcessS, 0.6)
	require.NotEmpty(t, r.Notes)
	assert.Contains(t, r.Notes[len(r.Notes)-1], "the driver cycles are of two kinds, of about 10.0 s and 20")

	few := Detect(lasting(10, 20.2, 9.8, 19.7, 10.4, 21, 9.6, 36), DefaultConfig())
	for _, n := range few.Notes {
		assert.NotContains(t, n, "two kinds", "eight cycles do not say so without doubt")
	}
}

// Slow cycles are no kind of their own: they are few, and unlike each other.
func TestSlowCyclesAreNoKind(t *testing.T) {
	in := lasting(10, 10.4, 9.8, 16, 10.4, 10.1, 9.6, 28, 10.1, 21, 9.9, 10.6, 10.2, 10.1)
	assert.Equal(t, []int{3, 7, 9}, slowOnes(Detect(in, DefaultConfig())))
}
