package power

import (
	"fmt"
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// LoadLine is V = OpenCircuitV - ResistanceOhm * I of a battery that has not been worked,
// with 95 % intervals. The line that the report gives lies lower: see relaxed.through.
type LoadLine struct {
	OpenCircuitV, OpenCircuitLow, OpenCircuitHigh      float64
	ResistanceOhm, ResistanceLowOhm, ResistanceHighOhm float64
	TightOhm, LooseOhm                                 float64 // between which the resistance jumps, 0 when it is steady
	SmoothedS                                          float64 // time constant by which the current's sensor smooths, 0 for none
	perRead                                            float64 // the resistance for currents as the sensor reads them, its scale not put right
	Points                                             int     // steps of the load it rests on
	LagS                                               float64 // how much later the current's reading comes than the voltage's

	relaxed relaxed // what the line leaves, taken apart
}

// tightOhm is the resistance at its lowest: that of a connection that jumps at its best, else
// the low end of the interval.
func (l *LoadLine) tightOhm() float64 {
	if l.LooseOhm > 0 {
		return l.TightOhm
	}
	return l.ResistanceLowOhm
}

// loadLine measures the battery, or says why it cannot.
func loadLine(pair *aligned, scale scale, from, to int64, cfg Config, r *Result) (*LoadLine, string) {
	if s := pair.stepS(); s > cfg.LongestStepS {
		return nil, fmt.Sprintf("sampled too slowly: voltage and current come every %.2f s, a step of the load takes at most %.2f s to tell resistance from relaxation", s, cfg.LongestStepS)
	}
	if pair.step == 0 {
		return nil, "voltage or current has a single reading"
	}
	short, least := pair.loadSteps(cfg.HalfGapS, cfg)
	if n := len(events(short, cfg)); n < cfg.LeastSteps {
		return nil, fmt.Sprintf("loads too steady: %d separate steps of the current over %.1f A, %d are needed", n, least, cfg.LeastSteps)
	}
	long, _ := pair.loadSteps(max(cfg.SlowHalfGapS, cfg.SlowTimes*pair.tauS), cfg)
	short, long = pair.trim(short, cfg), pair.trim(long, cfg)
	early, ok1 := pair.resistance(short, cfg)
	late, ok2 := pair.resistance(long, cfg)
	if !ok1 || !ok2 {
		return nil, "voltage and current do not change together"
	}
	steps, ohm := short, early
	if pair.response != (response{}) || late < early*(1-cfg.SmoothedPart) {
		steps, ohm = long, late // the current had not fully arrived: its sensor lags or smooths
	}
	draws := pair.resampled(steps, cfg)
	n := float64(len(events(steps, cfg)))
	if n < float64(cfg.LeastSteps) || len(draws) < cfg.Resamples/2 {
		return nil, "too few steps of the load agree with each other"
	}
	spread := stat.MADToSigma * stat.MAD(draws) // robust: a draw of two steps over and over has no line
	model := cfg.ModelError
	if pair.apart {
		model += cfg.ApartError * schemas.Seconds(pair.finer)
	}
	unequal := (late - early) / 2
	if pair.tauS > 0 {
		unequal = 0 // the shorter gap is within what the sensor smooths
	}
	se := math.Hypot(math.Hypot(spread*math.Sqrt(n/(n-1)), pair.mistimed(ohm, cfg)), math.Hypot(model*ohm, unequal))
	moments := pair.moments(ohm, from, to, cfg)
	low, high, loose := moments.loose(cfg)
	loose = loose && ohm > 2*se // else nobody knows the level at no load that the moments rest on
	if level, ok := pair.byLevels(cfg); ok && ohm-2*se > cfg.BeyondLevels*level {
		return nil, fmt.Sprintf("steps of the current tell %.0f milliohm and its levels %.0f: a battery that is worked gives way by more, never by less", ohm*1e3, level*1e3)
	}
	if loose {
		for range 2 { // the level at no load rests on the resistance in turn
			ohm, se = moments.mean(from, to)
			moments = pair.moments(ohm, from, to, cfg)
		}
		low, high, _ = moments.loose(cfg)
		se = math.Hypot(se, cfg.LooseError*ohm)
		r.note("the resistance of battery and wiring jumps between %.3f and %.3f ohm, as a loose connection makes it: the resistance is its mean over the match", low, high)
	}
	read, readSE := ohm, se // for the current as it reads
	ohm *= 1 + scale.off
	se = math.Hypot(se, ohm*scale.se)
	if scale.spread > 0.01 {
		r.note("the branches and the whole current disagree by some %.1f %% of scale: the resistance is that of the scale most likely, with an interval for it", 100*scale.spread)
	}
	wide := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile(0.975)
	half := se * wide
	if ohm+half < 0 {
		return nil, "the voltage rises with the current: is the sign of the current turned around?"
	}
	if ohm-half <= 0 {
		return nil, fmt.Sprintf("the voltage does not follow the current closely enough: %.1f milliohm, give or take %.1f", ohm*1e3, half*1e3)
	}
	if half > 0.25*ohm && !loose {
		r.note("the battery's resistance is known to %.0f %% only, from %d steps of the load", 100*half/ohm, len(steps))
	}
	if at, ohms, is := pair.bent(steps, cfg); is && !loose {
		r.note("the resistance depends on the current: %.4f ohm at %.0f A, %.4f ohm at %.0f A; the one given is between", ohms[0], at[0], ohms[1], at[1])
	}
	if pair.lagUs != 0 {
		r.note("the current's reading comes %+.0f ms after the voltage's; corrected", float64(pair.lagUs)/1e3)
	}
	if pair.tauS > 0 {
		r.note("the current's sensor smooths over about %.0f ms; the voltage was smoothed as much to measure the resistance", pair.tauS*1e3)
	}
	l := &LoadLine{
		ResistanceOhm: ohm, ResistanceLowOhm: ohm - half, ResistanceHighOhm: ohm + half,
		perRead: read, Points: len(steps), LagS: schemas.Seconds(pair.lagUs), SmoothedS: pair.tauS,
	}
	if loose {
		l.TightOhm, l.LooseOhm = low, high
	}
	l.relaxed = pair.relaxed(read, readSE*wide, cfg)
	l.OpenCircuitV, l.OpenCircuitLow, l.OpenCircuitHigh = l.relaxed.level(cfg)
	return l, ""
}

// byLevels is minus the slope of voltage on current within stretches of LevelsS, in which a battery
// is as good as equally full. What relaxes in them adds to the resistance, so that this is the more;
// noise, a lag and smoothing of the current's reading make it somewhat less. ok is false where the
// current hardly changed.
func (a *aligned) byLevels(cfg Config) (ohm float64, ok bool) {
	var vi, ii, n float64
	for from := 0; from < len(a.T); {
		to := from
		var k, v, i, ownVI, ownII float64
		for ; to < len(a.T) && float64(a.T[to]-a.T[from]) <= cfg.LevelsS*1e6; to++ {
			if dv, di := a.V[to], a.I[to]; !math.IsNaN(dv) && !math.IsNaN(di) {
				k, v, i, ownVI, ownII = k+1, v+dv, i+di, ownVI+dv*di, ownII+di*di
			}
		}
		if k > 1 {
			vi, ii, n = vi+ownVI-v*i/k, ii+ownII-i*i/k, n+k
		}
		from = max(to, from+1)
	}
	ii -= n * a.noiseI * a.noiseI
	if !(ii > n*a.noiseI*a.noiseI) || !(vi < 0) {
		return 0, false
	}
	return -vi / ii, true
}

// mistimed is the standard error that what is not known of the current sensor's response
// leaves in the resistance: by how much that is another with a time constant a tenth longer,
// and with a lag a quarter of a step longer.
func (a *aligned) mistimed(ohm float64, cfg Config) float64 {
	if a.response == (response{}) && !a.apart {
		return 0
	}
	other := func(r response) float64 {
		b := alignedBy(r, a.volts, a.amps)
		steps, _ := b.loadSteps(max(cfg.SlowHalfGapS, cfg.SlowTimes*b.tauS), cfg)
		if second, ok := b.resistance(b.trim(steps, cfg), cfg); ok && len(steps) > 0 {
			return second - ohm
		}
		return 0
	}
	se := other(response{a.lagUs + a.step/4, a.tauS, a.stepped})
	if a.tauS > 0 {
		se = math.Hypot(se, other(response{a.lagUs, 1.1 * a.tauS, a.stepped}))
	}
	return se
}

// resistance is minus the slope of York's line through the steps, after what relaxation
// put into both coordinates has been taken out: a straight dependence on the charge that
// flowed during the step beyond what flowed before.
//
// Where the steps are so much of one shape that this charge is but another word for the step,
// the two cannot be told apart and come out as large opposites: more relaxation than any that
// is slower than FastestS could make. Then it stays in.
func (a *aligned) resistance(steps []step, cfg Config) (ohm float64, ok bool) {
	var ui, uv, uu float64
	for _, s := range steps {
		ui += s.u * s.di
		uv += s.u * s.dv
		uu += s.u * s.u
	}
	ohm, ok = a.york(steps, ui/uu, uv/uu, uu > 0)
	if perSecond := -(uv + ohm*ui) / uu; uu > 0 && ok && math.Abs(perSecond) > math.Abs(ohm)/cfg.FastestS {
		return a.york(steps, 0, 0, false)
	}
	return ohm, ok
}

// york is minus the slope of York's line through the steps, with ui and uv for each ampere
// second of charge taken out of both coordinates.
func (a *aligned) york(steps []step, ui, uv float64, takeOut bool) (ohm float64, ok bool) {
	x, y := make([]float64, len(steps)), make([]float64, len(steps))
	sx, sy := make([]float64, len(steps)), make([]float64, len(steps))
	for k, s := range steps {
		x[k], y[k] = s.di, s.dv
		if takeOut {
			x[k] -= ui * s.u
			y[k] -= uv * s.u
		}
		sx[k], sy[k] = a.noiseI*math.Sqrt(2/s.n), max(a.noiseV, 1e-6)*math.Sqrt(2/s.n)
	}
	l, ok := stat.FitYork(x, y, sx, sy)
	return -l.Slope, ok
}

// trim leaves out steps that do not lie on the line of the others: a glitch of a sensor, a
// contact that opened for a moment.
func (a *aligned) trim(steps []step, cfg Config) []step {
	const far = 6
	ohm, ok := a.resistance(steps, cfg)
	if !ok {
		return steps
	}
	off := make([]float64, len(steps))
	for k, s := range steps {
		off[k] = s.dv + ohm*s.di
	}
	middle, spread := stat.Median(off), stat.MADToSigma*stat.MAD(off)
	var out []step
	for k, s := range steps {
		if math.Abs(off[k]-middle) <= far*max(spread, a.noiseV) {
			out = append(out, s)
		}
	}
	return out
}

// events groups steps that follow each other: those of one event of the load share its
// relaxation and the driver's hand, so they are drawn together.
func events(steps []step, cfg Config) [][]step {
	var out [][]step
	from := 0
	for k := 1; k <= len(steps); k++ {
		if k == len(steps) || float64(steps[k].t-steps[k-1].t)/1e6 > cfg.EventS {
			out = append(out, steps[from:k])
			from = k
		}
	}
	return out
}

// resampled is the resistance of many draws of the load's events, with repetition. The
// seed is fixed: the same log gives the same interval.
func (a *aligned) resampled(steps []step, cfg Config) []float64 {
	rng := rand.New(rand.NewPCG(0, uint64(len(steps))))
	all := events(steps, cfg)
	var out []float64
	var draw []step
	for range cfg.Resamples {
		draw = draw[:0]
		for range all {
			draw = append(draw, all[rng.IntN(len(all))]...)
		}
		if ohm, ok := a.resistance(draw, cfg); ok {
			out = append(out, ohm)
		}
	}
	return out
}
