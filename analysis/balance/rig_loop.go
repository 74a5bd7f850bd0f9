package balance

import (
	"math"
	"math/cmplx"
)

// gains are a change of a law: its proportional gain times factor, its rate gain times rateFactor,
// and rateS times the new proportional gain more on the rate.
type gains struct{ factor, rateFactor, rateS float64 }

// asTheyAre changes nothing.
var asTheyAre = gains{factor: 1, rateFactor: 1}

// with is the law after a change of gains.
func (l law) with(c gains) law {
	l.gain, l.lead, l.again = l.gain*c.factor, l.lead*c.rateFactor/c.factor+c.rateS, l.again/c.factor
	return l
}

// closed are the poles of a rig under a law and how it swings from the rig's start on.
type closed struct {
	zeta, wn float64 // of the pair of poles that makes most of the tilt; zeta is 1 without a pair
	stable   bool
	slowest  float64 // 1/s, how fast the slowest pole dies down
}

const movedLeast = 0.005 // of full command; a robot that moves less is as good as standing

const shownS = 4.0 // s over which the pair that makes most of the tilt is looked for

// closeLoop is the loop of a rig and a law. Lateness is (1 - h s + h² s²/3)/(1 + h s + h² s²/3)
// with h half of it (Padé, second order), friction the damping that takes as much out of a
// sine of the size there was (describing function, as quietPart), and so is what resists rolling.
func (g rig) closeLoop(l law) closed {
	damp := g.damp + 4/math.Pi*g.rub/math.Max(g.swung, turnedDegS)
	h := l.late / 2
	behind, ahead := polynomial{1, h, h * h / 3}, polynomial{1, -h, h * h / 3}
	held := 1 + 4/math.Pi*g.slide*g.roll/math.Max(g.moved, movedLeast)
	drive := polynomial{1, g.lag}
	if !g.force {
		drive = polynomial{0, held, g.lag}
	}
	k := g.pull * l.gain * (1 - l.quiet)
	slow, answer, wound := behind.times(polynomial{1, l.soft}), polynomial{k, k * (l.soft + l.lead)}, polynomial{0}
	if l.again > 0 {
		wound = slow.times(polynomial{-g.pull * l.wound})
		slow, answer = slow.times(polynomial{0, 1}), polynomial{k * l.again, k * (1 + l.soft*l.again), k * (l.soft + l.lead)}
	}
	rest := drive.times(slow)
	all := polynomial{g.stiff, damp, 1}.times(rest).plus(ahead.times(answer))
	start := polynomial{g.rate + damp*g.tilt, g.tilt}.times(rest).plus(wound)
	if !g.force {
		rolls := -math.Abs(g.pull) * g.slide
		all = all.plus(polynomial{rolls}.times(slow))
		start = start.plus(polynomial{-g.place * held, -g.place * g.lag}.times(slow))
	}
	out := closed{zeta: 1, wn: math.Inf(1), stable: true, slowest: math.Inf(1)}
	most, slope := 0.0, all.slope()
	for _, s := range all.roots() {
		out.stable = out.stable && real(s) < 0
		out.slowest = min(out.slowest, -real(s))
		if imag(s) <= 0 {
			continue
		}
		part := cmplx.Abs(start.at(s) / slope.at(s))
		energy := part * part * math.Expm1(2*real(s)*shownS) / (2 * real(s))
		if energy > most {
			most, out.wn = energy, cmplx.Abs(s)
			out.zeta = -real(s) / out.wn
		}
	}
	return out
}

// polynomial has its coefficients lowest first.
type polynomial []float64

func (p polynomial) times(q polynomial) polynomial {
	out := make(polynomial, len(p)+len(q)-1)
	for i, a := range p {
		for j, b := range q {
			out[i+j] += a * b
		}
	}
	return out
}

func (p polynomial) plus(q polynomial) polynomial {
	out := make(polynomial, max(len(p), len(q)))
	copy(out, p)
	for i, b := range q {
		out[i] += b
	}
	return out
}

