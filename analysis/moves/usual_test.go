package moves

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// took is a settled move from a to b that began at start and took s.
func took(start, a, b, s float64) schemas.Move {
	return schemas.Move{Name: "lift", StartS: start, EndS: start + s, From: a, To: b, SettleS: schemas.Some(s), Outcome: Settled}
}

// upAndDown are moves up and down in turn, of these times.
func upAndDown(s ...float64) []schemas.Move {
	var out []schemas.Move
	for k, v := range s {
		a, b := 0.0, 0.8
		if k%2 == 1 {
			a, b = b, a
		}
		out = append(out, took(float64(10*k), a, b, v))
	}
	return out
}

func judged(moves []schemas.Move, history ...[]schemas.Move) []schemas.Move {
	judgeSlow(moves, Input{Mechanisms: []Mechanism{{Name: "lift", Within: 0.02}}, History: history}, DefaultConfig())
	return moves
}

// Between autonomous and driver the robot is disabled for a second: a move begun just before
// takes that second longer, and nothing is the matter with the lift.
func TestAMoveThatTheRobotWasDisabledInIsNotSlow(t *testing.T) {
	of := func(periods ...schemas.Period) []schemas.Move {
		all := upAndDown(1, 0.8, 2, 0.82, 0.98, 0.79, 1.01, 0.8, 0.99, 0.81, 1, 0.8, 1.03, 0.8, 0.97, 0.8)
		judgeSlow(all, Input{Mechanisms: []Mechanism{{Name: "lift", Within: 0.02}}, Periods: periods}, DefaultConfig())
		return all
	}
	pause := of(schemas.Period{Name: "autonomous", EndS: 20.5}, schemas.Period{Name: "driver", StartS: 21.5, EndS: 200})
	assert.Empty(t, slowOnes(pause))
	assert.Nil(t, pause[2].UsualSettleS)
	assert.Equal(t, 6, pause[4].UsualCount, "and it is no measure of others")
	assert.Equal(t, []int{2}, slowOnes(of(schemas.Period{Name: "autonomous", EndS: 20.5}, schemas.Period{Name: "driver", StartS: 20.5, EndS: 200})), "one period passed into the other")
}

func slowOnes(moves []schemas.Move) (out []int) {
	for i, m := range moves {
		if m.Slow {
			out = append(out, i)
		}
	}
	return out
}

func TestASlowMoveAmongOthers(t *testing.T) {
	even := upAndDown(1, 0.8, 1.02, 0.82, 0.98, 0.79, 1.01, 0.8, 0.99, 0.81, 1, 0.8, 1.03, 0.8, 0.97, 0.8)
	assert.Empty(t, slowOnes(judged(even)))
	require.NotNil(t, even[0].UsualSettleS)
	assert.InDelta(t, 1, *even[0].UsualSettleS, 0.02, "moves up are compared with moves up")
	assert.InDelta(t, 0.8, *even[1].UsualSettleS, 0.01)
	assert.Equal(t, 7, even[0].UsualCount)
	assert.Equal(t, schemas.UsualThisMatch, even[0].UsualSource)

	one := upAndDown(1, 0.8, 1.02, 0.82, 1.9, 0.79, 1.01, 0.8, 0.99, 0.81, 1, 0.8, 1.03, 0.8, 0.97, 0.8)
	assert.Equal(t, []int{4}, slowOnes(judged(one)))
	assert.Less(t, *one[4].P, 0.001)
}

func TestWhatIsNotCalledSlow(t *testing.T) {
	for name, moves := range map[string][]schemas.Move{
		"five others are too few to know":       upAndDown(1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 3),
		"a quarter of a second does not matter": upAndDown(1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1.29, 0.8, 1, 0.8),
		"times that vary anyway":                upAndDown(1, 0.8, 1.6, 0.8, 0.7, 0.8, 2, 0.8, 0.6, 0.8, 1.2, 0.8, 2.2, 0.8, 1, 0.8),
	} {
		assert.Empty(t, slowOnes(judged(moves)), name)
	}
	cut := upAndDown(1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 3, 0.8, 1, 0.8)
	cut[11].Outcome, cut[11].SettleS = Superseded, nil
	assert.Empty(t, slowOnes(judged(cut)), "it cut in on another")
	far := upAndDown(1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 1, 0.8, 2, 0.8, 1, 0.8)
	far[12].To = 1.6
	assert.Empty(t, slowOnes(judged(far)), "it went twice as far, and no other did")
	assert.Nil(t, far[12].UsualSettleS)
}

func TestSlowBesideEarlierMatches(t *testing.T) {
	today := upAndDown(1.6, 1.4, 1.6, 1.4)
	earlier := upAndDown(1, 0.8, 1.02, 0.82, 0.98, 0.79, 1.01, 0.8)
	judged(today, earlier, earlier, earlier)
	assert.Equal(t, []int{0, 1, 2, 3}, slowOnes(today))
	assert.Equal(t, schemas.UsualMatches, today[0].UsualSource)
	assert.Equal(t, 12, today[0].UsualCount)
}

