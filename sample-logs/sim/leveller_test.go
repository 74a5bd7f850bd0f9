package sim

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

// perRadian is a leveller with its gains given per radian, without anything that is not in a
// textbook's loop.
func perRadian(kp, kd float64) leveller {
	return leveller{kp: kp * degree, kd: kd * degree, most: math.Inf(1), share: 1}
}

// benched is the board's angle at each run of the loop, h seconds apart, when a command of 1
// is a torque of -1 N m.
func benched(p *platform, l *leveller, h, dt, seconds float64) []float64 {
	p.half, p.halfWidth, p.stop = 1, 1, 1e9
	out, robot := []float64{p.angle}, away()
	for range int(math.Round(seconds / h)) {
		p.push = -l.command(p.angle/degree, p.rate/degree, h)
		for range int(math.Round(h / dt)) {
			p.step(robot, dt)
		}
		out = append(out, p.angle)
	}
	return out
}

// readTable reads a table of numbers with a header, lines of # before it.
func readTable(t *testing.T, name string) []map[string]float64 {
	t.Helper()
	f, err := os.Open(name)
	require.NoError(t, err)
	defer f.Close()
	r := csv.NewReader(f)
	r.Comment = '#'
	rows, err := r.ReadAll()
	require.NoError(t, err)
	var out []map[string]float64
	for _, row := range rows[1:] {
		m := map[string]float64{}
		for i, cell := range row {
			m[rows[0][i]], err = strconv.ParseFloat(cell, 64)
			require.NoError(t, err)
		}
		out = append(out, m)
	}
	return out
}

// A board without springs or friction under a loop of 50 runs a second: angles at three
// times, the modulus of the slowest mode, and what that is as damping and frequency, by GNU
// Octave 7.3.0 (control 3.4.0, c2d with zero-order hold; see the head of the table).
func TestLoopAgainstOctave(t *testing.T) {
	t.Parallel()
	rows := readTable(t, "testdata/expected_pd_discrete.csv")
	require.NotEmpty(t, rows)
	for _, row := range rows {
		l := perRadian(row["kp"], row["kd"])
		angles := benched(&platform{inertia: 1, angle: 0.2}, &l, 0.02, 2e-6, 3)
		assert.InDelta(t, row["theta_25"], angles[25], 5e-5)
		assert.InDelta(t, row["theta_50"], angles[50], 5e-5)
		assert.InDelta(t, row["theta_100"], angles[100], 5e-5)
		least := 0.0
		for _, a := range angles[:151] {
			least = math.Min(least, a)
		}
		if row["zeta_eq"] < 0.9 {
			assert.InDelta(t, row["theta_min_150"], least, 5e-5)
		}

		largest := slowest(t, closeLoop(plant{board: &platform{}, inertia: 1}, perRadian(row["kp"], row["kd"]), 0.02))
		assert.InEpsilon(t, row["pole_abs"], cmplx.Abs(largest), 1e-6)
		if row["zeta_eq"] < 0.9 { // a double real mode cannot be told to better than half the digits
			zeta, wn := closed{h: 0.02}.pair(largest)
			assert.InDelta(t, row["zeta_eq"], zeta, 1e-7)
			assert.InEpsilon(t, row["wn_eq"], wn, 1e-7)
		}
	}
}

// slowest is the eigenvalue of largest modulus that belongs to a mode of the loop, of a pair
// that with a positive imaginary part. States that nothing moves on the bench have a 1.
func slowest(t *testing.T, c closed) complex128 {
	t.Helper()
	var out complex128
	for _, z := range c.modes() {
		if cmplx.Abs(z) > cmplx.Abs(out) && imag(z) >= 0 && z != 1 {
			out = z
		}
	}
	return out
}

// A loop pays for delay in damping: kp 25, no rate, 50 runs a second, one run late: damping
// -0.07427 and a modulus of 1.0074113741 (numpy eig; the rule wn*tau/2 gives -0.0750). A rate
// gain of kp*h/2 = 0.25 just makes up for the hold alone.
func TestDelayCostsDamping(t *testing.T) {
	late := perRadian(25, 0)
	late.late = 1
	z := slowest(t, closeLoop(plant{board: &platform{}, inertia: 1}, late, 0.02))
	zeta, _ := closed{h: 0.02}.pair(z)
	assert.InDelta(t, -0.07427, zeta, 5e-6)
	assert.InDelta(t, 1.0074113741, cmplx.Abs(z), 1e-9)

	angles := benched(&platform{inertia: 1, angle: 0.001}, &late, 0.02, 1e-5, 20)
	growth := math.Pow(top(angles[900:])/top(angles[100:200]), 1.0/800)
	assert.InDelta(t, 1.0074, growth, 3e-4, "and so it grows in the simulation")

	exact := slowest(t, closeLoop(plant{board: &platform{}, inertia: 1}, perRadian(25, 0.25), 0.02))
	assert.InDelta(t, 1, cmplx.Abs(exact), 1e-9)
	even := perRadian(25, 0.25)
	angles = benched(&platform{inertia: 1, angle: 0.2}, &even, 0.02, 1e-5, 20)
	assert.InEpsilon(t, top(angles[:200]), top(angles[800:]), 0.01)
}

