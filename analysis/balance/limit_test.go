package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
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
