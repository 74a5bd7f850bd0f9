package stat

import (
	"encoding/csv"
	"math"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

func logs(p ...float64) []float64 {
	out := make([]float64, len(p))
	for i, v := range p {
		out[i] = math.Log(v)
	}
	return out
}

// seen turns symbols into rows of emission logarithms; b[state][symbol].
func seen(b [][]float64, symbols ...int) [][]float64 {
	emit := make([][]float64, len(symbols))
	for t, k := range symbols {
		for s := range b {
			emit[t] = append(emit[t], math.Log(b[s][k]))
		}
	}
	return emit
}

// The doctor's example of the encyclopedia article "Viterbi algorithm" (Wikipedia; model
// from memory, figures by enumeration of all paths): healthy or fever; normal, cold, dizzy.
func TestHMMHealthExample(t *testing.T) {
	h := HMM{Init: logs(0.6, 0.4), Trans: [][]float64{logs(0.7, 0.3), logs(0.4, 0.6)}}
	emit := seen([][]float64{{0.5, 0.4, 0.1}, {0.1, 0.3, 0.6}}, 0, 1, 2)

	path, logP := h.Viterbi(emit)
	assert.Equal(t, []int{0, 0, 1}, path, "healthy, healthy, fever")
	assert.InDelta(t, 0.01512, math.Exp(logP), 1e-12)

	alpha, logP := h.Forward(emit)
	assert.InDelta(t, 0.03628, math.Exp(logP), 1e-12)
	want := [][]float64{{0.3, 0.04}, {0.0904, 0.0342}, {0.007696, 0.028584}}
	for i := range want {
		for s := range want[i] {
			assert.InDelta(t, want[i][s], math.Exp(alpha[i][s]), 1e-12, "alpha[%d][%d]", i, s)
		}
	}
}

// The umbrella world of Russell and Norvig, Artificial Intelligence: A Modern Approach,
// chapter 15, figure 15.5 (model from memory, figures by enumeration).
func TestHMMUmbrella(t *testing.T) {
	h := HMM{Init: logs(0.5, 0.5), Trans: [][]float64{logs(0.7, 0.3), logs(0.3, 0.7)}}
	b := [][]float64{{0.9, 0.1}, {0.2, 0.8}}
	const yes, no = 0, 1

	alpha, logP := h.Forward(seen(b, yes, yes))
	assert.InDelta(t, 0.883357041, math.Exp(alpha[1][0]-logP), 1e-9, "rain on day 2, filtered")
	post, _ := h.Smooth(seen(b, yes, yes))
	assert.InDelta(t, 0.883357041, post[0][0], 1e-9, "rain on day 1, smoothed")

	// The printed messages of Viterbi are normalized on day 1 only.
	emit := seen(b, yes, yes, no, yes, yes)
	wantRain := []float64{0.818181818182, 0.515454545455, 0.036081818182, 0.033401454545, 0.021042916364}
	wantDry := []float64{0.181818181818, 0.049090909091, 0.123709090909, 0.017319272727, 0.002424698182}
	day1 := 0.5*0.9 + 0.5*0.2
	for n := 1; n <= len(emit); n++ {
		path, logP := h.Viterbi(emit[:n])
		assert.InDelta(t, math.Max(wantRain[n-1], wantDry[n-1]), math.Exp(logP)/day1, 1e-12, "day %d", n)
		assert.Equal(t, wantDry[n-1] > wantRain[n-1], path[n-1] == 1, "day %d", n)
	}
	path, _ := h.Viterbi(emit)
	assert.Equal(t, []int{0, 0, 1, 0, 0}, path)
}

// A random model of three states and eight observations, all 6561 paths enumerated with
// numpy 1.24.2; the figures are in the file.
func TestHMMAgainstEnumeration(t *testing.T) {
	f, err := os.Open("testdata/hmm3x4.csv")
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	file := map[string][]float64{}
	for _, row := range rows[1:] {
		for _, cell := range row[1:] {
			if cell == "" {
				break
			}
			v, err := strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
			file[row[0]] = append(file[row[0]], v)
		}
	}
	h := HMM{Init: logs(file["pi"]...), Trans: [][]float64{logs(file["A1"]...), logs(file["A2"]...), logs(file["A3"]...)}}
	var obs []int
	for _, o := range file["obs"] {
		obs = append(obs, int(o))
	}
	require.Len(t, obs, 8)
	emit := seen([][]float64{file["B1"], file["B2"], file["B3"]}, obs...)

	path, logP := h.Viterbi(emit)
	assert.Equal(t, []int{0, 1, 1, 1, 1, 1, 1, 1}, path)
	within(t, 1e-12, 1.276653239628087e-06, math.Exp(logP), "probability of the best path")
	post, logP := h.Smooth(emit)
	within(t, 1e-12, 1.908600004103514e-05, math.Exp(logP), "probability of the observations")
	for i := range obs {
		want := file["gamma"+strconv.Itoa(i+1)]
		require.Len(t, want, 3)
		for s := range want {
			assert.InDelta(t, want[s], post[i][s], 5e-12, "marginal of state %d at %d (printed to 12 digits)", s, i+1)
		}
	}
}

func TestHMMEdges(t *testing.T) {
	h := HMM{Init: logs(1, 0), Trans: [][]float64{logs(0.5, 0.5), logs(0, 1)}}
	path, logP := h.Viterbi(nil)
	assert.Empty(t, path)
	assert.Zero(t, logP)
	post, _ := h.Smooth(nil)
	assert.Empty(t, post)

	emit := make([][]float64, 20000) // underflows without logarithms
	for i := range emit {
		emit[i] = logs(0.01, 0.02)
	}
	path, logP = h.Viterbi(emit)
	assert.Equal(t, 0, path[0], "the second state cannot be the first")
	assert.Equal(t, 1, path[len(path)-1])
	assert.False(t, math.IsInf(logP, 0))
	post, _ = h.Smooth(emit)
	for _, row := range post {
		require.InDelta(t, 1, row[0]+row[1], 1e-6)
	}
	assert.True(t, math.IsInf(LogSum(nil), -1))
	assert.InDelta(t, math.Log(5), LogSum(logs(2, 3)), 1e-15)
}
