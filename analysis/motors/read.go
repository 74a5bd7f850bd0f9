package motors

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// reading is one reading of the current with what else was true then. NaN is not known.
// Everything is seen in the direction of the command, as if it always drove onward: a
// negative current or speed goes against it.
type reading struct {
	t     int64   // µs
	dt    float64 // s it stands for
	u     float64 // size of the command, 0..1
	v     float64 // V of the supply
	i     float64 // A, zero of the sensor taken off
	w     float64 // rad/s
	raw   float64 // A as logged
	back  bool    // the command is negative
	off   bool    // nothing is driven: disabled, or nothing was logged
	sag   bool    // the supply is, or just was, so low that controllers may have let go
	quiet bool    // a mechanism that is where it was sent: it holds
}

// record is a motor's readings and what was learned of it.
type record struct {
	Motor
	rows                []reading
	runs                [][]reading // of the rows, those of steady driving
	zero                float64     // A its sensor reads at rest
	zeroSE              float64     // A, its standard error
	rested              bool        // it was seen at rest, else zero is 0
	noiseA              float64     // A, of one reading
	noiseW              float64     // rad/s
	usual               float64     // command it is usually driven with
	free                float64     // A it draws running lightly; NaN when it is never seen to run
	ceiling             float64     // A, hardly ever more
	windingCeiling      float64     // A, the same of the current in the windings, once the line is known
	perU                float64     // rad/s a full command at the usual voltage makes; 0 without speed
	asWinding, asSupply line        // what it would be if the current were of that side
	odds                float64     // ln of how much likelier the winding is
	line                line
}

// read lays a motor's signals on the times of its current and learns the plain things: the
// zero of its sensor, whether current and speed have signs, how it is usually driven. lowV is the
// supply's voltage under which it sags, noises are those of its signals.
func read(m Motor, in Input, lowV float64, noises map[*series.Float]float64, cfg Config) *record {
	r := &record{Motor: m}
	command, speed, volts := holds(m.Command, cfg), straight(m.Speed, cfg), straight(in.Voltage, cfg)
	position, target := straight(m.Position, cfg), holds(m.Target, cfg)
	longest := lasting(m.Current, cfg)
	t := m.Current.T
	r.rows = make([]reading, len(t))
	for k, at := range t {
		next := at + longest
		if k+1 < len(t) {
			next = min(next, t[k+1])
		}
		u := command.at(at)
		x := &r.rows[k]
		x.t, x.dt = at, float64(next-at)/1e6
		x.u, x.back = math.Abs(u), u < 0
		x.v, x.w, x.raw = volts.at(at), speed.at(at), m.Current.V[k]
		x.off = inside(in.Disabled, at) || inside(in.Gaps, at)
		x.quiet = math.Abs(position.at(at)-target.at(at)) <= 2*m.Within
	}
	r.markSags(in.Voltage, lowV, cfg)
	r.usual = usualCommand(r.rows, cfg)
	r.noiseA, r.noiseW = noises[m.Current], noises[m.Speed]
	r.perU = topSpeed(r.rows)
	r.readZero(cfg)
	r.readSigns(cfg)
	r.readRunning(cfg)
	return r
}

// lasting is how long a reading of a signal stands at most, µs: three of its usual steps. One
// that is only written when it changes, which never says the same twice, stands longer.
func lasting(f *series.Float, cfg Config) int64 {
	for k := 1; k < len(f.V); k++ {
		if f.V[k] == f.V[k-1] {
			return max(3*series.Step(f.T), int64(cfg.HoldS*1e6))
		}
	}
	return max(3*series.Step(f.T), int64(cfg.HoldStateS*1e6))
}

// lookup reads a series at ever later times.
type lookup struct {
	f       *series.Float
	hold    bool
	longest int64
	k       int // first sample after the time asked last
}

// holds reads a state that holds until its next sample: not for much longer than it usually
// does, for then its device may have fallen silent.
func holds(f *series.Float, cfg Config) *lookup {
	l := &lookup{f: f, hold: true}
	if f != nil && len(f.T) > 1 {
		steps := make([]float64, len(f.T)-1)
		for k := range steps {
			steps[k] = float64(f.T[k+1] - f.T[k])
		}
		l.longest = max(int64(3*stat.Quantile(0.9, steps)), int64(cfg.HoldStateS*1e6))
	}
	return l
}

// straight reads a measured quantity, straight between its samples; not across a silence.
func straight(f *series.Float, cfg Config) *lookup {
	l := &lookup{f: f}
	if f != nil {
		l.longest = lasting(f, cfg)
	}
	return l
}

