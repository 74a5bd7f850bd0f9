package suggest

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/units"
)

// motor is a command with the current and the speed of the motor that obeys it: those with
// which u V = R i + K w comes out, the equation of a brushed motor (any textbook). Each part
// but the command may be missing.
type motor struct {
	command, current, speed *signal
	commandScale            float64
	currentScale            float64
	fit                     float64 // share of (u V)² that R i + K w explains
	sureCommand             float64
	sureCurrent, sureSpeed  float64
	load                    []float64 // current beyond what turning and speeding up need, on the grid; nil without
	running                 []bool
}

// told is one command with u V on the grid.
type told struct {
	s     *signal
	scale float64
	uv    []float64
	power float64
}

// runs is whether the command is not zero at a point: what smoothing leaves of nothing is.
func (u told) runs(i int) bool { return math.Abs(u.uv[i]) > 1e-6 }

// answer is a signal that may be a current or a speed of a motor.
type answer struct {
	s     *signal
	v     []float64
	d     []float64 // slope
	power float64
}

// pairing is one way to explain a command: a current and a speed, or a speed alone.
type pairing struct {
	command        int
	current, speed int     // of the answers; -1 for none
	left           float64 // share of the command that it leaves unexplained
}

// What a pairing may leave of its command; chosen by us.
const (
	pairLeaves   = 0.06
	aloneLeaves  = 0.04 // a current follows the command too, not as closely: alone a speed has to be told apart
	namedLeaves  = 0.3  // where its unit or name says what it is
	followLeaves = 0.3  // the most of its command that a speed leaves which is to be paired
)

// puzzle is which answers belong to which command.
type puzzle struct {
	*look
	commands []told
	answers  []answer
	by       [][]float64 // product of each command with each answer
	all      []pairing
}

// motors are the commands of motors, each with the current and the speed that answer it, the
// pairings that explain most taken first.
func (l *look) motors(volts *signal, voltScale float64) []motor {
	z := puzzle{look: l, commands: l.commands(volts, voltScale), answers: l.answers()}
	if len(z.commands) == 0 {
		return nil
	}
	z.by = make([][]float64, len(z.commands))
	for c := range z.commands {
		z.pair(c)
	}
	slices.SortStableFunc(z.all, func(a, b pairing) int { return cmp.Compare(z.cost(a), z.cost(b)) })
	takenC, takenA := map[int]bool{}, map[int]bool{}
	var out []motor
	for _, p := range z.all {
		if takenC[p.command] || takenA[p.speed] || p.current >= 0 && takenA[p.current] {
			continue
		}
		takenC[p.command], takenA[p.speed] = true, true
		if p.current >= 0 {
			takenA[p.current] = true
		}
		out = append(out, z.motor(p))
	}
	for c, u := range z.commands {
		if !takenC[c] {
			out = append(out, motor{command: u.s, commandScale: u.scale, sureCommand: 1})
		}
	}
	for i := range out {
		l.attach(&out[i], z.by, z.commands, z.answers, takenA)
		out[i].findLoad()
	}
	return out
}

// pair finds the pairings of a command.
func (z *puzzle) pair(c int) {
	u, gram := z.commands[c], z.commands[c].among(z.answers)
	by := make([]float64, len(z.answers))
	for i, a := range z.answers {
		by[i] = dot(u.uv, a.v)
	}
	z.by[c] = by
	leaves := func(speed int) float64 { return 1 - by[speed]*by[speed]/(gram[speed][speed]*u.power) }
	for i, a := range z.answers {
		for j, b := range z.answers {
			if i == j || !a.s.is(units.Current) || !b.s.is(units.AngularSpeed) || leaves(j) > followLeaves {
				continue
			}
			if left, ok := both(u.power, by, gram, i, j); ok && left < pairLeaves && leads(a, b) {
				z.all = append(z.all, pairing{c, i, j, left})
			}
		}
		most := aloneLeaves
		if a.s.quantity != nil || a.s.named("speed") > 0 {
			most = namedLeaves
		}
		if a.s.is(units.AngularSpeed) && by[i] > 0 && gram[i][i] > 0 && leaves(i) < most {
			z.all = append(z.all, pairing{c, -1, i, leaves(i)})
		}
	}
}

