package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// boardOnWheels is a platform of damp 6 1/s and stiffness 4 1/s² that the robot's weight tips
// by where it stands, under a loop command = 0.008 (tilt + lead rate) in deg that stands still
// within 1 deg of level and is cut off at 0.15, in steps of a millisecond. It gives tilt and
// command 50 times a second from the moment the platform comes off its stop at 12 deg.
func boardOnWheels(lead, noise, lengthS float64) Input {
	const damp, stiff, pull, gain, h = 6.0, 4.0, 700.0, 0.008, 1e-3
	r := rand.New(rand.NewPCG(5, 5))
	tilt, rate, way, command := -12.0, 0.0, 0.08, 0.0
	in := Input{Tilt: &series.Float{}, Drive: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
	for k := range int(lengthS / h) {
		if k%10 == 0 {
			command = 0
			if math.Abs(tilt) > 1 {
				command = math.Max(-0.15, math.Min(0.15, gain*(tilt+lead*rate)))
			}
		}
		if k%20 == 0 {
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(k)*1000), append(in.Tilt.V, tilt+noise*r.NormFloat64())
			in.Drive.T, in.Drive.V = append(in.Drive.T, int64(k)*1000), append(in.Drive.V, command)
		}
		way += command * h
		rate += (-damp*rate - stiff*tilt - pull*(way-0.02)) * h
		tilt += rate * h
	}
	in.End = in.Tilt.T[len(in.Tilt.T)-1]
	return in
}

func TestThePlatformIsTold(t *testing.T) {
	for _, noise := range []float64{0, 0.05} {
		in, cfg := boardOnWheels(0.2, noise, 8), DefaultConfig()
		tr := clean(in.Tilt, nil, cfg)
		l, ok := lawOf(tr, 100_000, in.End, in.Drive, cfg)
		require.True(t, ok)
		assert.InDelta(t, 0.008, l.gain, 0.0002+0.01*noise)
		assert.InDelta(t, 0.2, l.lead, 0.02+0.5*noise)
		best := plant{rms: math.Inf(1)}
		for _, p := range plantsOf(tr, 100_000, in.End, in.Drive, l.gain, false) {
			if p.rms < best.rms {
				best = p
			}
		}
		// Noise hides what the platform alone is, but not how the two together swing.
		truth, wn, _ := mainSwing(plant{damp: 6, stiff: 4, pull: 700}.poles(0.008, 0.2, 0.005))
		zeta, told, _ := mainSwing(best.poles(l.gain, l.lead, l.late+best.lag))
		assert.InDelta(t, truth, zeta, 0.03+0.5*noise)
		assert.InDelta(t, wn, told, 0.05+noise)
		if noise == 0 {
			assert.InDelta(t, 6, best.damp, 0.2, "damp")
			assert.InDelta(t, 4, best.stiff, 0.3, "stiffness")
			assert.InDelta(t, 700, best.pull, 20, "pull")
		}
	}
}

// By hand: s³ + 6 s² + (4 + 5.6 lead) s + 5.6 with the lead that puts its pair at a damping of
// 0.7. The pair's w solves w²(6 - 1.4 w) = 5.6, and 4 + 5.6 lead = w² + 1.4 w (6 - 1.4 w).
func TestPolesOfTheLoop(t *testing.T) {
	p := plant{damp: 6, stiff: 4, pull: 700}
	const w = 1.1319296 // Newton by hand
	require.InDelta(t, 5.6, w*w*(6-1.4*w), 0.06)
	real3 := 6 - 1.4*w
	lead := (w*w + 1.4*w*real3 - 4) / 5.6
	zeta, wn, others := mainSwing(p.poles(5.6/700/1, lead, 0))
	assert.InDelta(t, 0.7, zeta, 0.01)
	assert.InDelta(t, w, wn, 0.02)
	assert.InDelta(t, 1, others, 1e-9, "the third pole is real")

	force := plant{damp: 1, stiff: 1, pull: 24, force: true}
	zeta, wn, _ = mainSwing(force.poles(1, 0.2, 0))
	assert.InDelta(t, 5, wn, 1e-9, "s² + (1 + 24*0.2) s + 25")
	assert.InDelta(t, 5.8/10, zeta, 1e-9)
}

// The rate term that is advised makes the damping of these equations what it should be, and
// leaves a margin; nothing is advised for a loop that is damped well.
func TestRateTermThatIsReached(t *testing.T) {
	cfg := DefaultConfig()
	u := tuning{ok: true, platform: plant{damp: 6, stiff: 1, pull: 700}, loop: law{gain: 0.008, lead: 0.1, late: 0.03}}
	u.alike = []plant{u.platform}
	u.zeta, u.wn, _ = mainSwing(u.platform.poles(u.loop.gain, u.loop.lead, u.loop.late))
	require.Less(t, u.zeta, 0.3)
	rateS, ok := u.reach(u.platform, 1, cfg)
	require.True(t, ok)
	zeta, _, _ := mainSwing(u.platform.poles(u.loop.gain, u.loop.lead+rateS, u.loop.late))
	assert.InDelta(t, cfg.DampingGoal, zeta, 0.02)

	stiffAndLoose := u
	stiffAndLoose.platform = plant{damp: 1, stiff: 20, pull: 700}
	_, ok = stiffAndLoose.reach(stiffAndLoose.platform, 0.5, cfg)
	assert.False(t, ok, "it swings by itself whatever the loop does")
	assert.Contains(t, stiffAndLoose.advise("", nil, cfg), "leave the rate term")

	a := attempt{start: 0, end: 1}
	tr := trace{t: []int64{0, 1}, v: []float64{-12, 0}}
	change := retune(u, a, tr, Input{LevelDeg: 2.5}, cfg)
	require.NotNil(t, change)
	assert.InDelta(t, 1, change.GainFactor, 0)
	assert.InDelta(t, rateS, change.RateS, 0)
	require.NotNil(t, change.SettleS)
	assert.Less(t, *change.SettleS, *change.SettleNowS)
	require.NotNil(t, change.MarginS)
	assert.Greater(t, *change.MarginS, 2*u.loop.late)
	assert.Contains(t, u.advise("", change, cfg), "times the proportional gain")
	u.zeta = 0.65
	assert.Nil(t, retune(u, a, tr, Input{LevelDeg: 2.5}, cfg))
}
