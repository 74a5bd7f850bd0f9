package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Sen (1968), the worked example: slope 4, 93 % interval from 26/7 to 35/8.
func TestTheilSenOfSen(t *testing.T) {
	c := table(t, "sen1968.csv")
	slope, low, high := TheilSen(numbers(t, c["t"]), numbers(t, c["y"]), 0.93)
	within(t, 1e-12, 4, slope, "slope")
	within(t, 1e-12, 26.0/7, low, "low")
	within(t, 1e-12, 35.0/8, high, "high")
}

// Flow of the Nile 1871 to 1970 (Cobb, Biometrika 65, 1978); values by R 4.2.2 and scipy 1.10.1.
func TestMannKendallOfTheNile(t *testing.T) {
	flow := numbers(t, table(t, "nile.csv")["flow"])
	x := make([]float64, len(flow))
	for i := range x {
		x[i] = float64(i)
	}
	m := MannKendall(flow)
	require.Equal(t, -1387.0, m.S)
	within(t, 1e-9, 112728.0+1.0/3, m.Var/m.Inflation, "variance with ties")
	within(t, 1e-9, -4.128066523, m.Z*math.Sqrt(m.Inflation), "z of independent years")
	require.Greater(t, m.Inflation, 1.0, "its years depend on one another")
	slope, low, high := TheilSen(x, flow, 0.95)
	within(t, 1e-12, -2.6, slope, "slope")
	within(t, 1e-6, -3.627907, low, "low")
	within(t, 1e-6, -1.428571, high, "high")

	// Once its step of 1898 is known no drift is left.
	rest := MannKendall(flow[28:])
	slope, low, high = TheilSen(x[28:], flow[28:], 0.95)
	within(t, 1e-6, 0.711982, slope, "slope behind the step")
	within(t, 1e-6, -0.692308, low, "low behind the step")
	within(t, 1e-6, 2.090909, high, "high behind the step")
	require.InDelta(t, 0.309580, rest.P, 1e-6)
	within(t, 1e-6, 1.016105, rest.Z, "z behind the step")
	require.Equal(t, 1.0, rest.Inflation)
}

// Upper tails of S in Gilbert, Statistical Methods for Environmental Pollution Monitoring
// (1987), table A18, after Kendall (1975); printed to three digits, the values here from memory.
func TestKendallTailOfTheTables(t *testing.T) {
	for _, c := range []struct {
		n, s int
		p    float64
	}{{4, 6, 0.0416667}, {5, 8, 0.0416667}, {10, 21, 0.0362751}} {
		require.InDelta(t, c.p, kendallTail(c.n, c.s), 5e-8, "n %d", c.n)
	}
	m := MannKendall([]float64{1, 2, 3, 4})
	require.True(t, m.Exact)
	require.InDelta(t, 2*0.0416667, m.P, 1e-7)
}

func TestMannKendallAgainstAllOrders(t *testing.T) {
	y := []float64{3, 1, 4, 1.5, 9, 2.6}
	got := MannKendall(y)
	n, far := 0, 0
	var permute func(k int)
	p := append([]float64{}, y...)
	permute = func(k int) {
		if k == len(p) {
			s := 0
			for i := range p {
				for _, later := range p[i+1:] {
					s += sign(later - p[i])
				}
			}
			n++
			if math.Abs(float64(s)) >= math.Abs(got.S) {
				far++
			}
			return
		}
		for i := k; i < len(p); i++ {
			p[k], p[i] = p[i], p[k]
			permute(k + 1)
			p[k], p[i] = p[i], p[k]
		}
	}
	permute(0)
	require.InDelta(t, float64(far)/float64(n), got.P, 1e-12)
}

func TestTrendOfLittleOrNothing(t *testing.T) {
	nan := math.NaN()
	require.Equal(t, 1.0, MannKendall([]float64{1, 2}).P)
	require.Equal(t, 1.0, MannKendall([]float64{5, 5, 5, 5}).P)
	require.Equal(t, MannKendall([]float64{1, 3, 2, 4}), MannKendall([]float64{1, nan, 3, 2, math.Inf(1), 4}))
	slope, low, high := TheilSen([]float64{1, 1}, []float64{2, 3}, 0.95)
	require.True(t, math.IsNaN(slope) && math.IsNaN(low) && math.IsNaN(high))
	slope, low, high = TheilSen([]float64{0, 2}, []float64{1, 5}, 0.95)
	require.Equal(t, 2.0, slope)
	require.True(t, math.IsInf(low, -1) && math.IsInf(high, 1), "two readings say nothing of how sure it is")
}

func TestTheilSenCoversTheSlope(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 0))
	for _, n := range []int{8, 25} {
		covered, of := 0, 2000
		for range of {
			x, y := make([]float64, n), make([]float64, n)
			for i := range x {
				x[i] = float64(i)
				y[i] = 0.3*x[i] + rng.NormFloat64()
			}
			_, low, high := TheilSen(x, y, 0.95)
			if low <= 0.3 && 0.3 <= high {
				covered++
			}
		}
		require.InDelta(t, 0.95, float64(covered)/float64(of), 0.02, "n %d", n)
	}
}

// NIST/SEMATECH e-Handbook 8.2.3.4: ten failures of a system in 1500 h; the times from memory.
func TestLaplaceOfTheHandbook(t *testing.T) {
	times := numbers(t, table(t, "nist_trend_events.csv")["t_h"])
	// Of 45 pairs of times between failures 33 get longer, as printed there, and two are alike.
	gaps := []float64{times[0]}
	for i := 1; i < len(times); i++ {
		gaps = append(gaps, times[i]-times[i-1])
	}
	require.Equal(t, 33.0-11, MannKendall(gaps).S)
	u, p := Laplace(times, 1500)
	within(t, 1e-6, -1.3269492, u, "U")
	require.InDelta(t, 0.184525, p, 1e-6)
	u, p = Laplace(nil, 10)
	require.Zero(t, u)
	require.Equal(t, 1.0, p)
}

// Source: Jarrett, Biometrika 66 (1979), R's boot::coal: 191 explosions in British coal mines. They became
// rarer: Laplace's statistic over 1851 to 1963, and by years a change after 1891 from 3.10 to 0.90 a
// year, twice the log-likelihood ratio 69.988, by R 4.2.2. Years are rows of very many tries here, of
// which events are rare.
func TestCoalMinesBecameSafer(t *testing.T) {
	dates := numbers(t, table(t, "coal.csv")["date"])
	require.Len(t, dates, 191)
	times, years := []float64{}, make([]float64, 112)
	for _, d := range dates {
		times = append(times, d-1851)
		years[int(d)-1851]++
	}
	u, p := Laplace(times, 112)
	within(t, 1e-6, -7.678157, u, "Laplace")
	assert.Less(t, p, 1e-13)

	const many = 1e7
	tries := make([]float64, len(years))
	for i := range tries {
		tries[i] = many
	}
	all := Segmentations(len(years), 1, 1, Binomial(years, tries))
	require.Equal(t, []int{41}, all[1].At)
	assert.InDelta(t, 69.988345, all[0].Cost-all[1].Cost, 1e-3)
	assert.InDelta(t, 3.097560976, sum(years[:41])/41, 1e-9)
	assert.InDelta(t, 0.901408451, sum(years[41:])/71, 1e-9)
	assert.Less(t, SharpestRateStep(years, tries, 3).P, 1e-10)
}

func sum(v []float64) float64 {
	s := 0.0
	for _, x := range v {
		s += x
	}
	return s
}