// kin is how much the names of a pairing have in common.
func (z *puzzle) kin(p pairing) float64 {
	kin := z.kinship(z.commands[p.command].s, z.answers[p.speed].s)
	if p.current >= 0 {
		kin += z.kinship(z.commands[p.command].s, z.answers[p.current].s)
	}
	return kin
}

// cost orders pairings: a pair is preferred to a speed alone unless it explains hardly more, and
// a log unit of what is left is worth as much as a name or two.
func (z *puzzle) cost(p pairing) float64 {
	cost := math.Log(p.left+0.002) - 0.12*z.kin(p)
	if p.current < 0 {
		cost += 0.7
	}
	return cost
}

// motor is what a pairing makes, and how sure each part of it is.
func (z *puzzle) motor(p pairing) motor {
	u := z.commands[p.command]
	m := motor{command: u.s, commandScale: u.scale, speed: z.answers[p.speed].s, fit: 1 - p.left}
	m.sureSpeed = z.sure(p, func(o pairing) bool { return o.speed != p.speed && o.current == p.current })
	m.sureCommand = z.sureCommand(z.commands, p.command, m.speed)
	if p.current >= 0 {
		m.current = z.answers[p.current].s
		m.currentScale, _ = m.current.mayBeCurrent()
		m.sureCurrent = z.sure(p, func(o pairing) bool { return o.speed == p.speed && o.current != p.current })
	}
	return m
}

// sure is the probability of a pairing against the likeliest of its command's others of its form
// that may stand for it.
func (z *puzzle) sure(p pairing, mayStand func(o pairing) bool) float64 {
	// What pieces and rubbing do to a speed is in no equation here; with the current it is.
	floor := 0.003
	if p.current < 0 {
		floor = 0.02
	}
	best := 0.0
	for _, o := range z.all {
		if o.command == p.command && o.current < 0 == (p.current < 0) && mayStand(o) {
			best = max(best, likelier(o.left+floor, p.left+floor, z.commands[p.command])*math.Exp(math.Min(0, z.kin(o)-z.kin(p))))
		}
	}
	return 1 / (1 + best)
}

// attach gives a motor that lacks a current or a speed the one whose name says that it is its
// own, if it flows or turns as the command says; the equation cannot tell where a part is
// missing.
func (l *look) attach(m *motor, by [][]float64, commands []told, answers []answer, taken map[int]bool) {
	c := slices.IndexFunc(commands, func(u told) bool { return u.s == m.command })
	for _, part := range []struct {
		to   **signal
		sure *float64
		is   units.Quantity
		name string
		like float64
	}{{&m.current, &m.sureCurrent, units.Current, "current", 0.35}, {&m.speed, &m.sureSpeed, units.AngularSpeed, "speed", 0.8}} {
		if *part.to != nil {
			continue
		}
		best, top, sum := -1, 0.0, 1.0
		for i, a := range answers {
			said := a.s.quantity != nil || a.s.named(part.name) > 0 // by unit or name
			if taken[i] || !said || !a.s.is(part.is) || by[c][i] <= 0 {
				continue
			}
			r := by[c][i] / math.Sqrt(a.power*commands[c].power)
			kin := l.kinship(m.command, a.s)
			odds := -2.5 + 5*(r-part.like) + 1.2*kin + a.s.named(part.name)
			sum += math.Exp(odds)
			if best < 0 || odds > top {
				best, top = i, odds
			}
		}
		if best < 0 || top < 0 {
			continue
		}
		*part.to, *part.sure = answers[best].s, math.Exp(top)/sum
		if part.name == "current" {
			m.currentScale, _ = m.current.mayBeCurrent()
		}
		taken[best] = true
	}
}

// coastS is how long a roller may turn on when it is let go, s (common practice: geared and
// with belts to rub, about a second).
const coastS = 1.5