func TestPaceBesideEarlierMatches(t *testing.T) {
	times := func(by float64) []schemas.Move {
		return upAndDown(by, 0.8*by, 1.02*by, 0.82*by, 0.98*by, 0.79*by, 1.01*by, 0.8*by)
	}
	pace := func(today []schemas.Move, history ...[]schemas.Move) schemas.Mechanism {
		out := schemas.Mechanism{Name: "lift"}
		tellPace(&out, today, history, 0.02, DefaultConfig())
		return out
	}
	m := pace(times(1.3), times(1), times(1.02), times(0.99), times(1.01))
	require.NotNil(t, m.Pace)
	assert.InDelta(t, 1.3/1.005, *m.Pace, 0.02)
	assert.True(t, m.Slower)
	assert.Equal(t, 4, m.PaceMatches)
	assert.False(t, pace(times(1.13), times(1), times(1.02), times(0.99), times(1.01)).Slower, "too little to matter")
	assert.False(t, pace(times(1.3), times(1), times(1.4), times(0.8), times(1.2)).Slower, "matches differ as much")
	assert.Nil(t, pace(times(1.3), times(1), times(1)).Pace, "two matches are too few")
	assert.False(t, pace(times(0.7), times(1), times(1.02), times(0.99), times(1.01)).Slower, "faster")
}

// A carriage of weight 12 A at its motor and friction 3 A: 15 A up, 9 A down.
func TestWeightAndFriction(t *testing.T) {
	whole := func(up, down float64) schemas.Mechanism {
		moves := upAndDown(1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
		for k := range moves {
			a := up
			if k%2 == 1 {
				a = down
			}
			moves[k].MeanA = schemas.Some(a + 0.2*math.Sin(float64(k)))
		}
		out, ok := together(Mechanism{Name: "lift", Within: 0.02}, moves, nil, DefaultConfig())
		require.True(t, ok)
		return out
	}
	m := whole(15, 9)
	require.NotNil(t, m.WeightA)
	assert.InDelta(t, 12, *m.WeightA, 0.1)
	assert.InDelta(t, 3, *m.FrictionA, 0.2)
	assert.Less(t, *m.WeightLowA, *m.WeightA)
	assert.Greater(t, *m.WeightHighA, *m.WeightA)
	assert.Equal(t, 8, m.Pairs)

	m = whole(10, -9.5) // a wrist: friction, and hardly any weight
	require.NotNil(t, m.WeightA)
	assert.InDelta(t, 0.25, *m.WeightA, 0.1)

	m = whole(-9, -15) // it hangs the other way round
	require.NotNil(t, m.WeightA)
	assert.InDelta(t, -12, *m.WeightA, 0.1)

	for _, down := range []float64{1, -2, 4.9} {
		m = whole(15, down)
		assert.Nil(t, m.WeightA, "%g A down may be anything", down)
		assert.NotEmpty(t, m.Reason)
		assert.InDelta(t, 15, *m.UpA, 0.2)
	}
}

func TestTooFewPairsTellNoWeight(t *testing.T) {
	moves := upAndDown(1, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	for k := range moves {
		moves[k].MeanA = schemas.Some(10)
	}
	out, _ := together(Mechanism{Name: "lift", Within: 0.02}, moves, nil, DefaultConfig())
	assert.Equal(t, 5, out.Pairs)
	assert.Nil(t, out.WeightA)
	assert.Empty(t, out.Reason)
}

// A second-order response to a step, whose damping ratio and frequency are given: the
// estimators are those of the balance loop, which are held to published data there.
func TestSwingAboutTheTarget(t *testing.T) {
	answer := func(zeta, hz float64) func(float64) float64 {
		wn := 2 * math.Pi * hz
		wd := wn * math.Sqrt(1-zeta*zeta)
		return func(s float64) float64 {
			if s < 1 {
				return 0
			}
			x := s - 1
			return 1 - math.Exp(-zeta*wn*x)*(math.Cos(wd*x)+zeta/math.Sqrt(1-zeta*zeta)*math.Sin(wd*x))
		}
	}
	m := detect(steps(0, 0, 1, 1), answer(0.15, 1.2))
	require.Len(t, m, 1)
	assert.Equal(t, schemas.SwingDamped, m[0].Swing)
	assert.InDelta(t, 0.15, *m[0].DampingRatio, 0.01)
	assert.InDelta(t, 1.2, *m[0].NaturalHz, 0.02)
	assert.InDelta(t, math.Exp(-math.Pi*0.15/math.Sqrt(1-0.15*0.15)), m[0].Overshoot, 0.005, "the overshoot of every textbook")

	m = detect(steps(0, 0, 1, 1), func(s float64) float64 {
		return line(1, 0, 2, 1)(s) + 0.05*math.Sin(2*math.Pi*1.5*max(0, s-2))
	})
	require.Len(t, m, 1)
	assert.Equal(t, schemas.SwingSteady, m[0].Swing)
	assert.InDelta(t, 1.5, *m[0].NaturalHz, 0.02)

	m = detect(steps(0, 0, 1, 1), line(1, 0, 2, 1))
	assert.Empty(t, m[0].Swing)
	assert.Nil(t, m[0].DampingRatio)
}
