package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

// answering is what is heard over some seconds of a loop whose tilt swings as given.
func answering(lengthS float64, tilt, command func(t float64) float64) heard {
	h := heard{from: int(lookBackS / lawStepS), every: 0.02}
	for i := -h.from; float64(i)*lawStepS < lengthS; i++ {
		t := float64(i) * lawStepS
		h.tilt = append(h.tilt, tilt(t))
		h.rate = append(h.rate, (tilt(t+1e-4)-tilt(t-1e-4))/2e-4)
		h.command = append(h.command, command(t))
		if i >= 0 {
			h.limit = math.Max(h.limit, math.Abs(command(t)))
		}
	}
	return h
}

func sine(t float64) float64    { return 10 * math.Sin(3*t) }
func dying(t float64) float64   { return 10 * math.Exp(-0.3*t) * math.Cos(3*t) }
func resting(t float64) float64 { return math.Max(-8, math.Min(8, sine(t))) } // at a stop at 8 deg

// A command is at its limit where more was called for, or where nothing else is ever given; not
// where a swing turns, nor where the platform lies at a stop.
func TestLimitOfTheCommand(t *testing.T) {
	clip := func(u, most float64) float64 { return math.Max(-most, math.Min(most, u)) }
	for _, c := range []struct {
		name    string
		tilt    func(float64) float64
		command func(float64) float64
		at      float64 // infinite for none
		share   float64 // by geometry: a sine is beyond a part p of its size for 1 - 2/pi asin p of the time
		relay   bool
	}{
		{"in proportion", sine, func(t float64) float64 { return 0.01 * sine(t) }, math.Inf(1), 0, false},
		{"dying down", dying, func(t float64) float64 { return 0.01 * dying(t) }, math.Inf(1), 0, false},
		{"at the platform's stops", resting, func(t float64) float64 { return 0.01 * resting(t) }, math.Inf(1), 0, false},
		{"cut off at half", sine, func(t float64) float64 { return clip(0.01*sine(t), 0.05) }, 0.05, 1 - 2/math.Pi*math.Asin(0.5*atLimitPart), false},
		{"one speed or none", sine, func(t float64) float64 {
			if math.Abs(sine(t)) < 2 {
				return 0
			}
			return math.Copysign(0.15, sine(t))
		}, 0.15, 1 - 2/math.Pi*math.Asin(0.2), true},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := answering(4*2*math.Pi/3, c.tilt, c.command).limits()
			assert.Equal(t, c.relay, got.relay)
			if math.IsInf(c.at, 1) {
				assert.True(t, math.IsInf(got.at, 1))
				assert.Zero(t, got.share)
				return
			}
			assert.InDelta(t, c.at, got.at, 1e-9)
			assert.InDelta(t, c.share, got.share, 0.02)
		})
	}
}

// So is that of a loop whose integral calls for more than it may give, although tilt and rate do not.
func TestLimitOfALoopThatSumsUp(t *testing.T) {
	tilt := func(t float64) float64 { return 6*math.Sin(3*t) + 4*math.Sin(0.6*t) }
	sum := func(t float64) float64 { return -2*math.Cos(3*t) - 4/0.6*math.Cos(0.6*t) }
	for _, c := range []struct{ again, most float64 }{{2, 0.02}, {4, 0.06}, {4, 0.15}} {
		h := answering(4*2*math.Pi/0.6, tilt, func(t float64) float64 {
			return math.Max(-c.most, math.Min(c.most, 0.005*(tilt(t)+c.again*sum(t))))
		})
		share := 0.0
		for _, u := range h.command[h.from:] {
			if math.Abs(u) > atLimitPart*c.most {
				share += 1 / float64(len(h.command)-h.from)
			}
		}
		got := h.limits()
		assert.InDelta(t, c.most, got.at, 1e-9)
		assert.InDelta(t, share, got.share, 1e-9)
	}
}

