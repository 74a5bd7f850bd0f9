package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// levelledRow is the world as one run of the levelling loop found it, and what it said.
type levelledRow struct {
	at    float64 // s, robot clock
	plant [plantStates]float64
	tilt  float64 // deg, as the loop has it
	rate  float64 // deg/s, smoothed
	sum   float64 // command of the integral
	volts float64
	bent  bool // the board was at a stop, or a command at its limit

	limited bool // the command was at its limit, or at the only speed the loop knows
}

func levelledAt(w *world) levelledRow {
	c, p, l := w.chassis, w.platform, &w.program.level
	row := levelledRow{
		at: w.begin + w.now(), tilt: l.tilts[len(l.tilts)-1], rate: l.smooth, sum: l.sum, volts: w.supply.voltage,
		limited: l.clamped || l.bang > 0,
		bent:    p.hooked || p.latched != 0 || math.Abs(p.angle) >= p.stop || l.clamped || w.supply.off,
	}
	row.plant = [plantStates]float64{
		p.angle, p.rate, p.along(c), c.v, (c.wheelSpeed(c.left) + c.wheelSpeed(c.right)) / 2, w.body.rock, w.body.rate,
	}
	return row
}

const (
	freeLeastS = 0.8 // s of free swing, the least to tell anything
	freeMostS  = 5.0 // s that are compared
	freeErr    = 0.2 // of the swing, RMS, by which the straight equations may be wrong
)

// loopSwing is the damping ratio and natural frequency (Hz) of the loop that levelled in
// [start, end], from the world's own equations made straight at level. It is nothing where
// they do not describe what happened: a person levelled, the command had two values only or
// was at its limit, friction or slack ruled, others moved on the board, or no pair of modes
// stands out. That is decided by letting the straight equations run on from the state the
// board was in when it came free, beside what it did.
func (w *world) loopSwing(start, end float64) (zeta, hz float64, ok bool) {
	f, ok := w.freeSwing(start, end)
	if !ok || f.rubbed {
		return 0, 0, false // friction rules: each swing is less than the one before by as much, not by the same part
	}
	x, runs, ok := f.loop.describes(f.rows, f.first, f.balance)
	if !ok {
		return 0, 0, false
	}
	zeta, wn, ok := f.loop.swing(x, runs)
	return zeta, wn / (2 * math.Pi), ok
}

// levelling are the gains of the loop that levelled, and the damping in each attempt with
// whatever gains.
func (w *world) levelling(attempts []schemas.Balance) (*Gains, func(Gains) []float64) {
	l := w.program.level
	if w.scenario.balance.hand != nil || l.bang > 0 {
		return nil, nil
	}
	return &Gains{Tilt: l.kp, Rate: l.kd}, func(g Gains) []float64 {
		damping := make([]float64, len(attempts))
		for i, b := range attempts {
			damping[i] = math.NaN()
			if f, ok := w.freeSwing(b.StartS, b.EndS); ok {
				x, runs, _ := f.loop.describes(f.rows, f.first, f.balance)
				part := 1 - f.word
				f.loop.loop.kp, f.loop.loop.kd = g.Tilt*part, g.Rate*part
				damping[i], _, _ = f.loop.swing(x, runs)
			}
		}
		return damping
	}
}

// freeSwing is the last stretch of [start, end] in which the loop had the board to itself,
// and the loop's straight equations there; rubbed says that friction slows the board more
// than half as much as its damper. ok is false where there is none.
type freeSwing struct {
	rows    []levelledRow
	first   int
	balance float64
	loop    closed
	rubbed  bool
	word    float64 // part of the loop's word that its quiet band takes away
}

func (w *world) freeSwing(start, end float64) (f freeSwing, ok bool) {
	l, rows := w.program.level, w.runsIn(start, end)
	first := 0
	for i, r := range rows {
		if r.bent || i > 0 && r.at-rows[i-1].at > 1.5*programs*step {
			first = i + 1
		}
	}
	first += max(1, l.late)
	if l.bang > 0 || first >= len(rows) || rows[len(rows)-1].at-rows[first].at < freeLeastS {
		return freeSwing{}, false
	}
	return w.straight(rows, first, rows[first:])
}

