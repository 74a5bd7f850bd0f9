package power

import (
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas/series"
)

// cell is a battery for tests, written from its differential equation: an ohmic part and
// two capacitors that relax, each behind its own resistance (Plett, "Extended Kalman
// filtering for battery management systems", part 2, J. Power Sources 134 (2004)).
type cell struct {
	open, ohm  float64
	ohm1, tau1 float64
	ohm2, tau2 float64
}

var healthy = cell{open: 12.6, ohm: 0.018, ohm1: 0.008, tau1: 1, ohm2: 0.010, tau2: 20}

// volts is the terminal voltage for a current of one value each dt seconds: both
// capacitors move by the exact solution for a current that is constant meanwhile.
func (c cell) volts(amps []float64, dt float64) []float64 {
	out := make([]float64, len(amps))
	keep1, keep2 := math.Exp(-dt/c.tau1), math.Exp(-dt/c.tau2)
	var v1, v2 float64
	for k, i := range amps {
		v1 = keep1*v1 + (1-keep1)*c.ohm1*i
		v2 = keep2*v2 + (1-keep2)*c.ohm2*i
		out[k] = c.open - c.ohm*i - v1 - v2
	}
	return out
}

const fine = 0.0005 // s, the step of everything that stands for the real world

// drive is the current of a robot that works: bursts of motors that start with a large
// current within some milliseconds, run up over some tenths of a second and are switched
// off. The first five seconds and the last three are quiet.
func drive(rng *rand.Rand, seconds float64) []float64 {
	amps := make([]float64, int(seconds/fine))
	for k := range amps {
		amps[k] = 2
	}
	for t := 5.0; t < seconds-3; t += 0.3 + 1.2*rng.ExpFloat64() {
		from, length := int(t/fine), 0.4+2*rng.Float64()
		rise, spinUp := 0.002+0.01*rng.Float64(), 0.1+0.3*rng.Float64()
		inrush := 30 + 120*rng.Float64()
		running := inrush * (0.1 + 0.3*rng.Float64())
		for k := from; k < min(len(amps), from+int(length/fine)); k++ {
			s := float64(k-from) * fine
			amps[k] += (1 - math.Exp(-s/rise)) * (running + (inrush-running)*math.Exp(-s/spinUp))
		}
	}
	return amps
}

// sensor reads x every 1/hz seconds, late seconds behind, with noise and a resolution.
type sensor struct{ hz, late, noise, resolution float64 }

func (s sensor) read(rng *rand.Rand, x []float64) *series.Float {
	out := &series.Float{}
	for n := 0; ; n++ {
		at := float64(n) / s.hz
		k := int(math.Round((at - s.late) / fine))
		if k >= len(x) {
			return out
		}
		if k < 0 {
			continue
		}
		v := x[k] + s.noise*rng.NormFloat64()
		if s.resolution > 0 {
			v = math.Round(v/s.resolution) * s.resolution
		}
		out.T = append(out.T, int64(math.Round(at*1e6)))
		out.V = append(out.V, v)
	}
}

// steady is value for seconds at hz, from the second start.
func steady(start, seconds, hz, value float64) *series.Float {
	out := &series.Float{}
	for n := 0; float64(n)/hz < seconds; n++ {
		out.T = append(out.T, int64(math.Round((start+float64(n)/hz)*1e6)))
		out.V = append(out.V, value)
	}
	return out
}
