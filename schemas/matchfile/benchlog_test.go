package matchfile

import (
	"fmt"
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas"
)

// reading turns the time of a sample in seconds into what a sensor of that kind says.
type reading func(t float64) float64

// group is a number of like signals in benchlog.
type group struct {
	count int
	hz    float64
	name  string
	unit  string
	kind  schemas.Kind
	make  func(r *rand.Rand) reading
}

// benchlog is a log in the shape of one match: 300 signals (200 at 50 Hz, 80 at 200 Hz,
// 20 at 1 kHz), each with its own jitter of 2 % of its period. At 150 s it has 6.9 million
// samples. Values are what sensors send: steps of the converter for voltages, currents,
// rates and encoder counts, held states, and poses with noise in every bit.
func benchlog(seconds float64) *schemas.Log {
	groups := []group{
		{30, 50, "power/voltage", "V", schemas.Float64, quantised(12, 0.9, 0.06, 1.0/64)},
		{50, 50, "motor/current", "A", schemas.Float64, quantised(20, 18, 1.5, 1.0/8)},
		{40, 50, "motor/command", "", schemas.Float64, held(1.0/128, 0.4)},
		{20, 50, "motor/temperature", "degC", schemas.Float64, quantised(45, 8, 0.2, 1.0/2)},
		{10, 50, "pose", "m", schemas.Float64, quantised(4, 3, 0.003, 0)},
		{30, 50, "path/beam", "", schemas.Bool, held(1, 0.3)},
		{15, 50, "game/count", "", schemas.Int64, counter(0.2)},
		{5, 50, "robot/mode", "", schemas.Text, held(1, 0.05)},
		{30, 200, "wheel/position", "rev", schemas.Float64, turning(4096)},
		{30, 200, "wheel/speed", "rpm", schemas.Float64, quantised(0, 2500, 20, 600.0/4096)},
		{15, 200, "drive/current", "A", schemas.Float64, quantised(35, 30, 2, 1.0/8)},
		{5, 200, "pose/filtered", "m", schemas.Float64, quantised(4, 3, 0.001, 0)},
		{4, 1000, "bus/voltage", "V", schemas.Float64, quantised(12, 0.8, 0.05, 1.0/64)},
		{8, 1000, "bus/current", "A", schemas.Float64, quantised(60, 50, 1.5, 1.0/16)},
		{4, 1000, "imu/rate", "deg/s", schemas.Float64, quantised(0, 60, 0.15, 1/16.4)},
		{2, 1000, "imu/acceleration", "m/s2", schemas.Float64, quantised(0, 3, 0.08, 9.80665/2048)},
		{2, 1000, "path/range", "V", schemas.Float64, quantised(2.2, 1, 0.004, 5.0/4096)},
	}
	log := &schemas.Log{}
	seed := uint64(0)
	for _, g := range groups {
		for i := range g.count {
			seed++
			r := rand.New(rand.NewPCG(seed, 1))
			log.Signals = append(log.Signals, sampled(fmt.Sprintf("%s/%02d", g.name, i), g, seconds, r))
		}
	}
	log.Normalize()
	return log
}

func sampled(name string, g group, seconds float64, r *rand.Rand) *schemas.Signal {
	n := int(seconds * g.hz)
	period := 1e6 / g.hz
	s := &schemas.Signal{Name: name, Unit: g.unit, Kind: g.kind, Time: make([]int64, n)}
	at := g.make(r)
	for i := range n {
		s.Time[i] = int64((float64(i) + 0.5 + 0.02*max(-3, min(3, r.NormFloat64()))) * period)
		v := at(float64(i) / g.hz)
		switch g.kind {
		case schemas.Float64:
			s.Float = append(s.Float, v)
		case schemas.Int64:
			s.Int = append(s.Int, int64(v))
		case schemas.Bool:
			s.Bool = append(s.Bool, v > 0)
		case schemas.Text:
			s.Text = append(s.Text, []string{"disabled", "autonomous", "driver"}[int(1+v)])
		}
	}
	return s
}

// quantised swings slowly about a middle, with noise, in the converter's steps (0: in
// every bit).
func quantised(middle, swing, noise, step float64) func(r *rand.Rand) reading {
	return func(r *rand.Rand) reading {
		f1, f2, phase := 0.05+0.2*r.Float64(), 0.5+r.Float64(), 2*math.Pi*r.Float64()
		return func(t float64) float64 {
			v := middle + swing*(0.7*math.Sin(2*math.Pi*f1*t+phase)+0.3*math.Sin(2*math.Pi*f2*t)) + noise*r.NormFloat64()
			if step > 0 {
				v = math.Round(v/step) * step
			}
			return v
		}
	}
}

// held is a value from -1 to 1 in steps that changes now and then, on average perSecond.
func held(step, perSecond float64) func(r *rand.Rand) reading {
	return func(r *rand.Rand) reading {
		v, next := 0.0, 0.0
		return func(t float64) float64 {
			if t >= next {
				v = math.Round((2*r.Float64()-1)/step) * step
				next = t + r.ExpFloat64()/perSecond
			}
			return v
		}
	}
}

// counter goes up by one, on average perSecond times a second.
func counter(perSecond float64) func(r *rand.Rand) reading {
	return func(r *rand.Rand) reading {
		n, next := 0.0, r.ExpFloat64()/perSecond
		return func(t float64) float64 {
			if t >= next {
				n++
				next = t + r.ExpFloat64()/perSecond
			}
			return n
		}
	}
}

// turning is the turned angle in revolutions of a wheel that is driven back and forth.
func turning(counts float64) func(r *rand.Rand) reading {
	return func(r *rand.Rand) reading {
		f, phase := 0.05+0.1*r.Float64(), 2*math.Pi*r.Float64()
		return func(t float64) float64 {
			turns := 25 * math.Sin(2*math.Pi*f*t+phase)
			return math.Round(turns*counts) / counts
		}
	}
}
