package schemas

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestNumbersAreEachSampleAsNumber(t *testing.T) {
	for _, s := range []*Signal{
		{Kind: Float64, Time: []int64{1, 2}, Float: []float64{1.5, math.Inf(-1)}},
		{Kind: Int64, Time: []int64{1, 2}, Int: []int64{-3, math.MaxInt64}},
		{Kind: Bool, Time: []int64{1, 2}, Bool: []bool{true, false}},
		{Kind: Text, Time: []int64{1, 2}, Text: []string{"a", "7"}},
	} {
		got := s.Numbers([]float64{9})
		require.Len(t, got, 3)
		require.Equal(t, 9., got[0])
		for i := range s.Time {
			require.Equal(t, math.Float64bits(s.Number(i)), math.Float64bits(got[i+1]), "%s %d", s.Kind, i)
		}
	}
}
