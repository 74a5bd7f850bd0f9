package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// drive is what one stage's motor was told and did: all its signals on one time grid. NaN
// is no reading.
type drive struct {
	t               []int64
	command         []float64
	volts, amps     []float64
	speed           []float64
	usual           float64           // command this stage is usually driven with
	usualVolts      float64           // V; meanwhile
	ratio           []float64         // roller speed to the speed its drive asks for; NaN without speed or undriven
	settled         []bool            // driven onward for longer than spin-up takes
	load            []float64         // ln(A + offset) of the settled samples, NaN without a current
	passages        map[came]*passage // those read so far
	clock           *clock
	twitches        []series.Interval // driven onward for too short to move anything
	hasCommand      bool
	hasAmps, hasRPM bool
}

// readDrive puts a stage's signals on one grid and runs its clock. A stage without command
// gets its clock later, from borrow, unless its own speed or current tell it.
func readDrive(st Stage, in Input, voltage signal, cfg Config) *drive {
	d := &drive{hasCommand: has(st.Command), hasAmps: has(st.Current), hasRPM: has(st.Speed), passages: map[came]*passage{}}
	d.grid(st, in, voltage)
	d.usual = d.usualCommand(cfg)
	d.usualVolts = stat.Median(sample(d.volts, func(i int) bool { return math.Abs(d.command[i]) > cfg.MinCommand }))
	rate, told := make([]float64, len(d.t)), true
	switch {
	case d.hasCommand:
		d.askedRate(rate, cfg)
	case d.hasRPM:
		d.rateBySpeed(rate)
	case d.hasAmps:
		told = d.rateByCurrent(rate)
	default:
		told = false
	}
	if !told { // then time itself is all there is to go by
		for i := range rate {
			rate[i] = 1
		}
	}
	if cfg.DisabledOff {
		on := periodsOf(in)
		for i, at := range d.t {
			if !during(on, at) {
				rate[i] = 0
			}
		}
	}
	d.settle(rate, cfg)
	d.readLoad()
	d.compareSpeed(rate)
	d.clock = newClock(d.t, rate, in.End, told)
	return d
}

// grid reads every signal at the times at which the command changed and at those of the
// densest other signal, and at the edges of periods and gaps. A value holds until its signal's next sample, but not
// across a silence much longer than that signal's usual step.
func (d *drive) grid(st Stage, in Input, voltage signal) {
	command, amps, speed := signalOf(st.Command), signalOf(st.Current), signalOf(st.Speed)
	dense := speed
	for _, s := range []signal{amps, voltage} {
		if len(s.T) > len(dense.T) {
			dense = s
		}
	}
	d.t = merge(in.Start, in.End, edges(in), command.changes(), command.silences(), dense.silences())
	d.t = merge(in.Start, in.End, d.t, dense.T)
	d.command, d.volts, d.amps, d.speed = command.on(d.t), voltage.on(d.t), amps.on(d.t), speed.on(d.t)
	for _, g := range in.Gaps {
		from, to := series.From(d.t, g.Start+1), series.From(d.t, g.End)
		for _, v := range [][]float64{d.command, d.volts, d.amps, d.speed} {
			for i := from; i < to; i++ {
				v[i] = math.NaN()
			}
		}
	}
}

// usualCommand is the median of the commands above half of the largest: the working
// command, not the small one that holds, however long it held.
func (d *drive) usualCommand(cfg Config) float64 {
	top := 0.0
	for _, c := range d.command {
		if c > top { // false for NaN
			top = c
		}
	}
	if top <= cfg.MinCommand {
		return 1
	}
	return stat.Median(sample(d.command, func(i int) bool { return d.command[i] > top/2 }))
}

// supplied is the voltage against the usual while driven, 1 where it is not known.
func (d *drive) supplied(i int) float64 {
	if v := d.volts[i] / d.usualVolts; v > 0 { // false for NaN
		return min(v, 1.5)
	}
	return 1
}