func (p polynomial) at(s complex128) complex128 {
	v := complex(0, 0)
	for i := len(p) - 1; i >= 0; i-- {
		v = v*s + complex(p[i], 0)
	}
	return v
}

func (p polynomial) slope() polynomial {
	out := make(polynomial, max(1, len(p)-1))
	for i := 1; i < len(p); i++ {
		out[i-1] = float64(i) * p[i]
	}
	return out
}

// roots are found all at once by the method of Aberth (Mathematics of Computation 27, 1973;
// from memory) from a circle that none lies outside of by much. A loop's poles are a handful.
func (p polynomial) roots() []complex128 {
	for len(p) > 1 && math.Abs(p[len(p)-1]) < 1e-9 {
		p = p[:len(p)-1]
	}
	n := len(p) - 1
	if n == 0 {
		return nil
	}
	// The geometric mean of the roots' sizes, so that slow and fast ones are reached alike.
	size := math.Pow(math.Abs(p[0]/p[n])+1e-12, 1/float64(n))
	slope, z := p.slope(), make([]complex128, n)
	for i := range z {
		z[i] = cmplx.Rect(size, 2*math.Pi*(float64(i)+0.3)/float64(n))
	}
	for range 200 {
		moved := 0.0
		for i, now := range z {
			at := p.at(now)
			if at == 0 {
				continue
			}
			newton := at / slope.at(now)
			others := complex(0, 0)
			for j, other := range z {
				if j != i && other != now {
					others += 1 / (now - other)
				}
			}
			step := newton / (1 - newton*others)
			if cmplx.IsNaN(step) || cmplx.IsInf(step) {
				step = complex(1e-3*size, 1e-3*size) // off a place where the slope is nothing
			}
			z[i] -= step
			moved = max(moved, cmplx.Abs(step)/(cmplx.Abs(now)+1e-9))
		}
		if moved < 1e-12 {
			break
		}
	}
	for i, s := range z { // what is real but for rounding is real
		if math.Abs(imag(s)) < 1e-8*(cmplx.Abs(s)+1e-9) {
			z[i] = complex(real(s), 0)
		}
	}
	return z
}

// settles is how many seconds after the rig's start the tilt stays within level for good under
// a law that gives no more than limit; nil when not within longest. It is stepped with the
// band in which the loop stands still left out, as its share of the gain is, but not that in which the
// drivetrain does.
func (g rig) settles(l law, limit, level float64) *float64 {
	const step, longest = 0.01, 20.0
	late := int(math.Round(l.late / step))
	tilt, rate, place, speed, smooth := g.tilt, g.rate, 0.0, 0.0, 0.0
	if g.pull != 0 && !g.force {
		place = g.place / g.pull
	}
	n := int(longest / step)
	words := make([]float64, n)
	out := 0
	soft, drive := 1-math.Exp(-step/math.Max(l.soft, 1e-3)), g.every(step, math.Copysign(1, g.pull))
	if g.force { // no wheels
		drive.slide, drive.hold = 0, 0
	}
	for i := range n {
		smooth += soft * (rate - smooth)
		words[i] = l.gain * (1 - l.quiet) * (tilt + l.lead*smooth)
		u := 0.0
		if i >= late {
			u = math.Max(-limit, math.Min(limit, words[i-late]))
		}
		if math.Abs(u) <= g.dead {
			u = 0
		}
		speed = drive.next(speed, u, tilt)
		place += speed * step
		pull := place
		if g.force {
			pull = speed
		}
		rub := 0.0
		if g.rub > 0 {
			rub = g.rub * math.Tanh(rate/turnedDegS)
		}
		rate += step * (-g.damp*rate - g.stiff*tilt - rub - g.pull*pull)
		tilt += step * rate
		if !(math.Abs(tilt) <= level) {
			out = i + 1
		}
	}
	if out == n {
		return nil
	}
	s := float64(out) * step
	return &s
}
