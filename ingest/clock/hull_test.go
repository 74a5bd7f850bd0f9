package clock

import (
	"encoding/csv"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"gonum.org/v1/gonum/stat"
)

// What testdata/oneway_delay.csv was made of, and what scipy 1.10.1 (linprog, HiGHS) finds for
// it by the linear programme of Moon, Skelly and Towsley (INFOCOM 1999): seconds, seconds per
// second.
const (
	trueSkew       = 2.5e-5
	trueOffset     = 4.5e-3
	envelopeOffset = 0.004512248666666666
	envelopeSkew   = 2.5005777777777776e-05
)

// onewayDelays are times in seconds and one-way delays of them in seconds.
func onewayDelays(t testing.TB) []point {
	t.Helper()
	file, err := os.Open("testdata/oneway_delay.csv")
	require.NoError(t, err)
	defer file.Close()
	reader := csv.NewReader(file)
	reader.Comment = '#'
	rows, err := reader.ReadAll()
	require.NoError(t, err)
	var out []point
	for _, row := range rows[1:] {
		u, err := strconv.ParseFloat(row[0], 64)
		require.NoError(t, err)
		y, err := strconv.ParseFloat(row[1], 64)
		require.NoError(t, err)
		out = append(out, point{u, y})
	}
	require.Len(t, out, 200)
	return out
}

// inMicroseconds are the same as limits: microseconds at seconds.
func inMicroseconds(delays []point) []point {
	out := slices.Clone(delays)
	for i := range out {
		out[i].y *= 1e6
	}
	return out
}

func TestUnderlineIsTheLowerEnvelope(t *testing.T) {
	got := underline(hull(inMicroseconds(onewayDelays(t))), 99.5)
	assert.InEpsilon(t, envelopeOffset, got.offset/1e6, 1e-9)
	assert.InEpsilon(t, envelopeSkew, got.drift/1e6, 1e-9)
	assert.InEpsilon(t, trueSkew, got.drift/1e6, 1e-3, "within a thousandth of the truth")
}

// Why it is the envelope and not a fit through the middle: the figures of least squares and of
// Theil and Sen are 12 % off in the skew and take the mean queueing of 2 ms into the offset
// (figures of scipy 1.10.1 for the data before rounding).
func TestLinesThroughTheMiddleAreWrong(t *testing.T) {
	delays := onewayDelays(t)
	var x, y, slopes []float64
	for i, p := range delays {
		x, y = append(x, p.u), append(y, p.y)
		for _, q := range delays[:i] {
			slopes = append(slopes, slope(q, p))
		}
	}
	offset, skew := stat.LinearRegression(x, y, nil, false)
	assert.InEpsilon(t, 6.871e-3, offset, 1e-4)
	assert.InEpsilon(t, 2.18862e-5, skew, 1e-5)
	slices.Sort(slopes)
	n := len(slopes)
	theilSen := (slopes[(n-1)/2] + slopes[n/2]) / 2
	assert.InEpsilon(t, 2.21226e-5, theilSen, 1e-5)

	for name, wrong := range map[string]float64{"least squares": skew, "Theil-Sen": theilSen} {
		assert.InDelta(t, 0.12, 1-wrong/trueSkew, 0.01, name)
	}
	assert.Greater(t, offset-trueOffset, 2e-3)
}

// A Track sees the same delays as arrivals, cut to whole microseconds.
func TestTrackFindsTheEnvelopeOfArrivals(t *testing.T) {
	var track Track
	for _, p := range onewayDelays(t) {
		robot := int64(math.Round(p.u * 1e6))
		track.Arrived(robot, robot+int64(math.Round(p.y*1e6)))
	}
	fit, ok := track.Fit()
	require.True(t, ok)
	assert.True(t, fit.OneSided)
	assert.True(t, math.IsInf(fit.Bound, 1))
	assert.True(t, math.IsInf(fit.DriftBound, 1))
	assert.Zero(t, fit.Exchanges)
	assert.Zero(t, fit.MinDelay)
	assert.InDelta(t, envelopeSkew*1e6, fit.DriftPPM, 0.02) // a microsecond over the edge's 90 s
	offset, bound := track.BoundAt(0)
	assert.InDelta(t, envelopeOffset*1e6, offset, 2)
	assert.True(t, math.IsInf(bound, 1))
}

