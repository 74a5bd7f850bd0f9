package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// steady says whether a signal is a measured quantity that moves bit by bit.
func (s *signal) steady() bool {
	return s.number() && s.moving > 0.03 && !s.few(12)
}

// planar is a way to read x and y, with or without heading.
type planar struct {
	x, y, heading *signal
	odds          float64
	unit          string
	turn          string // unit of the heading
	why           string
	fit           float64 // how well the heading is the direction of travel, -1 to 1
}

// fields: a robot drives up to 6 m/s and rarely less than 0.5 at its fastest (common
// practice), on a field of 5 to 20 m.
var lengthUnits = []struct {
	unit  string
	metre float64
}{{"", 1}, {"mm", 1e-3}, {"cm", 1e-2}, {"in", 0.0254}, {"ft", 0.3048}}

// poses are the ways to read the pose.
func (l *look) poses() (slot, []planar) {
	type mover struct {
		s     *signal
		speed []float64
		fast  float64
	}
	var movers []mover
	var turners []*signal
	for _, s := range l.signals {
		if !s.steady() {
			continue
		}
		if s.is(units.Angle) && s.lasting > 0.8 {
			turners = append(turners, s)
		}
		if s.is(units.Length) {
			if s.lasting < 0.97 {
				continue
			}
			v := slope(s.v)
			fast := stat.Quantile(0.97, absolute(v))
			if fast > 0 && s.hi-s.lo > fast { // it goes on for more than a second: a way, not a jerk
				movers = append(movers, mover{s, v, fast})
			}
		}
	}
	out := slot{name: "pose"}
	var all []planar
	for i, a := range movers {
		for _, b := range movers[i+1:] {
			// Two ways of one robot stand still together and cover distances of one size.
			together := stillTogether(a.speed, b.speed, a.fast, b.fast)
			ratio := math.Abs(math.Log(a.fast / b.fast))
			if ratio > math.Log(12) {
				continue
			}
			unit, plausible := bestLength(a.s, b.s, a.fast, b.fast)
			odds := -4.5 + 3*together - 0.5*ratio + plausible
			h, turn, fit, sense := l.headingOf(a.speed, b.speed, turners, a.s, b.s)
			if h != nil {
				x, y := a.s, b.s
				if sense < 0 {
					x, y = y, x
				}
				p := planar{x, y, h, odds + 12*(fit-0.35), unit, turn, "", fit}
				all = append(all, p)
			}
			for _, p := range []planar{{x: a.s, y: b.s}, {x: b.s, y: a.s}} {
				p.odds, p.unit = odds, unit
				// A field is usually longer than wide and x runs along it (common practice).
				long := math.Log((p.x.q99 - p.x.q01) / math.Max(p.y.q99-p.y.q01, 1e-9))
				p.odds += math.Max(-0.8, math.Min(0.8, long))
				all = append(all, p)
			}
		}
	}
	for _, p := range all {
		odds := p.odds + p.x.named("x") + p.y.named("y") + 0.5*l.kinship(p.x, p.y)
		ref := profile.Ref{}
		if p.x.quantity == nil {
			ref.Unit = p.unit
		}
		uses := []use{
			{role: "cycles.pose.x", s: p.x, ref: ref, sure: 1, why: "moves and stands together with y at a robot's speed"},
			{role: "cycles.pose.y", s: p.y, ref: ref, sure: 1, why: "moves and stands together with x at a robot's speed"},
		}
		if p.heading != nil {
			odds += p.heading.named("heading")
			turn := profile.Ref{}
			if p.heading.quantity == nil {
				turn.Unit = p.turn
			}
			uses = append(uses, use{role: "cycles.pose.heading", s: p.heading, ref: turn, sure: 1, why: fmt.Sprintf("it is the direction of travel (agreement %.2f of 1)", p.fit)})
			for i := range 2 {
				uses[i].why = "with y and heading it makes one way"
			}
			uses[1].why = "with x and heading it makes one way"
		}
		out.options = append(out.options, option{odds: odds, uses: uses})
	}
	return out, all
}

func absolute(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}

// stillTogether is how much more often two signals stand still together than by chance: the
// correlation (phi) of their standing.
func stillTogether(a, b []float64, fa, fb float64) float64 {
	var n [2][2]float64
	for i := range a {
		x, y := 0, 0
		if math.Abs(a[i]) > 0.06*fa {
			x = 1
		}
		if math.Abs(b[i]) > 0.06*fb {
			y = 1
		}
		n[x][y]++
	}
	d := (n[0][0] + n[0][1]) * (n[1][0] + n[1][1]) * (n[0][0] + n[1][0]) * (n[0][1] + n[1][1])
	if d == 0 {
		return 0
	}
	return (n[0][0]*n[1][1] - n[0][1]*n[1][0]) / math.Sqrt(d)
}

