package sim

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/mat"
)

// The states of the robot and board together near level, all as differences from rest.
const (
	xAngle = iota // rad, of the board
	xRate
	xPlace // m past the place where the board is in balance
	xSpeed // m/s
	xWheel // m/s, of the wheels' rims
	xRock  // rad, of the body on its wheels
	xRocking
	plantStates
)

// plant is the world's own equations of platform, robot and body, made straight: grip in
// proportion to slip, no stops or detent, and dry friction and slack as even has them.
type plant struct {
	board    *platform
	robot    *chassis
	inertia  float64 // kg m2, board and all on it
	volts    float64
	withBody bool
	even     even
}

// even is what dry friction, slack and a quiet band come to for a swing of a given size: the
// straight term that takes the same part of a sine (describing functions; Gelb and Vander
// Velde, Multiple-Input Describing Functions, 1968; from memory). The zero is none of it.
type even struct {
	damp    float64 // N m s/rad more on the board
	drag    float64 // N s/m more on the robot
	springs float64 // part of the springs' stiffness that slack takes away
	word    float64 // part of the loop's word that its quiet band takes away
}

// evened is even for the given amplitudes: of the board's rate (rad/s) and angle (rad), of
// the robot's speed (m/s) and of the tilt the loop sees (deg).
func evened(p *platform, c *chassis, quiet, rate, angle, speed, tilt float64) even {
	const dry = 4 / math.Pi // of a sine of size 1, from a square wave of size 1
	out := even{
		damp: dry * (p.rub + p.dry) / max(rate, 0.01),
		drag: dry * c.rolling / max(speed, 0.02),
		word: 1,
	}
	if d := p.slack / angle; d < 1 {
		out.springs = 2 / math.Pi * (math.Asin(d) + d*math.Sqrt(1-d*d))
	} else {
		out.springs = 1
	}
	if d := quiet / tilt; d < 1 {
		out.word = 2 / math.Pi * (math.Asin(d) - d*math.Sqrt(1-d*d))
	}
	return out
}

// slopes are A and B of dx/dt = A x + B u, u being the command of both sides, -1..1.
func (p plant) slopes() (a *mat.Dense, b *mat.VecDense) {
	a, b = mat.NewDense(plantStates, plantStates, nil), mat.NewVecDense(plantStates, nil)
	a.Set(xAngle, xRate, 1)
	a.Set(xRate, xAngle, -p.board.stiff*(1-p.even.springs)/p.inertia)
	a.Set(xRate, xRate, -(p.board.damp+p.even.damp)/p.inertia)
	c := p.robot
	if c == nil {
		b.SetVec(xRate, -1/p.inertia) // on the bench the command is a torque
		return a, b
	}
	a.Set(xRate, xPlace, -c.mass*gravity/p.inertia)
	a.Set(xPlace, xSpeed, 1)
	slip := c.grip * gravity / c.knee // 1/s, N per kg for a m/s of slip
	a.Set(xSpeed, xAngle, -gravity)
	a.Set(xSpeed, xSpeed, -slip-(c.drag+p.even.drag)/c.mass)
	a.Set(xSpeed, xWheel, slip)
	m, g := c.left.motor, c.gear
	back := m.ke * g / c.wheel                               // V for a m/s
	lever := g * c.yield * m.ke / m.r * c.wheel / c.rotating // m/s2 for a V
	push := slip * c.mass / 2 * c.wheel * c.wheel / c.rotating
	a.Set(xWheel, xSpeed, push)
	a.Set(xWheel, xWheel, -push-lever*back)
	b.SetVec(xWheel, lever*p.volts)
	a.Set(xRock, xRocking, 1)
	if p.withBody {
		for j := range plantStates {
			a.Set(xRocking, j, bodyWn*bodyWn*bodyLean*a.At(xSpeed, j))
		}
		a.Set(xRocking, xRock, -bodyWn*bodyWn)
		a.Set(xRocking, xRocking, -2*bodyZeta*bodyWn)
	}
	return a, b
}

// sampled are the same over h seconds in which the command stands still, exactly: the
// exponential of the two together (Franklin, Powell and Workman, Digital Control of Dynamic
// Systems, on zero-order hold; from memory).
func (p plant) sampled(h float64) (a, b *mat.Dense) {
	slopes, drive := p.slopes()
	both := mat.NewDense(plantStates+1, plantStates+1, nil)
	both.Slice(0, plantStates, 0, plantStates).(*mat.Dense).Copy(slopes)
	for i := range plantStates {
		both.Set(i, plantStates, drive.AtVec(i))
	}
	both.Scale(h, both)
	var e mat.Dense
	e.Exp(both)
	return mat.DenseCopyOf(e.Slice(0, plantStates, 0, plantStates)),
		mat.DenseCopyOf(e.Slice(0, plantStates, plantStates, plantStates+1))
}