func TestUnderlineEdges(t *testing.T) {
	bent := []point{{0, 10}, {10, 0}, {40, 30}}
	for name, c := range map[string]struct {
		hull   []point
		middle float64
		want   line
	}{
		"one point":                  {[]point{{-3, 7}}, -3, line{7, 0}},
		"middle before all":          {bent, -1, line{0, 0}},
		"middle at the first":        {bent, 0, line{0, 0}},
		"middle behind all":          {bent, 41, line{0, 0}},
		"over the first edge":        {bent, math.Nextafter(10, 0), line{10, -1}},
		"over the corner":            {bent, 10, line{0, 0}},
		"over the second edge":       {bent, math.Nextafter(10, 20), line{-10, 1}},
		"steeper than clocks run":    {[]point{{0, 0}, {1, 2000}}, 0.5, line{0, 500}},
		"downwards steeper than so":  {[]point{{0, 0}, {1, -2000}}, 0.5, line{-1500, -500}},
		"from too steep to horizon":  {[]point{{0, 9000}, {1, 0}, {2, 0}}, 1, line{250, -250}},
		"points at one moment count": {hull([]point{{0, 3}, {0, 1}, {2, 4}, {2, 3}}), 1, line{1, 1}},
	} {
		got := underline(c.hull, c.middle)
		assert.InDelta(t, c.want.offset, got.offset, 1e-9, name)
		assert.InDelta(t, c.want.drift, got.drift, 1e-9, name)
	}
}

// limits are random points about a line, the i-th second after some gap, up or down.
func limits(r *rand.Rand, up float64) []point {
	var out []point
	u := -100 * r.Float64()
	for range 3 + r.IntN(25) {
		out = append(out, point{u, 40*u/1e3 + up*r.ExpFloat64()*50})
		u += r.ExpFloat64() * 5
	}
	return out
}

// simplexGreatest is the greatest a+b*u with a+b*x <= y, a+b*x >= z and |b| <= MaxDrift, by
// gonum's simplex, which knows nothing of hulls. It solves the dual programme, which has the
// same optimum and is in the form the simplex takes: least h*v with g'v = (1, u), v >= 0.
func simplexGreatest(t testing.TB, upper, lower []point, u float64) float64 {
	t.Helper()
	n := len(upper) + len(lower) + 2
	g, h := mat.NewDense(2, n, nil), make([]float64, 0, n)
	limit := func(offset, drift, most float64) {
		g.SetCol(len(h), []float64{offset, drift})
		h = append(h, most)
	}
	for _, p := range upper {
		limit(1, p.u, p.y)
	}
	for _, p := range lower {
		limit(-1, -p.u, -p.y)
	}
	limit(0, 1, MaxDrift)
	limit(0, -1, MaxDrift)
	greatest, _, err := lp.Simplex(h, g, []float64{1, u}, 1e-10, nil)
	require.NoError(t, err)
	return greatest
}

func turned(points []point) []point {
	var out []point
	for _, p := range slices.Backward(points) {
		out = append(out, point{-p.u, -p.y})
	}
	return out
}

// The region's greatest and least offset at any time are the optima of the linear programme,
// here solved by gonum v0.17.0 (lp.Simplex).
func TestRegionIsTheLinearProgramme(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		upper, lower := limits(r, 1), limits(r, -1)
		var lines region
		require.True(t, lines.fit(hull(slices.Clone(upper)), hull(turned(lower))))
		for _, u := range []float64{-120, -30, 0, 60} {
			low, high := lines.at(u)
			assert.InDelta(t, simplexGreatest(t, upper, lower, u), high, 1e-6)
			assert.InDelta(t, -simplexGreatest(t, turnOver(lower), turnOver(upper), u), low, 1e-6)
		}
	}
}

// turnOver changes the sign of offsets.
func turnOver(points []point) []point {
	out := slices.Clone(points)
	for i := range out {
		out[i].y = -out[i].y
	}
	return out
}

// The centroid's drift, where the polygon is a textbook figure.
func TestDriftIsTheCentroids(t *testing.T) {
	for name, c := range map[string]struct {
		lines        region
		drift, bound float64
	}{
		"triangle: a third of its height from the base": {region{slices: []slice{{-10, 0, 6}, {20, 3, 3}}}, 0, 20},
		"trapezium h(a+2b)/3(a+b)":                      {region{slices: []slice{{0, 0, 1}, {9, 0, 2}}}, 5, 5},
		"rectangle":                                     {region{slices: []slice{{-4, 1, 2}, {6, 5, 6}}}, 1, 5},
		"segment":                                       {region{slices: []slice{{2, 1, 1}, {6, 5, 5}}}, 4, 2},
		"point":                                         {region{slices: []slice{{2, 1, 1}}}, 2, 0},
	} {
		drift, bound := c.lines.drift()
		assert.InDelta(t, c.drift, drift, 1e-12, name)
		assert.InDelta(t, c.bound, bound, 1e-12, name)
	}
}

func TestRegionWithoutLineIsSaid(t *testing.T) {
	var lines region
	at := func(y float64) []point { return []point{{0, y}} }
	assert.True(t, lines.fit(at(1), turned(at(1))), "they touch")
	assert.False(t, lines.fit(at(1), turned(at(math.Nextafter(1, 2)))))
	// Above at 0 and below ten seconds later, as far as a clock may drift and a little more.
	assert.True(t, lines.fit(at(0), turned([]point{{10, 10 * MaxDrift}})))
	assert.False(t, lines.fit(at(0), turned([]point{{10, math.Nextafter(10*MaxDrift, 1e9)}})))
}