// bestLength is the unit of length in which speed and way are a robot's, and how plausible
// that is.
func bestLength(a, b *signal, fa, fb float64) (unit string, odds float64) {
	fast, wide := math.Hypot(fa, fb), math.Max(a.q99-a.q01, b.q99-b.q01)
	best := math.Inf(-1)
	for i, u := range lengthUnits {
		if a.quantity != nil && i > 0 {
			break // converted already
		}
		// Log-normal about 2 m/s and 8 m, a factor of 2 wide: chosen by us.
		z1, z2 := math.Log(fast*u.metre/2)/math.Ln2, math.Log(wide*u.metre/8)/math.Ln2
		p := -(z1*z1 + z2*z2) / 2
		if i > 0 {
			p -= 1.5 // SI unless it cannot be
		}
		if p > best {
			best, unit = p, u.unit
		}
	}
	return unit, 1.5 + best/2
}

// headingOf is the signal that is the direction of travel of (a, b), if one is: fit is the
// mean of cos 2(direction - heading) where the robot moves, the double angle because it may
// drive backwards. sense is 1 when a is x, -1 when b is.
func (l *look) headingOf(va, vb []float64, turners []*signal, a, b *signal) (best *signal, unit string, fit, sense float64) {
	var speeds []float64
	for i := 0; i < len(va); i += 5 {
		speeds = append(speeds, math.Hypot(va[i], vb[i]))
	}
	fast := stat.Quantile(0.98, speeds) // a place that is set anew jumps
	var at []int
	for i := 0; i < len(va); i += 5 {
		if math.Hypot(va[i], vb[i]) > 0.3*fast {
			at = append(at, i)
		}
	}
	if len(at) < int(2*perSec)/5 {
		return nil, "", 0, 0
	}
	for _, h := range turners {
		if h == a || h == b {
			continue
		}
		for _, u := range []struct {
			unit string
			rad  float64
		}{{"", 1}, {"deg", math.Pi / 180}} {
			if h.quantity != nil && u.unit != "" {
				break
			}
			same, swapped := 0.0, 0.0
			for _, i := range at {
				if math.IsNaN(h.v[i]) {
					continue
				}
				d := math.Atan2(vb[i], va[i])
				t := h.v[i] * u.rad
				same += math.Cos(2 * (d - t))
				swapped += math.Cos(2 * (math.Pi/2 - d - t))
			}
			same, swapped = same/float64(len(at)), swapped/float64(len(at))
			if same > fit {
				best, unit, fit, sense = h, u.unit, same, 1
			}
			if swapped > fit {
				best, unit, fit, sense = h, u.unit, swapped, -1
			}
		}
	}
	// A signal that hardly turns may be any constant: it must have turned for the fit to count.
	if best != nil {
		rad := 1.0
		if unit == "deg" {
			rad = math.Pi / 180
		}
		if (best.q95-best.q05)*rad < 0.3 {
			fit *= 0.6
		}
	}
	return best, unit, fit, sense
}

// tilts are the ways to read tilt and its rate.
func (l *look) tilts() slot {
	out := slot{name: "tilt"}
	type turning struct {
		s *signal
		d []float64
	}
	var rates []turning
	for _, s := range l.signals {
		if s.steady() && s.is(units.AngularSpeed) && !(math.Abs(s.rest) > 0.2*s.q99) {
			rates = append(rates, turning{s, mean(filled(s.v), int(0.1*perSec))})
		}
	}
	for _, s := range l.signals {
		odds, unit, ok := l.mayBeTilt(s)
		if !ok {
			continue
		}
		ref := profile.Ref{}
		if s.quantity == nil {
			ref.Unit = unit
		}
		odds += s.named("tilt")
		tilt := use{role: "balance.tilt", s: s, ref: ref, sure: 1, why: fmt.Sprintf("level nearly all the time, and up to %.0f deg late in the match", degrees(s, unit, math.Max(s.hi, -s.lo)))}
		d := slope(s.v)
		best := 0.0
		for _, r := range rates {
			if r.s == s {
				continue
			}
			like := alike(d, r.d)
			gain := dot(d, r.d) / math.Max(dot(d, d), 1e-12)
			if like < 0.5 {
				continue
			}
			// The rate comes in the tilt's own unit per second, or the one of the pair is known.
			rateUnit := ""
			if r.s.quantity == nil {
				rateUnit = rateUnits(s, unit, gain)
			}
			fit := 6 * (like - 0.4)
			best = max(best, fit)
			out.options = append(out.options, option{odds: odds + fit + r.s.named("rate"), uses: []use{tilt, {
				role: "balance.rate", s: r.s, ref: profile.Ref{Unit: rateUnit}, sure: 1, why: fmt.Sprintf("it is how fast the tilt changes (correlation %.2f)", like),
			}}})
		}
		if best > 0 {
			odds -= 1 - best/2
		}
		out.options = append(out.options, option{odds: odds, uses: []use{tilt}})
	}
	return out
}