// among are the inner products of the answers while the command runs, or has not for a while
// and they should be nothing: in between a motor may coast, and the equation does not hold.
func (u told) among(answers []answer) [][]float64 {
	var at []int
	since := int(coastS * perSec)
	for i := range u.uv {
		since++
		if u.runs(i) {
			since = 0
		}
		if since == 0 || since > int(coastS*perSec) {
			at = append(at, i)
		}
	}
	part := make([][]float64, len(answers))
	for k, a := range answers {
		part[k] = make([]float64, len(at))
		for j, i := range at {
			part[k][j] = a.v[i]
		}
	}
	gram := make([][]float64, len(answers))
	for i := range gram {
		gram[i] = make([]float64, len(answers))
		for j := range i + 1 {
			gram[i][j] = dot(part[i], part[j])
			gram[j][i] = gram[i][j]
		}
	}
	return gram
}

// commands are the stepping commands from -1 to 1, times the supply.
func (l *look) commands(volts *signal, voltScale float64) []told {
	var out []told
	for _, s := range l.signals {
		scale, ok := s.mayBeCommand()
		if !ok || !s.few(16) || s.moving > 0.1 {
			continue
		}
		u := filled(s.v)
		for i := range u {
			v := 1.0
			if volts != nil && !math.IsNaN(volts.v[i]) {
				v = volts.v[i] * voltScale / 12
			}
			u[i] *= scale * v
		}
		u = mean(u, 1)
		out = append(out, told{s, scale, u, dot(u, u)})
	}
	return out
}

// answers are the signals that are near zero while nothing happens and not before.
func (l *look) answers() []answer {
	var out []answer
	for _, s := range l.signals {
		if !s.steady() || !s.is(units.Current) && !s.is(units.AngularSpeed) {
			continue
		}
		most := math.Max(s.q99, -s.q01)
		if most <= 0 || !math.IsNaN(s.rest) && math.Abs(s.rest) > 0.25*most {
			continue
		}
		v := mean(filled(s.v), 1)
		if !math.IsNaN(s.rest) {
			for i := range v {
				v[i] -= s.rest // sensors are off by a little
			}
		}
		p := dot(v, v)
		if p > 0 {
			out = append(out, answer{s, v, slope(v), p})
		}
	}
	return out
}

// both is the share of the command's power that is left when i and j explain it with factors
// above zero.
func both(power float64, by []float64, gram [][]float64, i, j int) (left float64, ok bool) {
	det := gram[i][i]*gram[j][j] - gram[i][j]*gram[i][j]
	if det <= 1e-9*gram[i][i]*gram[j][j] {
		return 0, false
	}
	a := (by[i]*gram[j][j] - by[j]*gram[i][j]) / det
	b := (by[j]*gram[i][i] - by[i]*gram[i][j]) / det
	if a <= 0 || b <= 0 {
		return 0, false
	}
	return max(1e-6, 1-(a*by[i]+b*by[j])/power), true
}

// leads tells current and speed of a pair apart: torque speeds a roller up, so the current
// goes with the change of the speed, and not the other way round.
func leads(current, speed answer) bool {
	if current.s.lasting > speed.s.lasting-0.02 {
		return false // torque comes and goes, what turns goes on
	}
	if current.s.quantity != nil && speed.s.quantity != nil {
		return true
	}
	lead := alike(current.v, speed.d)
	return lead > 0.12 && lead > alike(speed.v, current.d)
}

// likelier is the ratio of the likelihoods of two explanations that leave those shares of a
// command: for Gaussian errors (left)^(-n/2). A second of running counts as one reading, for
// errors last; the exponent is held so that nothing is ever certain.
func likelier(other, best float64, u told) float64 {
	running := 0
	for i := range u.uv {
		if u.runs(i) {
			running++
		}
	}
	n := math.Min(60, float64(running)*stepS)
	return math.Exp(math.Max(-6, math.Min(0, -n/2*math.Log(other/best))))
}