// askedRate is command times voltage, against the usual of both. A roller that is seen to
// turn slower than that (weak battery, heavy piece) runs the clock by its own speed; one
// that stands although asked runs it in full: that is what a jam is judged by. One that
// stands without drawing current had no power.
func (d *drive) askedRate(rate []float64, cfg Config) {
	for i, c := range d.command {
		if !(math.Abs(c) >= max(cfg.MinCommand, cfg.HoldShare*d.usual)) {
			continue // not driven, or no reading
		}
		rate[i] = c / d.usual * d.supplied(i)
	}
	d.leaveOutTwitches(rate)
	if !d.hasRPM {
		return
	}
	perRate := d.speedPerRate(rate)
	moving := stat.Median(sample(d.amps, func(i int) bool { return d.speed[i] > 0.5*perRate*rate[i] && rate[i] > 0 }))
	for i, r := range rate {
		if r <= 0 || !(perRate > 0) || math.IsNaN(d.speed[i]) {
			continue
		}
		turning := d.speed[i] / (perRate * r)
		switch {
		case turning > 1:
		case turning > standing:
			rate[i] = r * turning
		case d.amps[i] < 0.5*moving:
			rate[i] = r * max(turning, 0)
		}
	}
}

// leaveOutTwitches takes drive that is over before a roller has begun to turn for none: a program
// that holds a piece at a beam gives such, again and again.
func (d *drive) leaveOutTwitches(rate []float64) {
	const twitch = 30_000 // µs; rollers take 50 ms or more to spin up (chosen by us)
	for _, s := range startsOf(rate) {
		if s.to < len(d.t) && d.t[s.to]-d.t[s.from] < twitch {
			clear(rate[s.from:s.to])
			d.twitches = append(d.twitches, series.Interval{Start: d.t[s.from], End: d.t[s.to]})
		}
	}
}

// standing is the share of its speed below which a roller counts as standing still or
// about to; four times the 5 % of a true stall, so that a slow stop is seen as one.
const standing = 0.2

// speedPerRate is the roller speed at rate 1: the median over moments it was driven and
// turned.
func (d *drive) speedPerRate(rate []float64) float64 {
	top := stat.Quantile(0.9, sample(d.speed, func(i int) bool { return rate[i] > 0 && d.speed[i] > 0 }))
	turned := newPicks()
	for i, r := range rate {
		if r > 0 && d.speed[i] > 0.3*top {
			turned.add(i)
		}
	}
	per := turned.of(d.speed)
	for k, i := range turned.at {
		per[k] /= rate[i]
	}
	return stat.Median(per)
}

// rateBySpeed runs the clock by the roller where no command was logged. One that turns and
// brakes is not driven any more, and one that stands is where it draws more than it does turning.
func (d *drive) rateBySpeed(rate []float64) {
	top := d.topSpeed()
	if math.IsNaN(top) {
		return
	}
	turning := sample(d.amps, func(i int) bool { return d.speed[i] > 0.5*top })
	usual, busy := stat.Median(turning), stat.Quantile(0.95, turning)
	for i, w := range d.speed {
		brakes := d.amps[i]*w < 0 && math.Abs(d.amps[i]) > 0.5*usual
		switch {
		case math.Abs(w) > standing*top:
			if !brakes {
				rate[i] = w / top
			}
		case d.amps[i] > 1.5*busy:
			rate[i] = 1
		case d.amps[i] < -1.5*busy: // backward, where the current has a sign
			rate[i] = -1
		}
	}
}

// topSpeed is the roller's speed at full drive, however seldom it was driven; NaN when what it
// shows is no more than noise.
func (d *drive) topSpeed() float64 {
	const (
		peak     = 0.998 // quantile of the readings: a quarter of a second of a match, and no lone spike
		turns    = 0.3   // of that
		overStep = 6     // times what one reading differs from the next
	)
	var step mean
	for i := 1; i < len(d.speed); i++ {
		step.add(math.Abs(d.speed[i]-d.speed[i-1]), 1)
	}
	most := stat.Quantile(peak, sample(d.speed, always))
	if !(most > 0 && most > overStep*step.of()) {
		return math.NaN()
	}
	return stat.Quantile(0.9, sample(d.speed, func(i int) bool { return d.speed[i] > turns*most }))
}

