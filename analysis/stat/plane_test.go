package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Fuller, Measurement Error Models (1987), Example 1.2.1: yield of corn on soil nitrogen, of
// which the error variance is 57. He divides by n-1, so that much less of it is taken off
// here. Data and results from memory: slope 0.4232, intercept 67.5613.
func TestPlaneOfFullersCorn(t *testing.T) {
	yield := []float64{86, 115, 90, 86, 110, 91, 99, 96, 99, 104, 96}
	nitrogen := []float64{70, 97, 53, 64, 95, 64, 50, 70, 94, 69, 51}
	ones := make([]float64, len(yield))
	group := make([]int, len(yield))
	for i := range ones {
		ones[i], group[i] = 1, i
	}
	p, ok := FitPlane(yield, [][]float64{ones, nitrogen}, []float64{0, 57 * 10.0 / 11}, group)
	require.True(t, ok)
	assert.InDelta(t, 67.5613, p.B[0], 5e-5*71, "the printed one was had from the rounded slope")
	assert.InDelta(t, 0.4232, p.B[1], 5e-5)
}

// Without errors in x it is ordinary least squares: NIST's Norris data, whose line is
// certified (Statistical Reference Datasets).
func TestPlaneWithoutErrorsIsLeastSquares(t *testing.T) {
	d := table(t, "norris.csv")
	x, y := numbers(t, d["x"]), numbers(t, d["y"])
	ones, group := make([]float64, len(x)), make([]int, len(x))
	for i := range ones {
		ones[i], group[i] = 1, i
	}
	p, ok := FitPlane(y, [][]float64{ones, x}, []float64{0, 0}, group)
	require.True(t, ok)
	assert.InDelta(t, -0.262323073774029, p.B[0], 1e-8)
	assert.InDelta(t, 1.00211681802045, p.B[1], 1e-11)
	assert.InDelta(t, 0.884796396144373, p.Residual, 1e-9)
}

// Over many draws the coefficients are right in the middle and their 95 % intervals hold the
// truth about that often, although errors in x hide it from ordinary least squares.
func TestPlaneSeesThroughErrors(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	const truth, runs = 0.3, 400
	held, mean, plain := 0, 0.0, 0.0
	for range runs {
		var y, amps, speed []float64
		var group []int
		for g := range 30 {
			load, shared := 4+1.2*r.NormFloat64(), 0.02*r.NormFloat64()
			for range 6 {
				volts := 11 + r.NormFloat64()
				turning := (volts - truth*load) / 0.33
				y = append(y, volts+shared+0.02*r.NormFloat64())
				amps = append(amps, load+0.6*r.NormFloat64())
				speed = append(speed, turning)
				group = append(group, g)
			}
		}
		p, ok := FitPlane(y, [][]float64{amps, speed}, []float64{0.36, 0}, group)
		require.True(t, ok)
		uncorrected, _ := FitPlane(y, [][]float64{amps, speed}, []float64{0, 0}, group)
		mean += p.B[0] / runs
		plain += uncorrected.B[0] / runs
		if math.Abs(p.B[0]-truth) < 2.05*p.SE(0) { // Student's t of 28
			held++
		}
	}
	assert.InDelta(t, truth, mean, 0.006)
	assert.Less(t, plain, 0.27)
	assert.InDelta(t, 0.95, float64(held)/runs, 0.035)
}

func TestPlanesThatCannotBeLaid(t *testing.T) {
	x := []float64{1, 2, 3, 4, 5}
	group := []int{0, 1, 2, 3, 4}
	_, ok := FitPlane(x, [][]float64{x, x}, []float64{0, 0}, group)
	assert.False(t, ok, "columns alike")
	_, ok = FitPlane(x, [][]float64{x}, []float64{20}, group)
	assert.False(t, ok, "all of x may be error")
	_, ok = FitPlane(x, [][]float64{x}, []float64{0}, []int{0, 0, 1, 1, 1})
	assert.False(t, ok, "two groups")
	_, ok = FitPlane([]float64{1, 2, math.NaN(), 4, 5}, [][]float64{x}, []float64{0}, group)
	assert.False(t, ok, "a value is missing")
}
