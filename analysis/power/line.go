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
	AtTimes                                            bool    // it does so for some seconds only, here and there: it is TightOhm at all others
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
func loadLine(pair *aligned, scale scale, from, to int64, leaveV float64, cfg Config, r *Result) (*LoadLine, string) {
	short, long, why := pair.shortAndLong(cfg)
	if why != "" {
		return nil, why
	}
	m, why := pair.measure(short, long, cfg)
	if why != "" {
		return nil, why
	}
	if why := m.beyondLevels(pair, cfg); why != "" {
		return nil, why
	}
	m.loosened(pair, from, to, leaveV, cfg)
	if why := m.beyondLevels(pair, cfg); why != "" {
		return nil, why // the moments rest on steps that told too much
	}
	ohm, half := m.ohm*(1+scale.off), m.wide()*math.Hypot(m.se*(1+scale.off), m.ohm*(1+scale.off)*scale.se)
	if ohm+half < 0 {
		return nil, "the voltage rises with the current: is the sign of the current turned around?"
	}
	if ohm-half <= 0 {
		return nil, fmt.Sprintf("the voltage does not follow the current closely enough: %.1f milliohm, give or take %.1f", ohm*1e3, half*1e3)
	}
	m.remark(pair, scale, half/ohm, cfg, r)
	perRead := m.ohm
	if m.atTimes {
		perRead = m.tight
	}
	l := &LoadLine{
		ResistanceOhm: ohm, ResistanceLowOhm: ohm - half, ResistanceHighOhm: ohm + half,
		TightOhm: m.tight, LooseOhm: m.loose, AtTimes: m.atTimes,
		perRead: perRead, Points: len(m.steps), LagS: schemas.Seconds(pair.lagUs), SmoothedS: pair.tauS,
		relaxed: pair.relaxed(perRead, m.se*m.wide(), cfg),
	}
	l.OpenCircuitV, l.OpenCircuitLow, l.OpenCircuitHigh = l.relaxed.level(cfg)
	return l, ""
}

// shortAndLong are the steps of the load over a gap as short as the sampling allows, and over
// one in which a current that is smoothed has arrived.
func (a *aligned) shortAndLong(cfg Config) (short, long []step, why string) {
	if s := a.stepS(); s > cfg.LongestStepS {
		return nil, nil, fmt.Sprintf("sampled too slowly: voltage and current come every %.2f s, a step of the load takes at most %.2f s to tell resistance from relaxation", s, cfg.LongestStepS)
	}
	if a.step == 0 {
		return nil, nil, "voltage or current has a single reading"
	}
	short, least := a.loadSteps(cfg.HalfGapS, cfg)
	if n := len(events(short, cfg)); n < cfg.LeastSteps {
		return nil, nil, fmt.Sprintf("loads too steady: %d separate steps of the current over %.1f A, %d are needed", n, least, cfg.LeastSteps)
	}
	long, _ = a.loadSteps(max(cfg.SlowHalfGapS, cfg.SlowTimes*a.tauS), cfg)
	return a.trim(short, cfg), a.trim(long, cfg), ""
}

// measured is a resistance for the current as it reads, and what it rests on.
type measured struct {
	ohm, se      float64
	line, lineSE float64 // of the line through all steps, which ohm is not where the middle of each is surer
	steps        []step
	events       float64 // separate ones among them
	tight, loose float64 // ohm, between which it jumps; 0 when it is steady
	atTimes      bool    // it jumps for some seconds only, here and there
}

// measure takes the resistance from the steps, by a line through them or by the middle of what each
// tells, whichever is surer, with a standard error for chance and for what the model leaves out.
func (a *aligned) measure(short, long []step, cfg Config) (m measured, why string) {
	early, ok1 := a.resistance(short, cfg)
	late, ok2 := a.resistance(long, cfg)
	if !ok1 || !ok2 {
		return m, "voltage and current do not change together"
	}
	m = measured{steps: short, ohm: early}
	if a.response != (response{}) || late < early*(1-cfg.SmoothedPart) {
		m.steps, m.ohm = long, late // the current had not fully arrived: its sensor lags or smooths
	}
	draws := a.resampled(m.steps, cfg)
	m.events = float64(len(events(m.steps, cfg)))
	if m.events < float64(cfg.LeastSteps) || len(draws) < cfg.Resamples/2 {
		return m, "too few steps of the load agree with each other"
	}
	spread := stat.MADToSigma * stat.MAD(draws) // robust: a draw of two steps over and over has no line
	model := cfg.ModelError
	if a.apart {
		model += cfg.ApartError * schemas.Seconds(a.finer)
	}
	unequal := (late - early) / 2
	if a.tauS > 0 {
		unequal = 0 // the shorter gap is within what the sensor smooths
	}
	chance := spread * math.Sqrt(m.events/(m.events-1))
	m.se = math.Hypot(math.Hypot(chance, a.mistimed(m.ohm, cfg)), math.Hypot(model*m.ohm, unequal))
	m.line, m.lineSE = m.ohm, m.se
	if ohm, se := m.middle(model); se < m.se {
		m.ohm, m.se = ohm, se
	}
	return m, ""
}

