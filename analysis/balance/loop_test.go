package balance

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/analysis/swing"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// By hand: (s² + 2·0.3·2 s + 4)(s² + 3 s + 1.5) is s⁴ + 4.2 s³ + 9.1 s² + 13.8 s + 6, which are the
// poles of s² (s² + damp s + stiff) + pull gain (lead s² + s + again).
func TestPolesOfALoopThatSumsUp(t *testing.T) {
	l := law{gain: 13.8 / 700, lead: (9.1 - 4) / 13.8, again: 6 / 13.8}
	now := rig{damp: 4.2, stiff: 4, pull: 700, tilt: 1}.closeLoop(l)
	assert.InDelta(t, 0.3, now.zeta, 1e-6)
	assert.InDelta(t, 2, now.wn, 1e-6)
	assert.True(t, now.stable)
	l.wound = 0.05 // it swings from level too, by what it has summed up
	assert.InDelta(t, 0.3, rig{damp: 4.2, stiff: 4, pull: 700}.closeLoop(l).zeta, 1e-6)
}

// A loop with a rate term and an integral is told by both, although the integral takes off what the
// rate looks ahead; one without a rate term is still told for that. (Of a swing of one frequency the
// integral is a sum of tilt and rate, and nothing can be told.)
func TestALoopThatSumsUpIsHeard(t *testing.T) {
	const gain, lead = 0.01, 0.45
	for _, again := range []float64{0.3, 0.6} {
		for _, rate := range []float64{lead, 0} {
			tilt := func(t float64) float64 { return dying(t) + 4*math.Sin(1.1*t) }
			sum := func(t float64) float64 {
				return 10*math.Exp(-0.3*t)*(3*math.Sin(3*t)-0.3*math.Cos(3*t))/(9+0.09) - 4*math.Cos(1.1*t)/1.1
			}
			h := answering(6, tilt, func(t float64) float64 {
				return gain*(tilt(t)+rate*(tilt(t+1e-4)-tilt(t-1e-4))/2e-4+again*sum(t)) + 0.02
			})
			require.True(t, h.grows(0))
			best, better, n := h.likeliest(tiltAndSum, tiltRateSum)
			assert.InDelta(t, rate, best.lead-best.late, 0.02)
			if rate > 0 {
				assert.Greater(t, better, 3*DefaultConfig().Evidence)
			}
			out, _ := h.lawsThatSum([]law{best}, n, h.start)
			assert.InDelta(t, again, out[0].again, 0.05)
			assert.InDelta(t, 0.02+gain*again*sum(0), out[0].wound, 0.002)
		}
	}
}

// Commands of under 0.04 that leave the robot where it is are found out by its way; where it goes by
// all of them, none are left out.
func TestCommandsThatDoNotMoveTheRobot(t *testing.T) {
	said := func(i int) float64 { return 0.15 * math.Exp(-float64(i)/120) * math.Sin(float64(i)/14) }
	for _, dead := range []float64{0, 0.04} {
		const lag, slide, full = 0.06, 0.002, 2.0
		n, before := 200, 40
		r := &run{sign: 1, step: runStepS, before: before, tilt: make([]float64, n), turning: make([]float64, n), terms: make([]float64, rigTerms*n)}
		speed, way := 0.0, 0.0
		for i := range before + n {
			u, slope := said(i), 5*math.Cos(float64(i)/23)
			r.command, r.slope, r.way = append(r.command, u), append(r.slope, slope), append(r.way, way)
			if math.Abs(u) < dead {
				u = 0
			}
			for range 25 {
				way += full * speed * 1e-3
				speed += (u - slide*slope - speed) * 1e-3 / lag
			}
		}
		r.followWay()
		require.NotNil(t, r.way)
		assert.InDelta(t, dead, r.dead, 1.5*deadStep)
		for i, u := range r.command {
			if was := said(i); math.Abs(was) < dead-deadStep || dead == 0 {
				assert.Equal(t, dead == 0 || was == 0, u == was, "command of %g", was)
			}
		}
	}
}

