package power

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// response is how the current's sensor answers, compared with the voltage's: lagUs later
// and smoothed by a low-pass of first order with time constant tauS, that of a sensor or, stepped,
// of a program that goes from reading to reading.
type response struct {
	lagUs   int64
	tauS    float64
	stepped bool
}

// keep is what is left of a step after some time.
func (r response) keep(s float64) float64 {
	if r.tauS <= 0 {
		return 0
	}
	return math.Exp(-s / r.tauS)
}

// late is by how much the reading is late on the whole, µs, with readings every step s.
func (r response) late(step float64) int64 {
	if k := r.keep(step); r.stepped && k > 0 {
		return r.lagUs + schemas.Micros(step*k/(1-k))
	}
	return r.lagUs + schemas.Micros(r.tauS)
}

// quiets is the standard deviation of what is left of a reading's noise.
func (r response) quiets(step float64) float64 {
	if k := r.keep(step); r.stepped {
		return math.Sqrt((1 - k) / (1 + k))
	}
	return math.Sqrt(step / (step + 2*r.tauS)) // of a mean over some readings
}

// smoothing are the time constants in s that are tried: each half as much again as the one
// before, from what the finest grid can tell to the slowest sensor that still shows steps.
var smoothing = [...]float64{0, 0.007, 0.01, 0.014, 0.02, 0.028, 0.04, 0.056, 0.08, 0.11}

// answer finds the response under which the changes of the voltage, treated as the current's
// sensor treats a current, tell most of the changes of the current's reading. What is told
// is the same for all that are tried, so that their errors can be compared; a voltage that
// follows the current slowly, as relaxation makes it, is in the comparison as the charge
// that flowed. Lags are whole steps of the slower signal, or of 5 ms where these are finer,
// and half steps between them (those of the voltage where that is the faster), up to LagS
// either way, with smoothing no earlier than a step. A sensor that is neither late nor slow is
// believed unless it leaves ToldEnough of the changes untold and BetterFit of that goes with
// another, which then tells most of them.
//
// The method is output error by search (Ljung, System Identification, 2nd edition, section
// 10.2), with the delay and the pole on a grid; the grid is chosen by us.
func answer(v, i trace, cfg Config) response {
	const finest = 5000
	grid := max(v.step, i.step, finest)
	first, last := max(v.T[0], i.T[0]), min(v.T[len(v.T)-1], i.T[len(i.T)-1])
	n := int((last - first) / grid)
	if n < 2 {
		return response{}
	}
	T := make([]int64, n)
	for k := range T {
		T[k] = first + int64(k)*grid
	}
	told := newTold(i.sample(T, 0), schemas.Seconds(grid), cfg)
	fine := max(grid/2, finest)
	if v.step < grid { // a voltage read more often is known in between
		fine = max(v.step, finest)
	}
	most := schemas.Micros(cfg.LagS) / grid * grid
	read := make([]float64, n)
	plain := told.missed(v.sampleTo(read, T, 0))
	if plain < cfg.ToldEnough {
		return response{}
	}
	best, least := response{}, plain
	search := func(by response) {
		slow := v.smoothed(by)
		at, here := int64(0), math.Inf(1)
		try := func(lag int64) {
			if m := told.missed(slow.sampleTo(read, T, -lag)); m < here {
				at, here = lag, m
			}
		}
		coarse := max(grid, 20_000/grid*grid)
		earliest := -most
		if by.tauS > 0 { // what smooths is late, if it was not read at other moments
			earliest = -grid
		}
		for lag := earliest; lag <= most; lag += coarse {
			try(lag)
		}
		for lag, middle := max(earliest, at-coarse+fine), at; lag < middle+coarse; lag += fine {
			if lag != middle {
				try(lag)
			}
		}
		if here < least {
			by.lagUs = at
			best, least = by, here
		}
	}
	together := v.step == i.step && !apart(v.T, i.T, 0)
	for _, tau := range smoothing {
		if tau == 0 || tau >= schemas.Seconds(grid)/3 { // within a step nobody sees it
			search(response{tauS: tau})
		}
		if tau >= schemas.Seconds(grid)/3 && together { // else nobody knows a program's readings
			search(response{tauS: tau, stepped: true})
		}
	}
	for _, times := range [...]float64{1.19, 1 / 1.19, 1.09, 1 / 1.09} {
		if best.tauS > 0 {
			search(response{tauS: best.tauS * times, stepped: best.stepped})
		}
	}
	if !(least < (1-cfg.BetterFit)*plain) || least > cfg.MostUntold {
		return response{}
	}
	return best
}

// told is what the changes of the voltage are to tell: those of the current over some
// steps, long enough that the noise of a reading is small beside them, after what goes with
// the charge.
type told struct {
	over  int       // steps
	di, q []float64 // A, and A above the mean of the last RelaxS; NaN where not known
}

func newTold(amps []float64, dt float64, cfg Config) told {
	t := told{over: max(1, int(math.Round(cfg.AnswerS/dt)))}
	above := make([]float64, len(amps)+1) // running sum
	follows := 1 - math.Exp(-dt/cfg.RelaxS)
	slow := math.NaN()
	for k, i := range amps {
		high := i - slow
		switch {
		case math.IsNaN(i):
		case math.IsNaN(slow):
			slow, high = i, 0
		default:
			slow += high * follows
		}
		above[k+1] = above[k]
		if !math.IsNaN(high) {
			above[k+1] += high
		}
	}
	n := max(0, len(amps)-t.over)
	t.di, t.q = make([]float64, 0, n), make([]float64, 0, n)
	for k := range n {
		t.di = append(t.di, amps[k+t.over]-amps[k])
		t.q = append(t.q, above[k+t.over]-above[k])
	}
	return t
}

// missed is the part of the current's changes that those of volts do not tell.
func (t told) missed(volts []float64) float64 {
	var ii, iv, iq, vv, vq, qq float64
	for k, di := range t.di {
		dv, q := volts[k+t.over]-volts[k], t.q[k]
		if math.IsNaN(di) || math.IsNaN(dv) {
			continue
		}
		ii += di * di
		iv += di * dv
		iq += di * q
		vv += dv * dv
		vq += dv * q
		qq += q * q
	}
	det := vv*qq - vq*vq
	if !(det > 1e-12*vv*qq) || ii == 0 {
		return 1
	}
	return 1 - (iv*(iv*qq-iq*vq)+iq*(iq*vv-iv*vq))/det/ii
}

// smoothed is the trace behind a low-pass of first order: exact for a value that goes
// straight from sample to sample, or from reading to reading as a program smooths, begun anew
// behind each gap.
func (c *trace) smoothed(by response) trace {
	tau := by.tauS
	if tau <= 0 {
		return *c
	}
	out := *c
	out.V = make([]float64, len(c.V))
	var keep float64
	var lastStep int64 = -1
	for k, v := range c.V {
		if k == 0 || c.T[k]-c.T[k-1] > c.limit {
			out.V[k] = v
			continue
		}
		step := c.T[k] - c.T[k-1]
		if step != lastStep {
			keep, lastStep = by.keep(schemas.Seconds(step)), step
		}
		if by.stepped {
			out.V[k] = v + (out.V[k-1]-v)*keep
			continue
		}
		// y' = (x - y)/tau along x = a + s t has the answer x - s tau + (y0 - a + s tau) keep.
		rise := (v - c.V[k-1]) / schemas.Seconds(max(step, 1)) * tau
		out.V[k] = v - rise + (out.V[k-1]-c.V[k-1]+rise)*keep
	}
	return out
}
