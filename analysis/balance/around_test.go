package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// shovedBoard is boardOnWheels with a push of so many deg/s² from a time on.
func shovedBoard(push, from float64) Input {
	const damp, stiff, pull, lag, slide, h = 6.0, 4.0, 700.0, 0.03, 0.0003, 1e-3
	tilt, rate, way, speed, command := -12.0, 0.0, 0.08, 0.0, 0.0
	in := Input{Tilt: &series.Float{}, Drive: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
	for k := range 8000 {
		if k%10 == 0 {
			command = 0.004 * (tilt + 0.4*rate)
		}
		if k%20 == 0 {
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(k)*1000), append(in.Tilt.V, tilt)
			in.Drive.T, in.Drive.V = append(in.Drive.T, int64(k)*1000), append(in.Drive.V, command)
		}
		outside := 0.0
		if float64(k)*h >= from {
			outside = push
		}
		speed += (command - slide*tilt - speed) * h / lag
		way += speed * h
		rate += (-damp*rate - stiff*tilt - pull*(way-0.02) + outside) * h
		tilt += rate * h
	}
	in.End = in.Tilt.T[len(in.Tilt.T)-1]
	return in
}

// A push that the command did not make is told, with its time; a loop that swings by itself is
// none, nor is one that is pushed by next to nothing.
func TestAPushIsToldFromTheLoopsOwnSwing(t *testing.T) {
	cfg := DefaultConfig()
	look := func(in Input) *float64 {
		tr := clean(in.Tilt, nil, 0, cfg)
		a := attempts(tr, in, cfg)
		require.NotEmpty(t, a)
		return disturbed(tr, a[0], in, cfg, tuneTo(tr, a[0], in, cfg), false)
	}
	for _, c := range [][2]float64{{120, 2}, {200, 2}} {
		at := look(shovedBoard(c[0], c[1]))
		require.NotNil(t, at)
		assert.InDelta(t, c[1], *at, 0.3)
	}
	assert.Nil(t, look(shovedBoard(0, 2)))
	assert.Nil(t, look(shovedBoard(3, 2)))
	assert.Nil(t, look(shovedBoard(40, 2)), "friction may hold as much")
	assert.Nil(t, look(boardOnWheels(0.008, 0.1, 0.05, 8)))
}

// A platform that tips under a robot that stood level and was told to stand still was tipped
// by others; under one that was driving, or had just come, it was not.
func TestTippedUnderARobotThatStoodStill(t *testing.T) {
	cfg := DefaultConfig()
	still := &series.Float{T: []int64{0}, V: []float64{0}}
	driven := &series.Float{T: []int64{0, 9_400_000}, V: []float64{0, 0.2}}
	a := attempt{startT: 10_000_000}
	assert.True(t, tippedByOthers(a, Input{Drive: still}, cfg, true))
	assert.False(t, tippedByOthers(a, Input{Drive: still}, cfg, false))
	assert.False(t, tippedByOthers(a, Input{Drive: driven}, cfg, true))
	assert.False(t, tippedByOthers(a, Input{}, cfg, true), "without a command nothing is told")
}

// A robot that comes at 1.2 m/s, climbs for 0.8 s and then tips.
func TestApproach(t *testing.T) {
	in := Input{Tilt: &series.Float{Name: "tilt"}, X: &series.Float{}, Y: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
	for k := range 600 {
		s := float64(k) * 0.02
		tilt := 0.0
		switch {
		case s >= 4 && s < 4.8:
			tilt = 12
		case s >= 4.8 && s < 5.3:
			tilt = 12 - 24*(s-4.8)
		}
		at := int64(k) * 20_000
		in.Tilt.T, in.Tilt.V = append(in.Tilt.T, at), append(in.Tilt.V, tilt)
		in.X.T, in.X.V = append(in.X.T, at), append(in.X.V, 1.2*math.Min(s, 4.5))
		in.Y.T, in.Y.V = append(in.Y.T, at), append(in.Y.V, 3)
	}
	in.End = in.Tilt.T[len(in.Tilt.T)-1]
	got := Detect(in, DefaultConfig()).Balances
	require.Len(t, got, 1)
	require.NotNil(t, got[0].ClimbS)
	require.NotNil(t, got[0].ApproachMS)
	assert.InDelta(t, 0.8, *got[0].ClimbS, 0.03)
	assert.InDelta(t, 1.2, *got[0].ApproachMS, 0.01)
	in.X, in.Y = nil, nil
	got = Detect(in, DefaultConfig()).Balances
	assert.Nil(t, got[0].ApproachMS)
}

// A person who answers 0.35 s late with nothing ahead is told for one, and what a loop would
// have saved; a loop that is a hundredth late is not.
func TestByHand(t *testing.T) {
	levelled := func(late int, gain float64) schemas.Balance {
		const damp, stiff, pull, lag, slide, h = 6.0, 4.0, 1400.0, 0.05, 0.0005, 1e-3
		tilt, rate, way, speed, command := -12.0, 0.0, 0.08, 0.0, 0.0
		var seen []float64
		r := rand.New(rand.NewPCG(3, 3))
		in := Input{Tilt: &series.Float{}, Drive: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
		for k := range 12000 {
			if k%10 == 0 {
				seen = append(seen, tilt)
				command = gain * seen[max(0, len(seen)-1-late)]
			}
			if k%20 == 0 {
				in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(k)*1000), append(in.Tilt.V, tilt+0.1*r.NormFloat64())
				in.Drive.T, in.Drive.V = append(in.Drive.T, int64(k)*1000), append(in.Drive.V, command)
			}
			speed += (command - slide*tilt - speed) * h / lag
			way += speed * h
			rate += (-damp*rate - stiff*tilt - pull*(way-0.02)) * h
			tilt += rate * h
		}
		in.End = in.Tilt.T[len(in.Tilt.T)-1]
		got := Detect(in, DefaultConfig()).Balances
		require.NotEmpty(t, got)
		return got[0]
	}
	hand := levelled(23, 0.0045)
	assert.Equal(t, "hand", hand.LevelledBy)
	require.NotNil(t, hand.LoopSavesS)
	assert.Greater(t, *hand.LoopSavesS, 1.0)
	assert.Empty(t, levelled(1, 0.003).LevelledBy)
}

// By the noise of the tilt: the interval holds the settling of the same swing without noise.
func TestSettlingIsToldWithItsInterval(t *testing.T) {
	cfg := DefaultConfig()
	quiet := Detect(boardOnWheels(0.004, 0.5, 0, 12), cfg).Balances
	require.NotEmpty(t, quiet)
	require.NotNil(t, quiet[0].SettleS)
	noisy := Detect(boardOnWheels(0.004, 0.5, 0.3, 12), cfg).Balances
	require.NotEmpty(t, noisy)
	require.NotNil(t, noisy[0].SettleLowS)
	assert.LessOrEqual(t, *noisy[0].SettleLowS, *quiet[0].SettleS+0.02)
	if noisy[0].SettleHighS != nil {
		assert.GreaterOrEqual(t, *noisy[0].SettleHighS, *quiet[0].SettleS-0.02)
		assert.Less(t, *noisy[0].SettleLowS, *noisy[0].SettleHighS)
	}
}