// An autoregression of first order wanders by its standard deviation times the root of its
// correlation over the lag (Box and Jenkins, Time Series Analysis: rho_k = phi^k; from memory); noise
// from run to run, an integral and a cube of the tilt wander by nothing.
func TestRemnantOfAHand(t *testing.T) {
	luck := rand.New(rand.NewPCG(3, 4))
	wander, phi, sd := 0.0, math.Exp(-lawStepS/0.4), 0.03
	var walk []float64
	for range 4000 {
		wander = phi*wander + sd*math.Sqrt(1-phi*phi)*luck.NormFloat64()
		walk = append(walk, wander)
	}
	at := func(t float64) float64 { return walk[int(math.Round(t/lawStepS))+100] }
	both := func(t float64) float64 { return sine(t) + 4*math.Sin(1.1*t) }
	slope := func(t float64) float64 { return 30*math.Cos(3*t) + 4.4*math.Cos(1.1*t) }
	law := func(t float64) float64 { return 0.01*both(t-0.25) + 0.002*slope(t-0.25) }
	hand := answering(30, both, func(t float64) float64 { return law(t) + at(t) }).remnant()
	assert.InDelta(t, sd*math.Sqrt(math.Pow(phi, remnantLag)), hand, 0.3*sd)
	for name, u := range map[string]func(t float64) float64{
		"noise":    func(t float64) float64 { return law(t) + 0.03*luck.NormFloat64() },
		"integral": func(t float64) float64 { return law(t) - 0.02*(10/3.*math.Cos(3*t)+4/1.1*math.Cos(1.1*t)) },
		"cube":     func(t float64) float64 { return law(t) + 2e-5*math.Pow(both(t-0.25), 3) },
	} {
		assert.Less(t, answering(30, both, u).remnant(), handRemnant/1.5, name)
	}
}

// What a loop that sums up answers without a rate term is explained by one without an integral only when
// that is as late as a person; where a law as late as loops are explains it as well, it was a loop.
func TestALateLawIsNoHandWhereAPromptOneExplainsAsMuch(t *testing.T) {
	u := tuned{best: pairing{law: law{gain: 0.01, late: 0.24, r2: 0.99}}}
	tr := trace{t: []int64{0, 1_000_000}, v: []float64{5, 5}, raw: []float64{5, 5}}
	a := attempt{end: 1, peaks: []int{0}, from: []int{0}}
	assert.False(t, a.byHand(tr, Input{}, u, loop{law: law{late: 0.08, r2: 0.999}}))
	assert.True(t, a.byHand(tr, Input{}, u, loop{law: law{late: 0.08, r2: 0.9}}))
}

// Least absolute residuals about a constant are those about the median, by definition.
func TestRobustIsTheMedian(t *testing.T) {
	y := []float64{1, 2, 3, 4, 100}
	c, usual, ok := robust([]float64{1, 1, 1, 1, 1}, y, 1)
	require.True(t, ok)
	assert.InDelta(t, 3, c[0], 0.1)
	assert.InDelta(t, 1, usual, 0.1)
}

// What a driver does in the middle of it is no answer of the loop.
func TestADriverWhoTakesOverIsLeftOut(t *testing.T) {
	h := answering(10, sine, func(t float64) float64 {
		if t > 6 && t < 8 {
			return -0.3
		}
		return 0.01*sine(t) + 0.002*30*math.Cos(3*t)
	})
	h.limit = math.Inf(1)
	out := h.atWork()
	left := 0
	for i, u := range out.command[out.from:] {
		if at := float64(i) * lawStepS; math.IsNaN(u) {
			left++
			assert.True(t, at > 5.7 && at < 8.3, "%g", at)
		}
	}
	assert.InDelta(t, 200, left, 40)
}

