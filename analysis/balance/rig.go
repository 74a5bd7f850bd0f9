package balance

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// rig is a platform with the robot on it. A drivetrain's command is a speed: it moves the robot
// along the platform, with a lag, and where the robot stands pulls the platform:
//
//	lag speed' = command - speed, place' = speed
//	tilt” = -damp tilt' - stiff tilt - rub sign(tilt') - pull (place - that of balance)
//
// The textbook's platform is pulled by the command itself: force.
type rig struct {
	force            bool
	damp, stiff, lag float64 // 1/s, 1/s², s
	pull             float64 // deg/s² for a second (force: for one) of full command, with the sign of the loop's gain
	rub              float64 // deg/s²
	place            float64 // pull times the place at the start, from that of balance, deg/s²
	tilt, rate       float64 // at the start, deg and deg/s
	push             float64 // deg/s² from outside, from r.pushFrom on
	swung            float64 // deg/s, of the sine as strong as the tilt's rate was
	rss              float64 // deg², over the run it was fitted to
	fit              float64 // logarithm of its likelihood with what is known before, less a constant
}

// rigTerms are what a rig's tilt is a sum of: the answers to the command, to the place at the
// start, to tilt and rate at the start, to friction, and to a push from outside.
const rigTerms = 6

// allTerms but the push, and the same without friction.
var (
	allTerms = []int{0, 1, 2, 3, 4}
	pushed   = []int{0, 1, 2, 3, 4, 5}
)

// without leaves friction out.
func without(terms []int) []int {
	var out []int
	for _, t := range terms {
		if t != 4 {
			out = append(out, t)
		}
	}
	return out
}

// fitted is the rig with the given damp, stiff and lag whose tilt, run on with the logged
// command alone, keeps nearest to the tilt there was: the rest of it is a linear problem.
// (Output error with variable projection: Ljung, System Identification, 1999, and Golub and
// Pereyra, SIAM J. Numer. Anal. 10, 1973; from memory.) ok is false when the command would
// have to push the wrong way.
func (r *run) fitted(damp, stiff, lag float64) (rig, bool) {
	r.answers(damp, stiff, lag)
	terms := allTerms
	if r.pushFrom > 0 {
		terms = pushed
	}
	c, rss, ok := r.solve(terms)
	if ok && c[4] < 0 { // friction that drives is left out
		c, rss, ok = r.solve(without(terms))
	}
	g := rig{
		force: r.force, damp: damp, stiff: stiff, lag: lag, swung: r.swung, rss: rss,
		pull: c[0], place: c[1], tilt: c[2], rate: c[3], rub: c[4], push: c[5],
	}
	return g, ok && g.pull*r.sign > 0
}

// answers fills the terms, stepping exactly for inputs that stand still over a step.
func (r *run) answers(damp, stiff, lag float64) {
	s := newStepper(damp, stiff, r.step)
	keep := math.Exp(-r.step / math.Max(lag, 1e-3))
	speed, place := 0.0, 0.0
	for _, u := range r.command[:r.before] {
		speed = u + (speed-u)*keep
	}
	var x, v [rigTerms]float64
	x[2], v[3] = 1, 1
	for i := range r.tilt {
		row := r.terms[rigTerms*i : rigTerms*i+rigTerms]
		copy(row, x[:])
		u := r.command[r.before+i]
		next := u + (speed-u)*keep
		half := r.step * (speed + next) / 4
		in := [rigTerms]float64{-(place + half), -1, 0, 0, -r.turning[i], 0}
		if r.pushFrom > 0 && i >= r.pushFrom {
			in[5] = 1
		}
		if r.force {
			in[0] = -(speed + next) / 2
		}
		speed, place = next, place+2*half
		for k := range x {
			x[k], v[k] = s.next(x[k], v[k], in[k])
		}
	}
}

// solve is the least-squares sum of some of the terms; those left out are 0 in c.
func (r *run) solve(terms []int) (c [rigTerms]float64, rss float64, ok bool) {
	k := len(terms)
	var sums [rigTerms * rigTerms]float64
	var right [rigTerms]float64
	for i, y := range r.tilt {
		row := r.terms[rigTerms*i : rigTerms*i+rigTerms]
		for a, ta := range terms {
			x := row[ta]
			right[a] += x * y
			for b := a; b < k; b++ {
				sums[a*rigTerms+b] += x * row[terms[b]]
			}
		}
	}
	normal := mat.NewSymDense(k, nil)
	for a := range k {
		for b := a; b < k; b++ {
			normal.SetSym(a, b, sums[a*rigTerms+b])
		}
	}
	var chol mat.Cholesky
	solution := mat.NewVecDense(k, nil)
	if !chol.Factorize(normal) || chol.SolveVecTo(solution, mat.NewVecDense(k, right[:k])) != nil {
		return c, 0, false
	}
	for a, t := range terms {
		c[t] = solution.AtVec(a)
	}
	for i, y := range r.tilt {
		d := y - r.sum(c, i)
		rss += d * d
	}
	return c, rss, true
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