// closed is a plant under a levelling loop, one run after the other. Its state is the
// plant's, then what the loop remembers: smoothed rates and tilts of the runs before, newest
// first, in degrees, and its integral.
type closed struct {
	a, b *mat.Dense
	loop leveller
	h    float64 // s
}

func closeLoop(p plant, l leveller, h float64) closed {
	a, b := p.sampled(h)
	l.kp, l.kd, l.ki = l.kp*(1-p.even.word), l.kd*(1-p.even.word), l.ki*(1-p.even.word)
	return closed{a: a, b: b, loop: l, h: h}
}

// remembered is how many runs back the loop looks.
func (c closed) remembered() int { return max(1, c.loop.late) }

func (c closed) states() int { return plantStates + 2*c.remembered() + 1 }

// run is one run of the loop and the time to the next: the state then from the state now.
func (c closed) run(x []float64) []float64 {
	l, n := c.loop, c.remembered()
	rates, tilts := x[plantStates:plantStates+n], x[plantStates+n:plantStates+2*n]
	tilt := (x[xAngle] + x[xRock]) / degree
	rate := rates[0] + l.share*((x[xRate]+x[xRocking])/degree-rates[0])
	seenTilt, seenRate := tilt, rate
	if l.late > 0 {
		seenTilt, seenRate = tilts[l.late-1], rates[l.late-1]
	}
	sum := x[len(x)-1] + l.ki*seenTilt*c.h
	word := l.kp*seenTilt + l.kd*seenRate
	if l.ki > 0 {
		word += sum
	}
	u := word + l.hold*(fullSpeed*word-x[xWheel])
	out := make([]float64, len(x))
	for i := range plantStates {
		for j := range plantStates {
			out[i] += c.a.At(i, j) * x[j]
		}
		out[i] += c.b.At(i, 0) * u
	}
	out[plantStates], out[plantStates+n] = rate, tilt
	copy(out[plantStates+1:plantStates+n], rates)
	copy(out[plantStates+n+1:plantStates+2*n], tilts)
	out[len(x)-1] = sum
	return out
}

// matrix is run as a matrix: one column for each state.
func (c closed) matrix() *mat.Dense {
	n := c.states()
	m := mat.NewDense(n, n, nil)
	for j := range n {
		unit := make([]float64, n)
		unit[j] = 1
		m.SetCol(j, c.run(unit))
	}
	return m
}

// modes are what each mode's state is multiplied by in every run.
func (c closed) modes() []complex128 {
	var eigen mat.Eigen
	if !eigen.Factorize(c.matrix(), mat.EigenNone) {
		return nil
	}
	return eigen.Values(nil)
}

// pair is the damping ratio and the undamped natural frequency, rad/s, of the mode whose
// state is multiplied by z in every run: s = ln(z)/h.
func (c closed) pair(z complex128) (zeta, wn float64) {
	s := cmplx.Log(z) / complex(c.h, 0)
	return -real(s) / cmplx.Abs(s), cmplx.Abs(s)
}

// alone is how much of the tilt may be other than the swing, RMS, for it to be told alone.
const alone = 0.35

// seen is the least part of the tilt, RMS, that is a swing in it.
const seen = 0.1

// swing is the damping ratio and the undamped natural frequency (rad/s) of the pair of
// modes that makes most of the angle in the given number of runs from state x on. ok is
// false where it does not make nearly all: then no second-order swing describes it. The pair is
// that with the most in it itself: under another's decay the pair that leaves the least of the
// angle may be one that has nothing to do with it, as the body's rocking. Where no pair makes a
// part of the angle worth speaking of, it does not swing: zeta is 1.
func (c closed) swing(x []float64, runs int) (zeta, wn float64, ok bool) {
	var eigen mat.Eigen
	if !eigen.Factorize(c.matrix(), mat.EigenBoth) {
		return 0, 0, false
	}
	var left, right mat.CDense
	eigen.LeftVectorsTo(&left)
	eigen.VectorsTo(&right)
	first, angle, all := x, make([]float64, runs), 0.0
	for k := range angle {
		angle[k] = x[xAngle]
		all += angle[k] * angle[k]
		x = c.run(x)
	}
	most, rest := 0.0, math.Inf(1)
	for i, z := range eigen.Values(nil) {
		if imag(z) <= 0 {
			continue
		}
		// The share of mode i in the state at first: its left vector on it, by that on its own.
		var on, own complex128
		for j := range c.states() {
			l := cmplx.Conj(left.At(j, i))
			on += l * complex(first[j], 0)
			own += l * right.At(j, i)
		}
		part := on / own * right.At(xAngle, i)
		mine, others := 0.0, 0.0
		for k := range angle {
			d := angle[k] - 2*real(part)
			mine, others = mine+4*real(part)*real(part), others+d*d
			part *= z
		}
		if mine > most {
			most, rest = mine, others
			zeta, wn = c.pair(z)
		}
	}
	if most < seen*seen*all {
		return 1, wn, false
	}
	return zeta, wn, rest < alone*alone*all
}