func degrees(s *signal, unit string, v float64) float64 {
	if s.quantity != nil || unit == "rad" {
		return v * 180 / math.Pi
	}
	return v
}

// rateUnits is the unit of a rate without one, by the factor between it and the tilt's change.
func rateUnits(tilt *signal, unit string, gain float64) string {
	inRadians := tilt.quantity != nil || unit == "rad"
	switch {
	case inRadians && math.Abs(gain) > 8:
		return "deg/s"
	case inRadians:
		return "rad/s"
	case math.Abs(gain) < 0.12:
		return "rad/s"
	default:
		return "" // deg/s, as the profile takes it
	}
}

// mayBeTilt: near level for most of the match, with excursions of 4 to 35 deg of which most
// lie in its last third; a platform is climbed at the end (common practice).
func (l *look) mayBeTilt(s *signal) (odds float64, unit string, ok bool) {
	if !s.steady() || !s.is(units.Angle) || s.lasting < 0.7 {
		return 0, "", false
	}
	v := mean(filled(s.v), int(0.06*perSec))
	level := stat.Median(v)
	middle := stat.Quantile(0.75, v) - stat.Quantile(0.25, v)
	peak, late, all := 0.0, 0.0, 0.0
	for _, x := range v {
		peak = max(peak, math.Abs(x-level))
	}
	for i, x := range v {
		if math.Abs(x-level) > 0.4*peak {
			all++
			if i > 2*len(v)/3 {
				late++
			}
		}
	}
	deg := 1.0
	switch {
	case s.quantity != nil:
		deg = 180 / math.Pi
	case peak < 0.7 && peak > 0.05:
		unit, deg = "rad", 180/math.Pi
	}
	peak, level, middle = peak*deg, level*deg, middle*deg
	if math.Abs(level) > 6 || peak < 4 || peak > 45 || middle > 0.3*peak {
		return 0, "", false
	}
	odds = -3.5
	if s.quantity != nil {
		odds++
	}
	if middle < 0.12*peak {
		odds++
	}
	if all < 0.15*float64(len(v)) && all > 0 {
		switch share := late / all; {
		case share > 0.9:
			odds += 2.5
		case share > 0.6:
			odds++
		default:
			odds -= 1.5
		}
	}
	return odds, unit, true
}

// moves are the pairs of a target that steps and a position that follows it.
func (l *look) moves(currents []amps, branches []slot) []slot {
	var out []slot
	for _, target := range l.signals {
		if !target.number() || target.moving > 0.02 || len(target.levels) < 2 || !target.few(40) || target.changes < 2 {
			continue
		}
		s := slot{name: "move " + target.name}
		for _, p := range l.signals {
			if p == target || !p.steady() || p.lasting < 0.95 || p.quantity != nil && target.quantity != nil && *p.quantity != *target.quantity {
				continue
			}
			near, follows := arrives(target.v, p.v)
			if near > 0.08 || follows < 0.5 {
				continue
			}
			odds := -3 + 5*(follows-0.5) + 3*(0.08-near)/0.08 + math.Min(1.5, 0.3*float64(target.changes-2))
			if target.changes < 8 {
				odds-- // few steps follow by chance
			}
			odds += 0.6*(target.named("target")+p.named("position")) + 0.6*l.kinship(target, p)
			uses := []use{
				{role: "moves.position", of: target.at, s: p, sure: 1, why: fmt.Sprintf("comes to the target after %.0f %% of its steps", 100*follows)},
				{role: "moves.target", of: target.at, s: target, sure: 1, why: fmt.Sprintf("steps %d times, and the position follows", target.changes)},
			}
			if _, is := target.mayBeCommand(); is {
				odds -= 2.5 // what is told to a motor is not where something should be
			}
			if c, sure := l.currentOf(p, currents); c != nil {
				if inSum(c.s, branches) {
					sure *= oneOfSeveral
				}
				uses = append(uses, use{role: "moves.current", of: target.at, s: c.s, ref: scaled(c.s, c.scale, "mA"), sure: sure, why: "flows when the position changes"})
			}
			s.options = append(s.options, option{odds: odds, uses: uses})
		}
		if len(s.options) > 0 {
			out = append(out, s)
		}
	}
	return out
}