// sureCommand says how sure it is that the speed belongs to command c and not to another that
// is told at the same times: commands that are proportional to each other cannot be told apart
// by any motor.
func (l *look) sureCommand(commands []told, c int, speed *signal) float64 {
	sum := 0.0
	mine := l.kinship(commands[c].s, speed)
	for o, u := range commands {
		if o == c {
			sum++
			continue
		}
		like := alike(u.uv, commands[c].uv)
		left := math.Max(1e-4, 1-like*like)
		sum += likelier(left+0.02, 0.02, commands[c]) * math.Exp(l.kinship(u.s, speed)-mine)
	}
	return 1 / sum
}

// findLoad takes out of the current what friction and acceleration need, by least squares while
// the motor runs: what is left is what pieces do. The speed itself must not be taken out: at one
// command it is the load once more, by the same equation.
func (m *motor) findLoad() {
	u := filled(m.command.v)
	m.running = make([]bool, len(u))
	on := 0
	for i := range u {
		if u[i] != 0 {
			on++
		} else {
			on = 0
		}
		m.running[i] = on > int(0.12*perSec)
	}
	if m.current == nil && m.speed == nil {
		return
	}
	y, sign := m.current, 1.0
	if y == nil {
		y, sign = m.speed, -1.0 // a load slows the roller
	}
	columns := [][]float64{unit(u)}
	if m.current != nil && m.speed != nil {
		columns = append(columns, slope(mean(filled(m.speed.v), 1)))
	} else {
		columns = append(columns, u)
	}
	m.load = residual(filled(y.v), columns, m.running)
	for i := range m.load {
		m.load[i] *= sign
	}
}

func unit(u []float64) []float64 {
	out := make([]float64, len(u))
	for i, v := range u {
		switch {
		case v > 0:
			out[i] = 1
		case v < 0:
			out[i] = -1
		}
	}
	return out
}

// residual is y less its least squares by the columns over the points that count, 0 elsewhere.
func residual(y []float64, columns [][]float64, counts []bool) []float64 {
	k := len(columns)
	a := make([][]float64, k)
	for i := range a {
		a[i] = make([]float64, k+1)
	}
	for t := range y {
		if !counts[t] {
			continue
		}
		for i := range columns {
			for j := range columns {
				a[i][j] += columns[i][t] * columns[j][t]
			}
			a[i][k] += columns[i][t] * y[t]
		}
	}
	b := eliminate(a)
	out := make([]float64, len(y))
	for t := range y {
		if !counts[t] {
			continue
		}
		out[t] = y[t]
		for i := range b {
			out[t] -= b[i] * columns[i][t]
		}
	}
	return out
}

// eliminate solves the normal equations in a, whose last column is the right side; an unknown
// that nothing determines is 0.
func eliminate(a [][]float64) []float64 {
	k := len(a)
	for i := range k {
		p := i
		for r := i + 1; r < k; r++ {
			if math.Abs(a[r][i]) > math.Abs(a[p][i]) {
				p = r
			}
		}
		a[i], a[p] = a[p], a[i]
		if math.Abs(a[i][i]) < 1e-12 {
			continue
		}
		for r := range k {
			if r == i {
				continue
			}
			f := a[r][i] / a[i][i]
			for c := i; c <= k; c++ {
				a[r][c] -= f * a[i][c]
			}
		}
	}
	out := make([]float64, k)
	for i := range out {
		if math.Abs(a[i][i]) > 1e-12 {
			out[i] = a[i][k] / a[i][i]
		}
	}
	return out
}

// loadedBy is the correlation of a motor's load with being inside the stretches, while it
// runs; drawn towards nothing when it ran in few of them.
func (l *look) loadedBy(m *motor, runs []interval) float64 {
	if m.load == nil {
		return 0
	}
	var load, inside []float64
	j, met, last := 0, 0, -1
	for i := range m.load {
		t := l.start + int64(float64(i)*stepS*1e6)
		for j < len(runs) && runs[j].End <= t {
			j++
		}
		if !m.running[i] {
			continue
		}
		b := 0.0
		if j < len(runs) && runs[j].Start <= t {
			b = 1
			if j != last {
				met, last = met+1, j
			}
		}
		load, inside = append(load, m.load[i]), append(inside, b)
	}
	if len(load) < int(perSec) {
		return 0
	}
	return alike(centred(load), centred(inside)) * float64(met) / float64(met+3)
}