// at is the value at t, NaN when it is not known; t must not fall from call to call.
func (l *lookup) at(t int64) float64 {
	if l.f == nil {
		return math.NaN()
	}
	for l.k < len(l.f.T) && l.f.T[l.k] <= t {
		l.k++
	}
	if l.k == 0 {
		return math.NaN()
	}
	before := l.k - 1
	if l.hold && t-l.f.T[before] > l.longest && l.longest > 0 {
		return math.NaN()
	}
	if l.hold || l.f.T[before] == t {
		return l.f.V[before]
	}
	if l.k == len(l.f.T) || l.f.T[l.k]-l.f.T[before] > l.longest {
		if t-l.f.T[before] <= l.longest/3 {
			return l.f.V[before]
		}
		return math.NaN()
	}
	part := float64(t-l.f.T[before]) / float64(l.f.T[l.k]-l.f.T[before])
	return l.f.V[before] + part*(l.f.V[l.k]-l.f.V[before])
}

func inside(spans []series.Interval, t int64) bool {
	for _, s := range spans {
		if s.Start <= t && t < s.End {
			return true
		}
	}
	return false
}

// lowVolts is the voltage under which controllers may have let go: at which they take hold again,
// or far under the usual.
func lowVolts(in Input, cfg Config) float64 {
	if in.Voltage == nil || len(in.Voltage.V) == 0 {
		return in.LeaveV
	}
	return max(in.LeaveV, cfg.SagShare*stat.Median(in.Voltage.V))
}

// markSags marks what lies about moments in which the supply was that low.
func (r *record) markSags(voltage *series.Float, low float64, cfg Config) {
	if voltage == nil || len(voltage.V) == 0 {
		return
	}
	around := int64(cfg.AroundSagS * 1e6)
	next, last := 0, int64(math.MinInt64/2)
	for k := range r.rows {
		at := r.rows[k].t
		for next < len(voltage.T) && voltage.T[next] <= at+around {
			if voltage.V[next] < low {
				last = voltage.T[next]
			}
			next++
		}
		r.rows[k].sag = at-last <= around
	}
}

// usualCommand is the median of the commands above half of the largest: what drives, not
// what holds, however long it holds. NaN without any.
func usualCommand(rows []reading, cfg Config) float64 {
	top := 0.0
	for k := range rows {
		top = max(top, orZero(rows[k].u))
	}
	if top <= cfg.MinCommand {
		return math.NaN()
	}
	return stat.Median(pick(rows, func(x *reading) bool { return x.u > top/2 }, func(x *reading) float64 { return x.u }))
}

// noisesOf are the standard deviations of the noise of currents and speeds, of their steps too. Most
// robots read all of them at the same times.
func noisesOf(motors []Motor) map[*series.Float]float64 {
	var together [][]*series.Float
	for _, m := range motors {
		for _, f := range []*series.Float{m.Current, m.Speed} {
			if f == nil {
				continue
			}
			k := slices.IndexFunc(together, func(g []*series.Float) bool { return slices.Equal(g[0].T, f.T) })
			if k < 0 {
				k, together = len(together), append(together, nil)
			}
			together[k] = append(together[k], f)
		}
	}
	out := map[*series.Float]float64{}
	for _, group := range together {
		var values [][]float64
		for _, f := range group {
			values = append(values, f.V)
		}
		for k, noise := range stat.Noises(group[0].T, values...) {
			out[group[k]] = noise
		}
	}
	return out
}

// rests says of each row whether the motor has been told to rest for cfg.RestS and does not
// turn; only where the command is known.
func (r *record) rests(cfg Config) []bool {
	out := make([]bool, len(r.rows))
	since := int64(math.MaxInt64)
	for k := range r.rows {
		x := &r.rows[k]
		if !(x.u < cfg.MinCommand/2) || math.Abs(x.w) > cfg.StandShare*r.perU+4*r.noiseW {
			since = math.MaxInt64
			continue
		}
		since = min(since, x.t)
		out[k] = x.t-since >= int64(cfg.RestS*1e6)
	}
	return out
}

// topSpeed is nearly the largest speed seen while driven, rad/s; 0 without speed.
func topSpeed(rows []reading) float64 {
	seen := pick(rows, func(x *reading) bool { return x.u > 0 && !math.IsNaN(x.w) }, func(x *reading) float64 { return math.Abs(x.w) })
	return orZero(stat.Quantile(0.95, seen))
}

// readZero takes the sensor's zero off: the median of its readings at rest, of those within cfg.IdleA
// of the leastRest in a row at which it drew least, or within its noise. What it draws besides at
// others, however many, is no zero.
func (r *record) readZero(cfg Config) {
	rests := r.rests(cfg)
	var seen, row []float64
	least := math.Inf(1)
	for k := range r.rows {
		x := &r.rows[k]
		if rests[k] {
			seen, row = append(seen, x.raw), append(row, x.raw)
		}
		if len(row) == leastRest {
			if m := stat.Median(row); math.Abs(m) < math.Abs(least) {
				least = m
			}
			row = row[:0]
		}
	}
	if !math.IsInf(least, 1) {
		const noisy = 3.0 // standard deviations: of many rests the least is off by some of them, and cut about it the others' middle would be too
		seen = slices.DeleteFunc(seen, func(a float64) bool { return math.Abs(a-least) > max(cfg.IdleA, noisy*r.noiseA) })
	}
	const unread = 0.3 // A by which a zero may be off that nobody read; chosen by us
	r.zeroSE = unread
	if n := len(seen); n >= leastRest/2 { // of some rest they are the half about its middle
		r.zero, r.rested = stat.Median(seen), true
		r.zeroSE = stat.MedianWorse * r.noiseA / math.Sqrt(float64(n))
	}
	for k := range r.rows {
		r.rows[k].i = r.rows[k].raw - r.zero
	}
}

