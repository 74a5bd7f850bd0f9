package balance

import (
	"math"
	"testing"

	"github.com/afterbell/afterbell/analysis/swing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas/series"
)

// Savitzky and Golay, Analytical Chemistry 36 (1964), tables of weights (from memory; by
// scipy 1.10.1 savgol_coeffs too): smoothing by a parabola over 5, 7 and 9 even points, and the
// derivative over 5. The local parabola is the same where samples are even, and goes on
// where they are not.
func TestLocalParabolaIsSavitzkyGolay(t *testing.T) {
	for _, c := range []struct {
		weights []float64
		over    float64
		rate    bool
	}{
		{[]float64{-3, 12, 17, 12, -3}, 35, false},
		{[]float64{-2, 3, 6, 7, 6, 3, -2}, 21, false},
		{[]float64{-21, 14, 39, 54, 59, 54, 39, 14, -21}, 231, false},
		{[]float64{-2, -1, 0, 1, 2}, 10, true},
	} {
		half := len(c.weights) / 2
		for at, want := range c.weights {
			var m moments
			for i := -half; i <= half; i++ {
				y := 0.0
				if i+half == at {
					y = 1
				}
				m.add(float64(i)*0.02, y)
			}
			value, rate, scale, ok := m.parabola()
			require.True(t, ok)
			if c.rate {
				assert.InDelta(t, want/c.over/0.02, rate, 1e-9, "rate over %d, weight %d", len(c.weights), at)
				continue
			}
			assert.InDelta(t, want/c.over, value, 1e-12, "over %d, weight %d", len(c.weights), at)
			squares := 0.0
			for _, w := range c.weights {
				squares += w * w / (c.over * c.over)
			}
			assert.InDelta(t, math.Sqrt(squares), scale, 1e-12, "noise let through over %d", len(c.weights))
		}
	}
}

// A parabola is its own local parabola, wherever its samples lie and wherever it is read.
func TestLocalParabolaOfAParabola(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		a, b, c := rapid.Float64Range(-10, 10).Draw(rt, "a"), rapid.Float64Range(-50, 50).Draw(rt, "b"), rapid.Float64Range(-50, 50).Draw(rt, "c")
		x := rapid.Float64Range(-0.3, 0.1).Draw(rt, "first")
		var m moments
		for range rapid.IntRange(5, 40).Draw(rt, "n") {
			m.add(x, a+b*x+c*x*x)
			x += rapid.Float64Range(0.005, 0.03).Draw(rt, "step")
		}
		value, rate, _, ok := m.parabola()
		if !ok || math.Abs(value-a) > 1e-4 || math.Abs(rate-b) > 1e-3 {
			rt.Fatalf("%v %g %g, want %g %g", ok, value, rate, a, b)
		}
	})
}

// letGo is a tilt that swings with the damping given by how its peaks fall, 50 times a second.
func letGo(seconds float64, tilt func(s float64) float64) swing.Stretch {
	var w swing.Stretch
	for i := 0; float64(i)*0.02 <= seconds; i++ {
		w.T, w.Y = append(w.T, float64(i)*0.02), append(w.Y, tilt(float64(i)*0.02))
	}
	return w
}

// Ogata, Modern Control Engineering, the second-order system of zeta 0.6 and wn 5 (from
// memory): overshoot 0.094780, peak time 0.785398 s, here sampled 50 times a second.
func TestOvershootAndPeakTimeOfTheBook(t *testing.T) {
	const zeta, wn, wd = 0.6, 5.0, 4.0
	w := letGo(8, func(s float64) float64 {
		s = math.Max(0, s-1)
		return 10 * math.Exp(-zeta*wn*s) * (math.Cos(wd*s) + zeta*wn/wd*math.Sin(wd*s))
	})
	in := Input{Tilt: &series.Float{}, MountDeg: 6, LevelDeg: 0.5, HoldS: 2, End: 8_000_000}
	for i := range w.T {
		in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(math.Round(w.T[i]*1e6))), append(in.Tilt.V, w.Y[i])
	}
	got := Detect(in, DefaultConfig()).Balances
	require.Len(t, got, 1)
	require.NotEmpty(t, got[0].Swings)
	assert.InDelta(t, -10*0.094780, got[0].Swings[0].Tilt, 0.02)
	assert.InDelta(t, 1+0.785398, got[0].Swings[0].AtS, 0.0201)
}

// Ogata, Modern Control Engineering, velocity feedback (from memory): J = B = 1 under K 12.459895
// and Kh 0.178081 has zeta 0.455950 and wn 3.529858, which is an overshoot of 0.2.
func TestRateTermOfTheServo(t *testing.T) {
	servo := rig{force: true, damp: 1, pull: 1, tilt: 1}
	now := servo.closeLoop(law{gain: 12.459895, lead: 0.178081})
	assert.InDelta(t, 3.529858, now.wn, 1e-6)
	assert.InDelta(t, 0.455950, now.zeta, 1e-6)
	assert.InDelta(t, 0.2, math.Exp(-math.Pi*now.zeta/math.Sqrt(1-now.zeta*now.zeta)), 1e-5)
	assert.True(t, now.stable)
}

// heldLoop is a double integrator under a command held for 20 ms, u = -25 theta - kd times
// the rate, of readings late steps old; the rate is measured or the difference over a step.
func heldLoop(kd float64, late int, backward bool) swing.Stretch {
	const h, kp = 0.02, 25.0
	theta, omega := []float64{0.2}, []float64{0}
	past := func(x []float64, i int) float64 { return x[max(0, i)] }
	w := swing.Stretch{}
	for k := range 400 {
		seen := k - late
		rate := past(omega, seen)
		if backward {
			rate = (past(theta, seen) - past(theta, seen-1)) / h
		}
		u := -kp*past(theta, seen) - kd*rate
		theta = append(theta, theta[k]+omega[k]*h+u*h*h/2)
		omega = append(omega, omega[k]+u*h)
		w.T, w.Y = append(w.T, float64(k)*h), append(w.Y, theta[k]*180/math.Pi)
	}
	return w
}

// Reference: Octave 7.3.0, control 3.4.0, c2d and margin, and the loops' eigenvalues: what a
// step of a discrete loop does to its swing, and the rate gains that just undo holding
// (half a step late) and one step more. The rule: lateness tau costs wn tau/2 of damping.
func TestCostOfDelay(t *testing.T) {
	for _, c := range []struct {
		kd       float64
		late     int
		backward bool
		abs      float64 // of the pole: what is left of a swing after a step
		tol      float64
	}{
		{0, 0, false, 1.0024968828, 1e-10},
		{0.25, 0, false, 1, 1e-10},
		{5, 0, false, 0.9513148795, 1e-10},
		{0, 1, true, 1.0074113741, 1e-10},
		{5, 1, true, 0.9493380261, 1e-9},
		{0.7551026, 1, false, 1, 1e-8},
	} {
		w := heldLoop(c.kd, c.late, c.backward)
		w.T, w.Y = w.T[20:], w.Y[20:] // the quick poles have gone
		s, ok := swing.DampedSwing(w)
		require.True(t, ok)
		assert.InDelta(t, c.abs, math.Exp(-s.P[3]*0.02), c.tol, "kd %g, %d late", c.kd, c.late)
		if c.kd == 0 {
			assert.InDelta(t, -5*0.02*(0.5+float64(c.late))/2, s.Zeta, 0.001, "by the rule")
		}
	}
}
