package stat

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"
)

// table reads testdata/name: lines with # are its source, the first row names the columns.
func table(t *testing.T, name string) map[string][]string {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	out := map[string][]string{}
	for c, head := range rows[0] {
		for _, row := range rows[1:] {
			out[head] = append(out[head], row[c])
		}
	}
	return out
}

func numbers(t *testing.T, column []string) []float64 {
	t.Helper()
	require.NotEmpty(t, column)
	out := make([]float64, len(column))
	for i, s := range column {
		v, err := strconv.ParseFloat(s, 64)
		require.NoError(t, err)
		out[i] = v
	}
	return out
}

// within asserts that got is want to the relative error given.
func within(t *testing.T, rel, want, got float64, what string) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s: got %.15g, want %.15g to %g", what, got, want, rel)
	}
}
