package collector

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestStepsTellWhatEachPartTook(t *testing.T) {
	s := newSteps()
	s.done("read")
	s.done("place")
	took, parts := s.told()
	group := parts.Value.Group()
	require.Len(t, group, 2)
	require.Equal(t, "read", group[0].Key)
	require.Equal(t, "place", group[1].Key)
	sum := group[0].Value.Duration() + group[1].Value.Duration()
	require.InDelta(t, took.Value.Duration(), sum, 3e4, "all but what is rounded, in nanoseconds")
	s.done("samples")
	_, parts = s.told()
	require.Len(t, parts.Value.Group(), 1, "what was told is not told again")
}
