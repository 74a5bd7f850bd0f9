package stat

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The example of Shrout and Fleiss, Intraclass correlations: uses in assessing rater
// reliability, Psychological Bulletin 86 (1979) 420, table 2: four judges on six targets. Its
// table 4 has 0.17 for ICC(1,1), of mean squares 11.24 and 6.26 (values from memory; the mean
// squares follow from the data).
func TestIntraclassOfShroutAndFleiss(t *testing.T) {
	got, ok := Intraclass([][]float64{{9, 2, 5, 8}, {6, 1, 3, 2}, {8, 4, 6, 8}, {7, 1, 2, 6}, {10, 5, 6, 9}, {6, 2, 4, 7}})
	require.True(t, ok)
	assert.InDelta(t, 0.17, got, 0.005)
	assert.InDelta(t, (11.24-6.26)/(11.24+3*6.26), got, 5e-4)
}

func TestIntraclass(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var groups [][]float64
	for n := range 4000 {
		own := 2 * r.NormFloat64()
		g := make([]float64, 1+n%6)
		for i := range g {
			g[i] = 10 + own + r.NormFloat64()
		}
		groups = append(groups, g)
	}
	got, ok := Intraclass(groups)
	require.True(t, ok)
	assert.InDelta(t, 4.0/5, got, 0.02, "groups of unequal size")

	all, ok := Intraclass([][]float64{{1, 1}, {2, 2, 2}, {5, 5}})
	require.True(t, ok)
	assert.InDelta(t, 1, all, 1e-12, "values differ by group alone")
	none, ok := Intraclass([][]float64{{1, 5}, {5, 1}})
	require.True(t, ok)
	assert.InDelta(t, -1, none, 1e-12, "groups as alike as can be, values not")
	for _, few := range [][][]float64{nil, {{1, 2, 3}}, {{1, 2}, {3}}, {{4, 4}, {4, 4}}} {
		_, ok := Intraclass(few)
		assert.False(t, ok, "%v", few)
	}
}
