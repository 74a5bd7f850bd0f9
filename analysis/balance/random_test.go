package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// randomScene is one attempt of a random kind after some driving.
func randomScene(r *rand.Rand) *scene {
	between := func(lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }
	s := &scene{}
	s.onFloor(r, between(6, 10))
	top := math.Copysign(between(9, 15), r.Float64()-0.5)
	command := between(0.25, 0.6)
	s.climb(top, between(0.2, 0.6), between(0.3, 1.8), command)
	wn := 2 * math.Pi * between(0.3, 1.4)
	switch r.IntN(9) {
	case 0: // over the top and down the other side
		s.swingOut(0.1, wn, 0, 0, math.Abs(top), 0.9*math.Pi/wn)
		s.driveOff(between(0.15, 0.45), command, 3)
	case 1: // back down where it came from
		s.driveOff(between(0.15, 0.45), -command, 3)
	case 2: // still swinging when the match is over
		s.swingOut(0.02, wn, 0, 0, math.Abs(top), 4)
	case 3, 4: // a stiff platform with friction and an offset
		s.swingOut(between(0.05, 0.65), wn, between(-2.2, 2.2), between(0, 20), math.Abs(top), 14)
	case 5: // a loop with or without a rate term, late, limited
		plant := 800.0
		kp := wn * wn / plant
		s.swingUnder(answer{kp: kp, kd: kp * between(0.3, 1.2) / wn, delayS: between(0, 0.05), limit: 0.6, plant: plant}, 14)
	case 6: // a loop in proportion, with friction and a dead zone
		plant := 800.0
		s.swingUnder(answer{kp: wn * wn / plant, limit: 0.5, dead: 0.01, plant: plant, friction: between(10, 40)}, 14)
	case 7: // a seesaw under the robot's weight
		s.seesaw(between(0.3, 0.7), between(0.008, 0.02), math.Abs(top), 14)
	case 8: // a seesaw and a driver
		s.seesaw(between(0.3, 0.7), 0, math.Abs(top), 14)
	}
	return s
}

// tally is what Detect got right.
type tally struct {
	n, outcome, start, overshoots, level, settle int
	worst                                        float64
}

func (c *tally) add(o tally) {
	c.n, c.outcome, c.start, c.overshoots = c.n+o.n, c.outcome+o.outcome, c.start+o.start, c.overshoots+o.overshoots
	c.level, c.settle, c.worst = c.level+o.level, c.settle+o.settle, max(c.worst, o.worst)
}

func share(n, of int) float64 { return float64(n) / float64(max(1, of)) }

// Random attempts from equations the analysis does not use, logged by every kind of sensor.
// The truth is read off the tilt without noise at the same sample times. A peak, or a rest,
// nearer to the band's edge than what is left of the noise cannot be told by anyone: hence
// the shares. Without noise nothing may be missed.
func TestRandomAttempts(t *testing.T) {
	for _, c := range []struct {
		gyro               bool
		noise              []float64
		overshoots, settle float64 // least shares
	}{
		{false, []float64{0}, 1, 1},
		{false, []float64{0.1, 0.3, 0.5}, 0.94, 0.85},
		{true, []float64{0.1, 0.3, 0.5}, 0.97, 0.94},
		{false, []float64{1}, 0.85, 0.7},
		{true, []float64{1}, 0.92, 0.82},
	} {
		r := rand.New(rand.NewPCG(2031, 3))
		var all tally
		for _, noise := range c.noise {
			one := tryRandomAttempts(t, r, 70, sensor{noise: noise, spikes: 0.002, gyro: c.gyro})
			t.Logf("noise %.1f deg, gyro %v: %d attempts, outcome right %d, start within 0.1 s %d, overshoots exact %d, settle within 0.1 s %d of %d (worst %.3f s)",
				noise, c.gyro, one.n, one.outcome, one.start, one.overshoots, one.settle, one.level, one.worst)
			all.add(one)
		}
		require.Greater(t, all.level, all.n/4, "enough of them come to level to say something")
		require.GreaterOrEqual(t, share(all.outcome, all.n), 0.985)
		require.GreaterOrEqual(t, share(all.start, all.n), 0.98)
		require.GreaterOrEqual(t, share(all.overshoots, all.n), c.overshoots)
		require.GreaterOrEqual(t, share(all.settle, all.level), c.settle)
		if c.noise[0] == 0 {
			require.Equal(t, all.n, all.outcome)
			require.Less(t, all.worst, 1e-6, "without noise the definition holds to the sample")
		}
	}
}

func tryRandomAttempts(t *testing.T, r *rand.Rand, n int, w sensor) (c tally) {
	t.Helper()
	for i := range n {
		w.rate = []float64{20, 50, 100, 200, 1000}[i%5]
		w.jitter = 0.4 * r.Float64()
		told := r.IntN(3)
		w.drive, w.pose = told != 0, told != 1
		s := randomScene(r)
		l := s.log(r, w)
		want, ok := readOff(l.t, l.v, s.left, l.in.MountDeg, l.in.LevelDeg, l.in.HoldS, l.in.Periods[0].EndS)
		require.True(t, ok)
		got := Detect(l.in, DefaultConfig()).Balances
		require.Len(t, got, 1, "%g Hz, noise %g", w.rate, w.noise)
		b := got[0]
		c.n++
		if b.Outcome != want.outcome {
			t.Logf("%g Hz, noise %g: %s at %.2f s, want %s at %.2f s", w.rate, w.noise, b.Outcome, b.EndS, want.outcome, want.end)
			continue
		}
		c.outcome++
		if math.Abs(b.StartS-want.start) <= 0.1 {
			c.start++
		}
		if b.Overshoots == want.overshoots {
			c.overshoots++
		}
		if want.outcome != schemas.BalanceLevel {
			continue
		}
		c.level++
		off := max(math.Abs(b.StartS+*b.SettleS-want.entry), math.Abs(b.EndS-want.end))
		c.worst = max(c.worst, off)
		if off <= 0.1 {
			c.settle++
		}
	}
	return c
}