// goesOn says that the loop's straight equations, from where the board last left a stop and with nothing
// held but by its stops, come to one again and again: without friction, slack or a quiet band, and
// whatever the command it takes.
func (w *world) goesOn(start, end float64) bool {
	l, rows := w.program.level, w.runsIn(start, end)
	first := 0
	for i := 1 + l.late; i < len(rows); i++ {
		if rows[i-1].bent && !rows[i].bent {
			first = i
		}
	}
	if l.bang > 0 || first == 0 {
		return false
	}
	balance, inertia, still := w.restingPlace(rows[first].at, rows[len(rows)-1].at)
	if !still {
		return false
	}
	p := w.platform
	loop := closeLoop(plant{board: p, robot: w.chassis, inertia: inertia, volts: rows[first].volts, withBody: true}, l, programs*step)
	x := loop.from(rows, first, balance)
	last, runs := 0, int(goesOnS/(programs*step))
	for k := range runs {
		x = loop.run(x)
		if side := math.Copysign(1, x[xAngle]); math.Abs(x[xAngle]) >= p.stop {
			x[xAngle] = side * p.stop
			if x[xRate]*side > 0 {
				x[xRate] *= -p.bounce
			}
			last = k
		}
	}
	return last > runs/2
}

const goesOnS = 30.0 // s, long enough for a swing between the stops that dies down to have left them

// runsIn are the runs of the levelling loop between two times.
func (w *world) runsIn(start, end float64) []levelledRow {
	rows := w.levelled
	for len(rows) > 0 && rows[0].at < start {
		rows = rows[1:]
	}
	for len(rows) > 0 && rows[len(rows)-1].at > end {
		rows = rows[:len(rows)-1]
	}
	return rows
}

// straight are the loop's straight equations from row first on, at the size of the swing in the
// given rows; ok is false while a guest moves.
func (w *world) straight(rows []levelledRow, first int, swing []levelledRow) (f freeSwing, ok bool) {
	l := w.program.level
	balance, inertia, still := w.restingPlace(rows[first].at, rows[len(rows)-1].at)
	if !still {
		return freeSwing{}, false
	}
	var size [plantStates]float64 // of the swing: that of a sine of the same power
	swing = swing[:min(len(swing), int(freeMostS/(programs*step))+1)]
	for _, r := range swing {
		for i, v := range r.plant {
			size[i] += 2 * v * v / float64(len(swing))
		}
	}
	for i, v := range size {
		size[i] = math.Sqrt(v)
	}
	even := evened(w.platform, w.chassis, l.quiet, size[xRate], size[xAngle], size[xSpeed], size[xAngle]/degree)
	return freeSwing{
		rows: rows, first: first, balance: balance, rubbed: even.damp > w.platform.damp/2, word: even.word,
		loop: closeLoop(plant{
			board: w.platform, robot: w.chassis, inertia: inertia, volts: rows[first].volts, withBody: true, even: even,
		}, l, programs*step),
	}, true
}

// restingPlace is where the robot balances the board, m past the pivot, and the inertia of
// all of it then; still is false while a guest moves.
func (w *world) restingPlace(from, to float64) (s, inertia float64, still bool) {
	c, p := w.chassis, w.platform
	inertia = p.inertia
	for _, g := range p.guests {
		if !g.aboard {
			continue
		}
		if g.settledAt > from-w.begin && g.appearedAt < to-w.begin {
			return 0, 0, false
		}
		s -= g.mass * g.s / c.mass
		inertia += g.mass * (g.s*g.s + g.base*g.base/4)
	}
	return s, inertia + c.mass*(s*s+c.wheelbase*c.wheelbase/4), true
}

// describes says whether the straight equations, run on from row first, keep beside the
// board's own angle, and gives the state they ran on from and for how many runs.
func (c closed) describes(rows []levelledRow, first int, balance float64) (from []float64, runs int, ok bool) {
	x := c.from(rows, first, balance)
	from = x
	off, sum, most := 0.0, 0.0, 0.0
	for _, r := range rows[first:] {
		if r.at > rows[first].at+freeMostS {
			break
		}
		angle := r.plant[xAngle]
		off += (x[xAngle] - angle) * (x[xAngle] - angle)
		sum += angle * angle
		most = max(most, math.Abs(angle))
		x = c.run(x)
		runs++
	}
	return from, runs, most > levelDeg*degree && off < freeErr*freeErr*sum
}

// from is the state that the straight equations run on from at row first.
func (c closed) from(rows []levelledRow, first int, balance float64) []float64 {
	x, n := make([]float64, c.states()), c.remembered()
	copy(x, rows[first].plant[:])
	x[xPlace] -= balance
	for k := range n {
		x[plantStates+k], x[plantStates+n+k] = rows[first-1-k].rate, rows[first-1-k].tilt
	}
	x[len(x)-1] = rows[first-1].sum
	return x
}