// A command that may change by 0.12 a second only runs after its law at that speed; none of the look-alikes does: a
// loop in proportion, a noisy one, one cut off at a limit, a hand that wanders, an integral.
func TestACommandThatChangesOnlySlowly(t *testing.T) {
	luck := rand.New(rand.NewPCG(9, 2))
	tilt := func(t float64) float64 { return 10*math.Exp(-0.2*t)*math.Cos(3*t) + 3*math.Sin(1.1*t) }
	rate := func(t float64) float64 { return (tilt(t+1e-4) - tilt(t-1e-4)) / 2e-4 }
	law := func(t float64) float64 { return 0.01*tilt(t) + 0.002*rate(t) }
	var slow, hand []float64
	u, wander, held := 0.0, 0.0, 0.0
	for i := range 3000 {
		if t := float64(i-100) * lawStepS; t >= 0 && t < 12 && math.Abs(law(t)-u) > 0.12*lawStepS {
			held += lawStepS / 12
		}
		u += math.Max(-0.12*lawStepS, math.Min(0.12*lawStepS, law(float64(i-100)*lawStepS)-u))
		wander += -wander*lawStepS/0.4 + 0.03*math.Sqrt(2*lawStepS/0.4)*luck.NormFloat64()
		slow, hand = append(slow, math.Round(100*u)/100), append(hand, law(float64(i-100)*lawStepS-0.25)+wander)
	}
	listed := func(x []float64) func(float64) float64 {
		return func(t float64) float64 { return x[int(math.Round(t/lawStepS))+100] }
	}
	for _, c := range []struct {
		name    string
		command func(t float64) float64
		ramp    float64 // 0 for none
	}{
		{"slow", listed(slow), 0.12},
		{"in proportion", law, 0},
		{"noisy", func(t float64) float64 { return law(t) + 0.03*luck.NormFloat64() }, 0},
		{"cut off", func(t float64) float64 { return math.Max(-0.06, math.Min(0.06, law(t))) }, 0},
		{"by hand", listed(hand), 0},
		{"integral", func(t float64) float64 { return law(t) - 0.05*3/1.1*math.Cos(1.1*t) }, 0},
	} {
		h := answering(12, tilt, c.command)
		got := h.ramps(limits{})
		if c.ramp == 0 {
			assert.Zero(t, got.ramp, c.name)
			continue
		}
		assert.InEpsilon(t, c.ramp, got.ramp, 0.2, c.name)
		assert.InDelta(t, held, got.share, 0.15, c.name)
	}
}

// A command that knows the rate better than the log does only looks as if it changed slowly: what it does
// not follow is the noise of the logged rate.
func TestANoisyRateMakesNoSlowCommand(t *testing.T) {
	luck := rand.New(rand.NewPCG(9, 3))
	for _, lead := range []float64{0.6, 0.75, 0.9} {
		in := board{damp: 8, stiff: -0.6, pull: 900, lag: 0.1, limit: 0.4}.under(0.01, lead, 0, 10)
		in.Rate = &series.Float{}
		for i := 1; i < len(in.Tilt.T); i++ {
			in.Rate.T = append(in.Rate.T, in.Tilt.T[i])
			in.Rate.V = append(in.Rate.V, (in.Tilt.V[i]-in.Tilt.V[i-1])/0.02+2*luck.NormFloat64())
		}
		for i := range in.Tilt.V {
			in.Tilt.V[i] += 0.1 * luck.NormFloat64()
		}
		cfg := DefaultConfig()
		tr := clean(in.Tilt, in.Rate, 0, cfg)
		require.True(t, tr.gyro)
		lp, _ := lookAtLoop(tr, attempts(tr, in, cfg)[0], in, cfg)
		assert.InEpsilon(t, lead, lp.law.lead, 0.3)
		assert.Zero(t, lp.limits.ramp, "lead %g", lead)
	}
}

// A swing of 13 deg cut off by stops at 12, and one that goes as far as the stop it came from because
// nothing damps it, both read 20 times a second: only the first lies there.
func TestSwingsBetweenStops(t *testing.T) {
	for _, c := range []struct {
		name string
		size float64
		held bool
	}{{"held", 13, true}, {"by itself", 12, false}} {
		in := Input{Tilt: &series.Float{}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1, End: 12_000_000}
		for i := range 240 {
			at, v := float64(i)/20, 12.0
			if at > 1 {
				v = math.Max(-12, math.Min(12, c.size*math.Cos(3.1*(at-1))))
			}
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, int64(at*1e6)), append(in.Tilt.V, v)
		}
		cfg := DefaultConfig()
		tr := clean(in.Tilt, nil, 0, cfg)
		found := attempts(tr, in, cfg)
		require.NotEmpty(t, found)
		assert.True(t, found[0].constant(tr), c.name)
		assert.Equal(t, c.held, found[0].betweenStops(tr), c.name)
	}
}