// arrives is how far the position is from the target at the end of its stand of a second or
// more, as a part of the position's range (the largest of the medians at each value of the
// target it has often), and after how many of the target's steps the position had gone half of the way or
// more.
func arrives(target, position []float64) (near, follows float64) {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, v := range position {
		if !math.IsNaN(v) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	if hi <= lo {
		return 1, 0
	}
	off := map[float64][]float64{} // by the target's value
	steps, good := 0, 0
	since, before := 0, math.NaN()
	for i := 1; i < len(target); i++ {
		last := i == len(target)-1
		if !last && (target[i] == target[i-1] || math.IsNaN(target[i-1])) {
			continue
		}
		// What became of the step before, if there was a second for it.
		if at := i - 1; at-since > int(perSec) && !math.IsNaN(position[at]) && !math.IsNaN(target[at]) {
			off[target[at]] = append(off[target[at]], math.Abs(position[at]-target[at])/(hi-lo))
			if way := target[at] - before; math.Abs(way) > 0.1*(hi-lo) {
				steps++
				if part := (position[at] - before) / way; part > 0.5 && part < 1.6 {
					good++
				}
			}
		}
		since, before = i, position[i-1]
	}
	if len(off) < 2 || steps < 2 {
		return 1, 0
	}
	// At each value it often has: a position that is right only where nothing happens is none.
	var seldom []float64
	for _, one := range off {
		if len(one) < 3 {
			seldom = append(seldom, one...)
			continue
		}
		near = max(near, stat.Median(one))
	}
	if len(seldom) > 2 {
		near = max(near, stat.Median(seldom))
	}
	return near, float64(good) / float64(steps)
}

// currentOf is the current of the motor that moves a position. Its torque speeds the load up,
// rubs and holds it against gravity: i = a x” + b x' + c while the robot works, and of two
// currents the one that obeys this better is the motor's own.
func (l *look) currentOf(position *signal, currents []amps) (*amps, float64) {
	speed := slope(position.v)
	awake, all := make([]float64, l.n), make([]bool, l.n)
	for i := range awake {
		all[i] = true
		if !l.quiet[i] {
			awake[i] = 1
		}
	}
	columns := [][]float64{slope(speed), speed, awake}
	best, second := -1, -1
	scores := make([]float64, len(currents))
	for k, c := range currents {
		y := mean(filled(c.s.v), 2)
		// What flows as long as the robot works, and any place it drives to, is no sign.
		r, level := residual(y, columns, all), residual(y, columns[2:], all)
		scores[k] = 1 - dot(r, r)/math.Max(dot(level, level), 1e-12)
		scores[k] += 0.1*l.kinship(position, c.s) + 0.02*c.s.named("current")
		switch {
		case best < 0 || scores[k] > scores[best]:
			best, second = k, best
		case second < 0 || scores[k] > scores[second]:
			second = k
		}
	}
	if best < 0 || scores[best] < 0.3 {
		return nil, 0
	}
	lead := scores[best]
	if second >= 0 {
		lead = scores[best] - scores[second]
	}
	return &currents[best], 1 / (1 + math.Exp(-25*(lead-0.02)))
}

// drives are the ways to read the drive command, given where the robot went.
func (l *look) drives(pose *planar) slot {
	out := slot{name: "drive"}
	var forward []float64
	if pose != nil {
		forward = along(pose)
	}
	for _, s := range l.signals {
		scale, ok := s.mayBeCommand()
		if !ok || s.few(12) {
			continue
		}
		odds := -2.5
		why := "a command of many values that goes both ways"
		if s.lo < -0.2*s.hi && s.hi < -5*s.lo {
			odds += 0.7
		}
		if forward != nil {
			like := later(filled(s.v), forward)
			odds += 8 * (math.Abs(like) - 0.4)
			why = fmt.Sprintf("the robot goes as it says (correlation %.2f)", like)
		} else {
			odds += 0.5
		}
		odds += s.named("drive", "command")
		ref := profile.Ref{}
		if scale != 1 && s.quantity == nil {
			ref.Unit = "%"
		}
		out.options = append(out.options, option{odds: odds, uses: []use{{role: "balance.drive", s: s, ref: ref, sure: 1, why: why}}})
	}
	return out
}

// along is the robot's speed in the direction of its heading, or without sign if there is none.
func along(p *planar) []float64 {
	vx, vy := slope(p.x.v), slope(p.y.v)
	out := make([]float64, len(vx))
	rad := 1.0
	if p.turn == "deg" {
		rad = math.Pi / 180
	}
	for i := range out {
		if p.heading == nil || math.IsNaN(p.heading.v[i]) {
			out[i] = math.Hypot(vx[i], vy[i])
			continue
		}
		h := p.heading.v[i] * rad
		out[i] = vx[i]*math.Cos(h) + vy[i]*math.Sin(h)
	}
	return out
}

// later is the strongest correlation of an answer with what it answers, up to half a second
// before.
func later(cause, answer []float64) float64 {
	best := 0.0
	for lag := 0; lag <= int(0.5*perSec); lag += 2 {
		if lag >= len(cause) {
			break
		}
		if r := alike(cause[:len(cause)-lag], answer[lag:]); math.Abs(r) > math.Abs(best) {
			best = r
		}
	}
	return best
}

// mayBeCommand says whether a signal may be a command from -1 to 1, or in per cent: it is
// exactly zero while nothing happens.
func (s *signal) mayBeCommand() (scale float64, ok bool) {
	if !s.number() || !s.is(units.Ratio) || len(s.levels) < 2 || s.kind == schemas.Int64 && s.hi <= 1 {
		return 0, false
	}
	scale = 1
	most := math.Max(s.hi, -s.lo)
	if s.quantity == nil && most > 1.5 {
		scale = 0.01
	}
	if most*scale > 1.001 || most*scale < 0.1 || s.twoValued() {
		return 0, false
	}
	if s.returns() < 3 {
		return 0, false // a counter is no command
	}
	if math.IsNaN(s.rest) {
		return scale, true
	}
	return scale, s.restZero > 0.4 // a stage may be driven while the robot stands; a disabled one is not
}

// returns is how often the signal comes back to zero.
func (s *signal) returns() int {
	n := 0
	for i := 1; i < len(s.num.V); i++ {
		if s.num.V[i] == 0 && s.num.V[i-1] != 0 {
			n++
		}
	}
	return n
}

// kinship is kin with the log's own word counts.
func (l *look) kinship(a, b *signal) float64 { return kin(a, b, l.names, len(l.signals)) }

// assists are the states that may say that the robot lines up by itself: true for some seconds
// now and then, just before a piece is let go. Much else is too, so that the name has to help.
func (l *look) assists(left []int64) slot {
	out := slot{name: "assist"}
	for _, s := range l.signals {
		if !s.twoValued() || s.changes < 4 || s.changes > 120 || duty(s) > 0.4 {
			continue
		}
		var ends []int64
		for i := 1; i < len(s.num.V); i++ {
			if s.num.V[i] < s.num.V[i-1] {
				ends = append(ends, s.num.T[i])
			}
		}
		odds := -3.5 + s.named("assist")
		if len(left) > 0 {
			odds += 2 * (after(ends, left, 4) - 0.5)
		}
		out.options = append(out.options, option{odds: odds, uses: []use{{role: "cycles.align.assist", s: s, sure: 1, why: "true for some seconds before pieces are let go"}}})
	}
	return out
}

// after is the share of the causes that have one of the events at most most s behind.
func after(causes, events []int64, most float64) float64 {
	hit := 0
	for _, c := range causes {
		for _, e := range events {
			if d := float64(e-c) / 1e6; d >= -0.2 && d <= most {
				hit++
				break
			}
		}
	}
	return float64(hit) / float64(max(1, len(causes)))
}

// scaledLength reads a distance without unit that is too large for metres.
func scaledLength(s *signal) profile.Ref {
	switch {
	case s.quantity != nil || s.q95 < 8:
		return profile.Ref{}
	case s.q95 > 400:
		return profile.Ref{Unit: "mm"}
	case s.q95 > 80:
		return profile.Ref{Unit: "cm"}
	default:
		return profile.Ref{Unit: "in"}
	}
}