// Draws that have the other of two pairs of poles are left out while they are few.
func TestOnePairOfPoles(t *testing.T) {
	zetas, hz := []float64{0.2, 0.21, 0.19, 0.2, 0.95, 0.2, 0.2, 0.2, 0.2, 0.2}, []float64{0.5, 0.5, 0.52, 0.5, 2, 0.5, 0.5, 0.5, 0.5, 0.5}
	z, f := sameSwing(zetas, hz)
	assert.Len(t, z, 9)
	assert.NotContains(t, z, 0.95)
	assert.NotContains(t, f, 2.0)
	z, f = sameSwing([]float64{0.2, 1, 1, 0.2}, []float64{0.5, math.Inf(1), math.Inf(1), 0.5})
	assert.Len(t, z, 4)
	assert.Equal(t, []float64{0.5, 0.5}, f)
}

// What levelled a robot that drives off ends where its command last went the other way; without a
// command, with the swing before.
func TestLevelledUntilItDrivesOff(t *testing.T) {
	tr := trace{}
	in := Input{Drive: &series.Float{}}
	for i := range 100 {
		at := int64(i) * 100_000
		tr.t, tr.v = append(tr.t, at), append(tr.v, 10*math.Cos(float64(i)*math.Pi/25))
		u := 0.1 * math.Cos(float64(i)*math.Pi/25)
		if i >= 80 { // it backs off
			u = -0.5
		}
		in.Drive.T, in.Drive.V = append(in.Drive.T, at), append(in.Drive.V, u)
	}
	a := attempt{start: 0, end: 95, entryT: tr.t[95], from: []int{0, 14, 39, 64, 88}, peaks: []int{0, 25, 50, 75, 92}, outcome: schemas.BalanceLeft}
	assert.Equal(t, 62, a.through(tr, in), "before the half swing in which it began to")
	assert.Equal(t, 75, a.through(tr, Input{}))
	a.outcome = schemas.BalanceRanOut
	assert.Equal(t, 95, a.through(tr, in))
}

// Swings that each fall short of the one before, beyond what a peak is known by, die down however
// slowly; such as come and go by as much are of one size.
func TestSlowlyDyingIsNotConstant(t *testing.T) {
	swings := func(sizes ...float64) (attempt, trace) {
		var a attempt
		var tr trace
		for i, v := range sizes {
			a.peaks, tr.v, tr.sd = append(a.peaks, i), append(tr.v, v), append(tr.sd, 0.05)
		}
		return a, tr
	}
	a, tr := swings(12, -12, 11.1, -10.4, 10, -5)
	assert.False(t, a.constant(tr))
	a, tr = swings(12, -10.2, 10.6, -10.1, 10.4, -5)
	assert.True(t, a.constant(tr))
}

// A swing alone tells a damping only where it leaves no more than noise; where more is left, its interval
// is told and nothing nearer.
func TestWhatASwingAloneTells(t *testing.T) {
	for _, c := range []struct {
		rms  float64
		told bool
	}{{0.1, true}, {0.3, false}} {
		var b schemas.Balance
		sw := swing.Fit{Kind: swing.Damped, Zeta: 0.2, ZetaSD: 0.005, Wn: 2, WnSD: 0.02, RMS: c.rms, P: []float64{0, 10, 0, 0.4, 1.96}}
		tellDamping(&b, &sw, tuned{}, false, 0.1)
		assert.Equal(t, c.told, b.DampingRatio != nil)
		require.NotNil(t, b.DampingLow)
		require.NotNil(t, b.DampingHigh)
		assert.Less(t, *b.DampingLow, 0.2)
		assert.Greater(t, *b.DampingHigh, 0.2)
		assert.NotNil(t, b.NaturalHz)
	}
}
