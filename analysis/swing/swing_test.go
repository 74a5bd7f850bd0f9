package swing

import (
	"encoding/csv"
	"math"
	"math/cmplx"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// columns reads testdata/name; lines with # say where it is from.
func columns(t *testing.T, name string) map[string][]float64 {
	t.Helper()
	f, err := os.Open("testdata/" + name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	require.Greater(t, len(rows), 1)
	out := map[string][]float64{}
	for _, row := range rows[1:] {
		for c, s := range row {
			v, err := strconv.ParseFloat(s, 64)
			require.NoError(t, err)
			out[rows[0][c]] = append(out[rows[0][c]], v)
		}
	}
	return out
}

// letGo is a tilt that swings with the damping given by how its peaks fall, 50 times a second.
func letGo(seconds float64, tilt func(s float64) float64) Stretch {
	var w Stretch
	for i := 0; float64(i)*0.02 <= seconds; i++ {
		w.T, w.Y = append(w.T, float64(i)*0.02), append(w.Y, tilt(float64(i)*0.02))
	}
	return w
}

// Reference: R 4.2.2 nls on the same 150 points (scipy 1.10.1 curve_fit agrees): parameters,
// standard errors and residual sum of squares; wn, zeta and their errors by the delta method.
func TestFitOfADampedSwing(t *testing.T) {
	data := columns(t, "damped_sinusoid.csv")
	s, ok := DampedSwing(Stretch{T: data["t"], Y: data["y"]})
	require.True(t, ok)
	require.InEpsilon(t, 1.454755824, s.P[0], 1e-6)
	require.InEpsilon(t, 11.773244641, s.Amplitude(), 1e-6)
	require.InEpsilon(t, 1.127572993, s.P[3], 1e-6)
	require.InEpsilon(t, 7.476097861, s.P[4], 1e-6)
	require.InEpsilon(t, 0.282809526, math.Atan2(-s.P[2], s.P[1]), 1e-5)
	require.InEpsilon(t, 25.455392013, s.RMS*s.RMS*150, 1e-8)
	require.InEpsilon(t, 7.560652093, s.Wn, 1e-6)
	require.InEpsilon(t, 0.149137003, s.Zeta, 1e-6)

	// nls takes the residuals for independent; so do we where they are.
	r := Residuals(Curve(Stretch{T: data["t"], Y: data["y"]}), s.P)
	cov := make([]float64, 25)
	for i := range cov {
		cov[i] = 1
	}
	factor := math.Sqrt(Widen(cov, r)[0])
	require.Less(t, factor, 1.2, "the noise of this data is independent")
	require.InEpsilon(t, 0.024900940, s.WnSD/factor, 1e-5)
	require.InEpsilon(t, 0.003339855, s.ZetaSD/factor, 1e-5)
	require.InEpsilon(t, 0.024966364, math.Sqrt(s.Cov[3*5+3])/factor, 1e-5)
	require.InEpsilon(t, 0.025473114, math.Sqrt(s.Cov[4*5+4])/factor, 1e-5)
}

// Noise-free identification is exact: the case of Hua and Sarkar, "Matrix pencil method for
// estimating parameters of exponentially damped/undamped sinusoids in noise", IEEE Trans.
// ASSP 38 (1990), with wn = 2 pi 1.2, zeta 0.15, 60 samples at 50 Hz.
func TestFitWithoutNoiseIsExact(t *testing.T) {
	const zeta = 0.15
	wn := 2 * math.Pi * 1.2
	var w Stretch
	for i := range 60 {
		at := float64(i) * 0.02
		w.T = append(w.T, at)
		w.Y = append(w.Y, 12*math.Exp(-zeta*wn*at)*math.Cos(wn*math.Sqrt(1-zeta*zeta)*at+0.3))
	}
	s, ok := DampedSwing(w)
	require.True(t, ok)
	require.InDelta(t, 7.53982237, s.Wn, 1e-8)
	require.InDelta(t, 0.15, s.Zeta, 1e-8)
	require.InDelta(t, 0.3, math.Atan2(-s.P[2], s.P[1]), 1e-8)
	require.InDelta(t, 0, s.P[0], 1e-8)
}

// The same case by the pencil alone, and as a recursion: y(k) = -a1 y(k-1) - a2 y(k-2) with a1
// -1.933578304765 and a2 0.955769088615 (by the exact map of the pair, from the same sheet).
func TestPencilWithoutNoiseIsExact(t *testing.T) {
	const zeta, h = 0.15, 0.02
	wn := 2 * math.Pi * 1.2
	y := make([]float64, 60)
	for i := range y {
		at := float64(i) * h
		y[i] = 12 * math.Exp(-zeta*wn*at) * math.Cos(wn*math.Sqrt(1-zeta*zeta)*at+0.3)
	}
	factors, ok := Pencil(y, 2)
	require.True(t, ok)
	require.Len(t, factors, 2)
	for _, z := range factors {
		require.InDelta(t, -1.933578304765, -2*real(z), 1e-9)
		require.InDelta(t, 0.955769088615, real(z)*real(z)+imag(z)*imag(z), 1e-9)
		s := cmplx.Log(z) / complex(h, 0)
		require.InDelta(t, 7.53982237, cmplx.Abs(s), 1e-8)
		require.InDelta(t, 0.15, -real(s)/cmplx.Abs(s), 1e-8)
	}
	_, ok = Pencil(y, 3)
	require.False(t, ok, "there are no three parts in it")
	_, ok = Pencil(y[:6], 2)
	require.False(t, ok)
}

// Thomson, Theory of Vibration with Applications, and Rao, Mechanical Vibrations:
// logarithmic decrement, peaks that fall by a factor within some cycles (formula from
// memory, figures by it).
func TestDampingByLogarithmicDecrement(t *testing.T) {
	for _, c := range []struct{ cycles, factor, zeta float64 }{
		{1, 2, 0.10965258},
		{1, 16, 0.40371275},
		{2, 4, 0.10965258},
		{5, 4, 0.04408422},
	} {
		const period = 0.9
		s, ok := DampedSwing(letGo(4, func(s float64) float64 {
			return 10 * math.Pow(c.factor, -s/period/c.cycles) * math.Cos(2*math.Pi*s/period)
		}))
		require.True(t, ok)
		assert.InDelta(t, c.zeta, s.Zeta, 1e-8, "1/%g in %g cycles", c.factor, c.cycles)
	}
}

// Reference: Octave 7.3.0, control 3.4.0, damp() and dcgain(): a platform with stiffness
// and friction, J 0.5, b 0.2, k 1.5, under kp 10 and a rate term; here integrated in steps of
// a tenth of a millisecond (Runge-Kutta of fourth order).
func TestSwingOfAStiffPlatform(t *testing.T) {
	for _, c := range []struct{ kd, zeta float64 }{{0, 0.04170288}, {1, 0.25021730}} {
		const j, b, k, kp, h = 0.5, 0.2, 1.5, 10.0, 1e-4
		rate := func(x, v float64) (dx, dv float64) { return v, (kp*(1-x) - c.kd*v - b*v - k*x) / j }
		x, v, n := 0.0, 0.0, 0
		w := letGo(6, func(s float64) float64 {
			for ; float64(n)*h < s-h/2; n++ {
				x1, v1 := rate(x, v)
				x2, v2 := rate(x+h/2*x1, v+h/2*v1)
				x3, v3 := rate(x+h/2*x2, v+h/2*v2)
				x4, v4 := rate(x+h*x3, v+h*v3)
				x, v = x+h/6*(x1+2*x2+2*x3+x4), v+h/6*(v1+2*v2+2*v3+v4)
			}
			return x
		})
		s, ok := DampedSwing(w)
		require.True(t, ok)
		assert.InDelta(t, 4.79583152, s.Wn, 1e-6, "kd %g", c.kd)
		assert.InDelta(t, c.zeta, s.Zeta, 1e-7, "kd %g", c.kd)
		assert.InDelta(t, 0.86956522, s.P[0], 1e-7, "what stiffness leaves of the way")
	}
}