// rateByCurrent takes a motor that draws clearly more than at rest for one that is driven
// onward. It is false when the current has no two levels to tell apart.
func (d *drive) rateByCurrent(rate []float64) bool {
	known := sample(d.amps, func(i int) bool { return !math.IsNaN(d.amps[i]) })
	rest, high := stat.Quantile(0.05, known), stat.Quantile(0.95, known)
	if !(high-rest > 1 && high > 2*rest) {
		return false
	}
	for i, a := range d.amps {
		if a > rest+0.25*(high-rest) {
			rate[i] = 1
		}
	}
	return true
}

// settle marks the moments at which the motor had been driven onward for as long as its
// spin-up takes.
func (d *drive) settle(rate []float64, cfg Config) {
	d.settled = make([]bool, len(d.t))
	starts := startsOf(rate)
	spinUp := max(schemas.Micros(cfg.SettleS), d.spinUp(starts))
	for _, s := range starts {
		for i := s.from; i < s.to; i++ {
			d.settled[i] = d.t[i]-d.t[s.from] >= spinUp
		}
	}
}

// start is a stretch of onward driving: samples from to before to.
type start struct{ from, to int }

func startsOf(rate []float64) []start {
	var all []start
	for i, r := range rate {
		switch {
		case r <= 0:
		case i > 0 && rate[i-1] > 0:
			all[len(all)-1].to = i + 1
		default:
			all = append(all, start{i, i + 1})
		}
	}
	return all
}

// spinUp is how long this motor takes from rest until it turns at its speed and its inrush is
// over, µs: the median of its starts. Heavy rollers take half a second. 0 where no start lasted
// long enough to tell.
func (d *drive) spinUp(starts []start) int64 {
	const (
		lasts = 1_000_000 // µs of driving in which any has spun up, and its last third tells of the time after
		up    = 0.9       // of its speed
		over  = 1.3       // times its current
	)
	var took []float64
	for _, s := range starts {
		to := s.from
		for to < s.to && d.t[to]-d.t[s.from] < lasts {
			to++
		}
		if to == s.to {
			continue // too short
		}
		after := series.From(d.t, d.t[s.from]+2*lasts/3)
		speed, amps := stat.Median(sample(d.speed[after:to], always)), stat.Median(sample(d.amps[after:to], always))
		first := s.from
		for i := s.from; i < after; i++ {
			if d.speed[i] < up*speed || d.amps[i]+offset > over*(amps+offset) {
				first = i + 1
			}
		}
		took = append(took, float64(d.t[first]-d.t[s.from]))
	}
	if len(took) == 0 {
		return 0
	}
	return int64(stat.Median(took))
}

func always(int) bool { return true }

// readLoad takes the logarithms once: every visit of a piece asks for those of its samples.
func (d *drive) readLoad() {
	d.load = make([]float64, len(d.t))
	for i, settled := range d.settled {
		if settled {
			d.load[i] = math.Log(max(d.amps[i], 0) + offset)
		}
	}
}

// compareSpeed fills ratio: roller speed to what the command asked for at the voltage of the
// moment, so that a sagging supply is not taken for a load.
func (d *drive) compareSpeed(rate []float64) {
	asked := slices.Clone(rate)
	if d.hasCommand {
		for i, r := range rate {
			if r != 0 {
				asked[i] = d.command[i] / d.usual * d.supplied(i)
			}
		}
	}
	per := d.speedPerRate(asked)
	d.ratio = asked // one for the other, in place
	for i, a := range asked {
		if a != 0 && per > 0 {
			d.ratio[i] = d.speed[i] / (per * a)
		} else {
			d.ratio[i] = math.NaN()
		}
	}
}

// borrow gives a stage that tells nothing of its drive the clock of the nearest one that
// does: often one motor turns several stages.
func borrow(drives []*drive) {
	for i, d := range drives {
		if d.clock.told {
			continue
		}
		for step := 1; step < len(drives); step++ {
			near := -1
			for _, k := range []int{i + step, i - step} {
				if near < 0 && k >= 0 && k < len(drives) && drives[k].hasCommand {
					near = k
				}
			}
			if near >= 0 {
				lent := *drives[near].clock
				lent.told, lent.lent = false, true
				d.clock = &lent
				break
			}
		}
	}
}
