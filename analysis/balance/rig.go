package balance

import "math"

// rig is a platform with the robot on it. A drivetrain's command is a speed: it moves the robot
// along the platform, with a lag, and where the robot stands pulls the platform:
//
//	lag speed' = command - slide (tilt + roll sign(speed)) - speed, place' = speed
//	tilt” = -damp tilt' - stiff tilt - rub sign(tilt') - pull (place - that of balance)
//
// The textbook's platform is pulled by the command itself: force.
type rig struct {
	drivetrain
	force       bool
	damp, stiff float64 // 1/s, 1/s²
	moved       float64 // of full command, the size of the sine as strong as its speed was
	dead        float64 // of full command, up to which it moves nothing; 0 where nothing tells
	pull        float64 // deg/s² for a second (force: for one) of full command, with the sign of the loop's gain
	rub         float64 // deg/s²
	place       float64 // pull times the place at the start, from that of balance, deg/s²
	tilt, rate  float64 // at the start, deg and deg/s
	push        float64 // deg/s² from outside, from r.pushFrom on
	swung       float64 // deg/s, of the sine as strong as the tilt's rate was
	rss         float64 // deg², over the run it was fitted to
	wayOff      float64 // m RMS, of the way by the pose
	full        float64 // m/s of full command, by the pose; usual without one
	fit         float64 // logarithm of its likelihood with what is known before, less a constant
}

// drivetrain is how a robot comes to the speed that it is told. The slope slows one that drives up it
// and rolls one that stands: that is slide, which works against the loop's gain. What its wheels and
// gears take to roll at all holds one on a small slope, and slows one that moves.
type drivetrain struct {
	lag   float64 // s
	slide float64 // of full command per deg; always against the loop's gain
	roll  float64 // deg, the steepest slope on which a robot that stands does not begin to roll
}

// driveStep is a drivetrain over one of many even steps of time: the part of its speed that it keeps,
// what the slope takes, of full command per deg, with the sign of the pull, and what rolling takes of
// the speed, of full command.
type driveStep struct{ keep, slide, hold float64 }

// every is the drivetrain in steps of h seconds; sign is that of the pull.
func (d drivetrain) every(h, sign float64) driveStep {
	keep := math.Exp(-h / math.Max(d.lag, 1e-3))
	return driveStep{keep: keep, slide: d.slide * sign, hold: d.slide * d.roll * (1 - keep)}
}

// next is the speed after a step, of full command: exact for a command and a slope that stand still over
// it, but for where in the step the robot turns. Rolling resistance takes at most all of the speed.
func (d driveStep) next(speed, command, slope float64) float64 {
	to := command - d.slide*slope
	v := to + (speed-to)*d.keep
	return math.Copysign(max(0, math.Abs(v)-d.hold), v)
}

// rigTerms are what a rig's tilt is a sum of: the answers to the command, to the place at the
// start, to tilt and rate at the start, to friction, and to a push from outside.
const rigTerms = 6

// fitted is the rig with the given damp, stiff and drivetrain whose tilt, run on with the logged
// command alone, keeps nearest to the tilt there was: the rest of it is a linear problem.
// (Output error with variable projection: Ljung, System Identification, 1999, and Golub and
// Pereyra, SIAM J. Numer. Anal. 10, 1973; from memory.) ok is false when the command would
// have to push the wrong way.
func (r *run) fitted(damp, stiff float64, d drivetrain) (rig, bool) {
	way := r.answers(damp, stiff, d)
	use := [rigTerms]bool{true, true, true, true, true, r.pushFrom > 0}
	q := r.squares()
	c, rss, ok := q.solve(use)
	if !ok || c[4] < 0 { // friction that drives, or cannot be told from the rest, is left out
		use[4] = false
		c, rss, ok = q.solve(use)
	}
	g := rig{
		drivetrain: d, force: r.force, damp: damp, stiff: stiff, dead: r.dead,
		swung: r.swung, moved: way.moved, rss: rss, wayOff: way.off, full: way.full,
		pull: c[0], place: c[1], tilt: c[2], rate: c[3], rub: c[4], push: c[5],
	}
	return g, ok && g.pull*r.sign > 0
}

// drove is how a drivetrain went under the command.
type drove struct {
	off   float64 // m RMS, of its way, in proportion, from the one there was
	full  float64 // m/s of full command, by that
	moved float64 // of full command, the size of the sine as strong as its speed
}