const leastRest = 20 // readings of a rest that say something; chosen by us

// readSigns turns current and speed into the direction of the command. What has the same sign
// whichever way the motor is driven has none, or is the supply's current; what is always
// against the command is wired the other way round.
func (r *record) readSigns(cfg Config) {
	type driven struct{ amps, speeds []float64 }
	place := func() []float64 { return make([]float64, 0, len(r.rows)) }
	on, back := driven{place(), place()}, driven{place(), place()}
	for k := range r.rows {
		x := &r.rows[k]
		if !(x.u >= 2*cfg.MinCommand) || x.off || x.sag {
			continue
		}
		way := &on
		if x.back {
			way = &back
		}
		if !math.IsNaN(x.i) {
			way.amps = append(way.amps, x.i)
		}
		if !math.IsNaN(x.w) {
			way.speeds = append(way.speeds, x.w)
		}
	}
	onA, backA := signs(stat.Median(on.amps), stat.Median(back.amps))
	onW, backW := signs(stat.Median(on.speeds), stat.Median(back.speeds))
	for k := range r.rows {
		x := &r.rows[k]
		if x.back {
			x.i, x.w = x.i*backA, x.w*backW
		} else {
			x.i, x.w = x.i*onA, x.w*onW
		}
	}
}

// signs are what to multiply with when driven onward and back, so that both medians come out
// positive. A direction that was never driven is taken to be the reverse of the other.
func signs(on, back float64) (onward, backward float64) {
	switch {
	case math.IsNaN(on) && math.IsNaN(back):
		return 1, -1
	case math.IsNaN(on):
		return -math.Copysign(1, back), math.Copysign(1, back)
	case math.IsNaN(back):
		return math.Copysign(1, on), -math.Copysign(1, on)
	}
	return math.Copysign(1, on), math.Copysign(1, back)
}

// readRunning learns what it draws and how fast it turns when nothing holds it.
func (r *record) readRunning(cfg Config) {
	r.runs = steadyRuns(r.rows, cfg)
	running := r.steady(cfg)
	r.ceiling = r.ceilingOf(func(x *reading) float64 { return x.i })
	var ratio []float64
	usualV := stat.Median(pick(r.rows, func(x *reading) bool { return x.u > cfg.MinCommand && !math.IsNaN(x.v) }, func(x *reading) float64 { return x.v }))
	for _, b := range running {
		v := b.v / usualV
		if math.IsNaN(v) {
			v = 1
		}
		ratio = append(ratio, b.w/(b.u*v))
	}
	fast := stat.Quantile(0.9, turning(finiteOf(ratio)))
	if fast > 0 {
		r.perU = fast
	}
	var light []float64
	for k, b := range running {
		if b.u >= cfg.HoldShare*r.usual && (math.IsNaN(fast) || ratio[k] > fast/2) {
			light = append(light, b.i)
		}
	}
	r.free = math.NaN()
	if len(light) >= 5 {
		r.free = stat.Quantile(0.2, light)
	}
}

// ceilingOf is what hardly any reading of it exceeds while driven, by size.
func (r *record) ceilingOf(amps func(*reading) float64) float64 {
	driven := func(x *reading) bool { return x.u > 0 && !x.off && !x.sag || math.IsNaN(x.u) }
	return stat.Quantile(0.999, pick(r.rows, driven, func(x *reading) float64 { return math.Abs(amps(x)) }))
}

// turning are the speeds that are none of a motor held fast: a motor may stand for most of the time
// it is driven.
func turning(speeds []float64) []float64 {
	const share = 0.3 // of the highest, chosen by us
	highest := stat.Quantile(0.99, speeds)
	return slices.DeleteFunc(slices.Clone(speeds), func(v float64) bool { return v <= share*highest })
}

func pick(rows []reading, which func(*reading) bool, what func(*reading) float64) []float64 {
	out := make([]float64, 0, len(rows))
	for k := range rows {
		if x := &rows[k]; which(x) {
			out = append(out, what(x))
		}
	}
	return out
}

func finiteOf(x []float64) []float64 {
	var out []float64
	for _, v := range x {
		if !math.IsNaN(v) && !math.IsInf(v, 0) {
			out = append(out, v)
		}
	}
	return out
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}
