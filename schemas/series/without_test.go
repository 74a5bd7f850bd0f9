package series

import (
	"testing"

	"github.com/stretchr/testify/assert"
)

func TestWithout(t *testing.T) {
	s := &Float{Name: "a", T: []int64{0, 1, 2, 3, 4, 5}, V: []float64{0, 10, 20, 30, 40, 50}}
	assert.Same(t, s, s.Without(nil))
	assert.Nil(t, (*Float)(nil).Without([]Interval{{0, 1}}))
	got := s.Without([]Interval{{-5, 1}, {2, 4}, {9, 12}})
	assert.Equal(t, &Float{Name: "a", T: []int64{1, 4, 5}, V: []float64{10, 40, 50}}, got, "from the first sample in a stretch up to, not including, its end")
	assert.Equal(t, []int64{0, 5}, s.Without([]Interval{{1, 3}, {2, 5}}).T, "stretches that overlap")
	assert.Equal(t, []int64{0, 1, 2, 3, 4, 5}, s.T, "and s is as it was")
}