// middle is the middle of what each step tells by itself, and its standard error. Steps of a
// contact that chatters, or of motors let go between two readings, lie far off and pull any line
// to them, but not this (a check that Theil and Sen's slope makes too). What relaxation puts into a
// step stays in it, so that it is no better than that.
func (m *measured) middle(model float64) (ohm, se float64) {
	const relaxation = 0.05 // of the resistance, within a tenth of a second; chosen by us
	each := make([]float64, len(m.steps))
	for k, s := range m.steps {
		each[k] = -s.dv / s.di
	}
	ohm = stat.Median(each)
	chance := stat.MedianWorse * stat.MADToSigma * stat.MAD(each) / math.Sqrt(m.events)
	return ohm, math.Hypot(chance, math.Hypot(model, relaxation)*ohm)
}

// beyondLevels says why the steps tell more than a battery's could, empty when they do not.
func (m *measured) beyondLevels(a *aligned, cfg Config) string {
	level, ok := a.byLevels(cfg)
	if !ok || m.ohm-2*m.se <= cfg.BeyondLevels*level {
		return ""
	}
	return fmt.Sprintf("steps of the current tell %.0f milliohm and its levels %.0f: a battery that is worked gives way by more, never by less", m.ohm*1e3, level*1e3)
}

// wide is by how many standard errors the truth may lie off with 95 % probability on either side.
func (m *measured) wide() float64 {
	return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: m.events - 1}.Quantile(0.975)
}

// loosened is the mean over the match where a loose connection makes the resistance jump. Where it
// does so at times only, the level at no load rests on all the others.
func (m *measured) loosened(a *aligned, from, to int64, leaveV float64, cfg Config) {
	if !(m.ohm > 2*m.se) {
		return // nobody knows the level at no load that the moments rest on
	}
	moments := a.moments(m.ohm, from, to, cfg)
	if far, high, times := moments.looseAtTimes(func(t int64) bool { return a.letGo(t, leaveV) }, cfg); times {
		a.leaveOut(far)
		moments := a.moments(m.ohm, from, to, cfg)
		if _, _, always := moments.under((m.ohm + high) / 2).loose(cfg); !always {
			m.tight, m.loose, m.atTimes = m.ohm, high, true
			m.ohm, m.se = moments.mean(from, to)
			m.se = math.Hypot(m.se, cfg.LooseError*m.ohm)
			return
		}
		a.leaveOut(nil)
	}
	if _, _, loose := moments.loose(cfg); !loose {
		return // steady
	}
	if m.line > 2*m.lineSE { // each step has another resistance, and a line goes through their mean
		moments = a.moments(m.line, from, to, cfg)
	}
	for range 2 { // the level at no load rests on the resistance in turn
		m.ohm, m.se = moments.mean(from, to)
		moments = a.moments(m.ohm, from, to, cfg)
	}
	m.tight, m.loose, _ = moments.loose(cfg)
	m.se = math.Hypot(m.se, cfg.LooseError*m.ohm)
}

// remark notes what a reader of the resistance should know of it; half is half its interval, as
// a share of it.
func (m *measured) remark(a *aligned, scale scale, half float64, cfg Config, r *Result) {
	switch {
	case m.atTimes:
		r.note("the resistance of battery and wiring jumps to about %.3f ohm for moments, as a connection that is loose at times makes it: the resistance is its mean over the match, %.3f ohm at all others", m.loose, m.tight)
	case m.loose > 0:
		r.note("the resistance of battery and wiring jumps between %.3f and %.3f ohm, as a loose connection makes it: the resistance is its mean over the match", m.tight, m.loose)
	}
	if scale.spread > 0.01 {
		r.note("the branches and the whole current disagree by some %.1f %% of scale: the resistance is that of the scale most likely, with an interval for it", 100*scale.spread)
	}
	if half > 0.25 && !(m.loose > 0) {
		r.note("the battery's resistance is known to %.0f %% only, from %d steps of the load", 100*half, len(m.steps))
	}
	if at, ohms, is := a.bent(m.steps, cfg); is && !(m.loose > 0) {
		r.note("the resistance depends on the current: %.4f ohm at %.0f A, %.4f ohm at %.0f A; the one given is between", ohms[0], at[0], ohms[1], at[1])
	}
	if a.lagUs != 0 {
		r.note("the current's reading comes %+.0f ms after the voltage's; corrected", float64(a.lagUs)/1e3)
	}
	if a.tauS > 0 {
		r.note("the current's sensor smooths over about %.0f ms; the voltage was smoothed as much to measure the resistance", a.tauS*1e3)
	}
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
	slope, ok := stat.YorkSlope(x, y, sx, sy)
	return -slope, ok
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