// answers fills the terms, stepping exactly for inputs that stand still over a step.
func (r *run) answers(damp, stiff float64, d drivetrain) drove {
	s, drive := newStepper(damp, stiff, r.step), d.every(r.step, r.sign)
	speed, place := r.command[0]-drive.slide*r.slope[0], 0.0
	var way waySums
	for i, u := range r.command[:r.before] {
		next := drive.next(speed, u, r.slope[i])
		way.add(r.way, i, place)
		speed, place = next, place+r.step*(speed+next)/2
	}
	began, square := place, 0.0
	var x, v [rigTerms]float64
	x[2], v[3] = 1, 1
	n := r.used()
	for i := range r.tilt {
		way.add(r.way, r.before+i, place)
		row := r.terms[rigTerms*i : rigTerms*i+rigTerms]
		copy(row, x[:])
		next := drive.next(speed, r.command[r.before+i], r.slope[r.before+i])
		if i >= r.freeFrom && i < r.freeTo {
			square += next * next
		}
		half := r.step * (speed + next) / 4
		in := [rigTerms]float64{-(place - began + half), -1, 0, 0, -r.turning[i], 0}
		if r.pushFrom > 0 && i >= r.pushFrom {
			in[5] = 1
		}
		if r.force {
			in[0] = -(speed + next) / 2
		}
		speed, place = next, place+2*half
		for k := range n {
			x[k], v[k] = s.next(x[k], v[k], in[k])
		}
	}
	return drove{way.off(), way.full(), math.Sqrt(2 * square / float64(r.freeTo-r.freeFrom))}
}

// used is how many terms are: without a push that from outside, the last, is none.
func (r *run) used() int {
	if r.pushFrom == 0 {
		return rigTerms - 1
	}
	return rigTerms
}

// squares are the sums of products of terms and tilt.
type squares struct {
	terms [rigTerms][rigTerms]float64 // the upper half
	tilt  [rigTerms]float64
	all   float64 // of the tilt with itself
}

func (r *run) squares() (q squares) {
	n := r.used()
	for i, y := range r.tilt {
		row := r.terms[rigTerms*i : rigTerms*i+rigTerms]
		for a := range n {
			x := row[a]
			q.tilt[a] += x * y
			for b := a; b < n; b++ {
				q.terms[a][b] += x * row[b]
			}
		}
		q.all += y * y
	}
	return q
}

// solve is the least-squares sum of the terms in use, by Cholesky's method; the others are 0 in
// c. ok is false where they do not tell apart.
func (q squares) solve(use [rigTerms]bool) (c [rigTerms]float64, rss float64, ok bool) {
	var l [rigTerms][rigTerms]float64
	for a := range rigTerms {
		l[a][a] = 1
		if !use[a] {
			continue
		}
		for b := 0; b <= a; b++ {
			if !use[b] {
				continue
			}
			sum := q.terms[b][a]
			for k := range b {
				sum -= l[a][k] * l[b][k]
			}
			if b < a {
				l[a][b] = sum / l[b][b]
			} else if !(sum > 1e-10*q.terms[a][a]) {
				return c, 0, false
			} else {
				l[a][a] = math.Sqrt(sum)
			}
		}
		c[a] = q.tilt[a]
		for k := range a {
			c[a] -= l[a][k] * c[k]
		}
		c[a] /= l[a][a]
		rss -= c[a] * c[a] // what each takes off the square of the tilt
	}
	for a := rigTerms - 1; a >= 0; a-- {
		for k := a + 1; k < rigTerms; k++ {
			c[a] -= l[k][a] * c[k]
		}
		c[a] /= l[a][a]
	}
	return c, math.Max(0, q.all+rss), true
}

// sum is the tilt of the terms at step i.
func (r *run) sum(c [rigTerms]float64, i int) float64 {
	v := 0.0
	for a, x := range c {
		v += x * r.terms[rigTerms*i+a]
	}
	return v
}

// stepper is tilt” + damp tilt' + stiff tilt = input over a step in which the input stands still.
type stepper struct{ a11, a12, a21, a22, b1, b2 float64 }

// newStepper is the exponential of the equations, by its series on a 64th of the step.
func newStepper(damp, stiff, h float64) stepper {
	const halves = 6
	part := h / (1 << halves)
	m := [3][3]float64{{0, part, 0}, {-stiff * part, -damp * part, part}}
	e := [3][3]float64{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}
	term := e
	for k := 1; k <= 6; k++ {
		term = product(term, m)
		for i := range e {
			for j := range e[i] {
				term[i][j] /= float64(k)
				e[i][j] += term[i][j]
			}
		}
	}
	for range halves {
		e = product(e, e)
	}
	return stepper{e[0][0], e[0][1], e[1][0], e[1][1], e[0][2], e[1][2]}
}

func product(a, b [3][3]float64) (c [3][3]float64) {
	for i := range 3 {
		for j := range 3 {
			c[i][j] = a[i][0]*b[0][j] + a[i][1]*b[1][j] + a[i][2]*b[2][j]
		}
	}
	return c
}

func (s stepper) next(x, v, in float64) (xNext, vNext float64) {
	return s.a11*x + s.a12*v + s.b1*in, s.a21*x + s.a22*v + s.b2*in
}