func top(v []float64) float64 {
	out := 0.0
	for _, x := range v {
		out = math.Max(out, math.Abs(x))
	}
	return out
}

// Ogata, Modern Control Engineering, example on velocity feedback: J = B = 1; K 12.459895 and
// Kh 0.178081 give an overshoot of 0.2 at 1 s (simulated by GNU Octave: 0.200000 at 1.00000).
// Board springs that only pull: J 0.5, b 0.2, k 1.5, kp 10 has an overshoot of 0.87710588 of
// an end at 0.86956522, with kd 1 of 0.44401015 (Octave).
func TestStepsOfTheLoop(t *testing.T) {
	for _, c := range []struct {
		name                 string
		p                    platform
		kp, kd, end, over, t float64
	}{
		{"velocity feedback", platform{inertia: 1, damp: 1}, 12.459895, 12.459895 * 0.178081, 1, 0.2, 1},
		{"springs, no rate", platform{inertia: 0.5, damp: 0.2, stiff: 1.5}, 10, 0, 0.86956522, 0.87710588, 0},
		{"springs and rate", platform{inertia: 0.5, damp: 0.2, stiff: 1.5}, 10, 1, 0.86956522, 0.44401015, 0},
	} {
		l := perRadian(c.kp, c.kd)
		l.zero = 1 / degree // it takes 1 rad for level
		const h = 1e-4
		angles := benched(&c.p, &l, h, h, 60)
		peak, at := 0.0, 0
		for i, a := range angles {
			if a > peak {
				peak, at = a, i
			}
		}
		assert.InDelta(t, c.end, angles[len(angles)-1], 1e-3, c.name)
		assert.InDelta(t, c.over, peak/c.end-1, 1e-3, c.name)
		if c.t > 0 {
			assert.InDelta(t, c.t, float64(at)*h, 2e-3, c.name)
		}
	}
}

// The modes of the same boards by GNU Octave's damp: wn 4.79583152, damping 0.04170288, with
// a rate gain of 1 0.25021730, with 3.15708207 0.7.
func TestModesAgainstOctave(t *testing.T) {
	for _, c := range []struct{ kd, zeta float64 }{{0, 0.04170288}, {1, 0.25021730}, {3.15708207, 0.7}} {
		const h = 1e-5
		loop := closeLoop(plant{board: &platform{stiff: 1.5, damp: 0.2}, inertia: 0.5}, perRadian(10, c.kd), h)
		zeta, wn := loop.pair(slowest(t, loop))
		assert.InDelta(t, c.zeta, zeta, 1e-4)
		assert.InEpsilon(t, 4.79583152, wn, 1e-4)
	}
}

// Each feature of the leveller does its one thing.
func TestLevellerFeatures(t *testing.T) {
	plain := leveller{kp: 0.01, kd: 0.002, most: 0.3, share: 1}
	check := func(name string, change func(*leveller), tilts, rates, want []float64) {
		t.Helper()
		l := plain
		change(&l)
		for i := range tilts {
			assert.InDelta(t, want[i], l.command(tilts[i], rates[i], 0.01), 1e-12, "%s, run %d", name, i)
		}
	}
	none := []float64{0, 0, 0, 0}
	check("plain", func(*leveller) {}, []float64{5, -5, 50}, []float64{10, 0, 0}, []float64{0.07, -0.05, 0.3})
	check("two values", func(l *leveller) { l.bang, l.quiet = 0.1, 2 }, []float64{5, -9, 1.9, 2.1}, none, []float64{0.1, -0.1, 0, 0.1})
	check("late", func(l *leveller) { l.late = 2 }, []float64{1, 2, 3, 4}, none, []float64{0, 0, 0.01, 0.02})
	check("slow", func(l *leveller) { l.ramp = 0.5 }, []float64{20, 20, 20, -20}, none, []float64{0.005, 0.01, 0.015, 0.01})
	check("integral", func(l *leveller) { l.ki, l.sumMost = 1, 0.15 }, []float64{10, 10, 10, -10}, none, []float64{0.2, 0.25, 0.25, -0.05})
}
