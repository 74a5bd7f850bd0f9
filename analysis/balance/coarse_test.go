package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// stepped is a log whose tilt, and gyro, are told in steps.
func stepped(in Input, step, rateStep float64) Input {
	round := func(f *series.Float, step float64) *series.Float {
		if f == nil {
			return nil
		}
		out := &series.Float{Name: f.Name, T: f.T}
		for _, v := range f.V {
			out.V = append(out.V, step*math.Round(v/step))
		}
		return out
	}
	in.Tilt, in.Rate = round(in.Tilt, step), round(in.Rate, rateStep)
	return in
}

func TestStepsOfASensor(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	s := &scene{}
	s.onFloor(r, 20)
	s.climb(11, 0.4, 1, 0.3)
	s.swingOut(0.15, 2.5, 0, 0, 30, 12)
	fine := s.log(r, sensor{rate: 100, noise: 0.05, drive: true}).in
	require.Zero(t, coarseStep(fine.Tilt, 2.5), "noise of every size lies on no steps")
	require.InDelta(t, 0.8, coarseStep(stepped(fine, 0.8, 1).Tilt, 2.5), 1e-9)
	require.Zero(t, coarseStep(stepped(fine, 0.1, 1).Tilt, 2.5), "narrow steps are averaged away")
	few := &series.Float{}
	for i := range 400 {
		few.T, few.V = append(few.T, int64(i)*20_000), append(few.V, []float64{0, 11, -4, 2.5}[i/100])
	}
	require.Zero(t, coarseStep(few, 2.5), "four readings say nothing of steps")
}

// A tilt that creeps into the band between two steps of its sensor crosses it where the steps before and
// after, and the gyro, say; by the readings themselves it would be a step's time off.
func TestACreepBetweenTwoSteps(t *testing.T) {
	for _, gyro := range []bool{false, true} {
		worst, plain := 0.0, 0.0
		for seed := range uint64(6) {
			r := rand.New(rand.NewPCG(seed, 4))
			s := &scene{}
			s.onFloor(r, 20)
			s.climb(11, 0.4, 1, 0.3)
			s.swingOut(0.9, 1.2, 0, 0, 30, 12)
			// The same swing without noise says when it crossed.
			exact := Detect(s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100}).in, DefaultConfig()).Balances
			in := stepped(s.log(r, sensor{rate: 100, noise: 0.05, drive: true, gyro: gyro}).in, 0.8, 1)
			got := Detect(in, DefaultConfig()).Balances
			require.Len(t, exact, 1)
			require.Len(t, got, 1)
			require.NotNil(t, got[0].SettleS)
			worst = max(worst, math.Abs(*got[0].SettleS-*exact[0].SettleS))
			for i := len(in.Tilt.T) - 1; i > 0; i-- {
				if math.Abs(in.Tilt.V[i]) > 2.5 {
					plain = max(plain, math.Abs(seconds(in.Tilt.T[i])-exact[0].StartS-*exact[0].SettleS))
					break
				}
			}
			require.LessOrEqual(t, *got[0].SettleLowS-0.02, *exact[0].SettleS)
			require.GreaterOrEqual(t, *got[0].SettleHighS+0.02, *exact[0].SettleS)
		}
		require.Less(t, worst, 0.1, "gyro %v", gyro)
		require.Greater(t, plain, 0.1, "the readings themselves are off")
	}
}

// A reading's slope is that of the logarithm of its likelihood, far from its step as well.
func TestTheLikelihoodOfAReading(t *testing.T) {
	reading := reading{value: 2.4, step: 0.8, noise: 0.13}
	chance := func(x float64) float64 {
		low, high := (reading.value-0.4-x)/reading.noise, (reading.value+0.4-x)/reading.noise
		return math.Log(0.5 * (math.Erfc(low/math.Sqrt2) - math.Erfc(high/math.Sqrt2)))
	}
	const h = 1e-4
	for _, x := range []float64{1.5, 1.9, 2.0, 2.3, 2.4, 2.6, 2.8, 3.2} {
		slope, bend := reading.slope(x)
		require.InDelta(t, (chance(x+h)-chance(x-h))/(2*h), slope, 1e-3*(1+math.Abs(slope)), x)
		require.InDelta(t, -(chance(x+h)-2*chance(x)+chance(x-h))/(h*h), bend, 0.02*(1+bend), x)
	}
	slope, bend := reading.slope(7)
	require.InDelta(t, (2.8-7)/(0.13*0.13), slope, 1e-9)
	require.Positive(t, bend)
}

// A tilt that stands where its sensor goes to and fro between two steps stands between these; one that moves at an
// even rate is told by when it passed from one to the next.
func TestFollowingSteps(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	tr, tilt := trace{}, &series.Float{}
	var true []float64
	for i := range 1000 {
		at := int64(i) * 20_000
		true = append(true, max(0.4, 4.4-0.5*seconds(at)))
		tilt.T, tilt.V = append(tilt.T, at), append(tilt.V, 0.8*math.Round((true[i]+0.05*r.NormFloat64())/0.8))
		tr.t, tr.raw, tr.afresh = append(tr.t, at), append(tr.raw, tilt.V[i]), append(tr.afresh, i == 0)
	}
	tr.follow(tilt, nil, 0.8)
	off := 0.0
	for i := 50; i < 950; i++ {
		require.InDelta(t, true[i], tr.v[i], 0.35, seconds(tr.t[i]))
		off += math.Abs(true[i]-tr.v[i]) / 900
	}
	require.Less(t, off, 0.1, "a step evenly spread is off by 0.2 in the middle")
}

// A sensor that reads nothing for a moment moves as no platform does: the readings are taken as they are.
func TestStepsThatNoPlatformGoes(t *testing.T) {
	tr, tilt := trace{}, &series.Float{}
	for i := range 300 {
		at, v := int64(i)*20_000, 11.2
		if i >= 100 && i < 140 {
			v = 0
		}
		tilt.T, tilt.V = append(tilt.T, at), append(tilt.V, v)
		tr.t, tr.raw, tr.afresh = append(tr.t, at), append(tr.raw, v), append(tr.afresh, i == 0)
	}
	tr.follow(tilt, nil, 0.8)
	for i, v := range tilt.V {
		require.InDelta(t, v, tr.v[i], 0.8)
	}
}
