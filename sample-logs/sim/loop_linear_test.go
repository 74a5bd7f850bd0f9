package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"

	"github.com/afterbell/afterbell/schemas"
)

// The straight equations of a robot that levels on a board follow the world's own stepping of
// motors, wheels, board and body, when nothing crooked is in it: a small swing, no dry
// friction, no quiet band.
func TestStraightEquationsFollowTheWorld(t *testing.T) {
	for _, c := range []struct {
		kp, kd float64
		late   int
	}{{0.004, 0.002, 0}, {0.006, 0.001, 2}, {0.008, 0.004, 5}} {
		s, _ := findScenario("clean")
		s.levelling(func(l *leveller) { l.kp, l.kd, l.late, l.quiet, l.most = c.kp, c.kd, c.late, 0, 1 })
		w := newWorld(s, Options{Seed: 3})
		w.steps = int((s.leadS + autonomousS + s.pauseS + 20) / step)
		p, robot := w.platform, w.chassis
		p.rub, p.hooked, p.angle, p.damp = 0, false, 1*degree, 300
		robot.rolling = 0
		robot.x, robot.y, robot.heading = p.x, p.y, math.Pi
		w.program.levelling = true
		assert.Equal(t, schemas.PeriodDriver, w.mode())

		var loop closed
		var x []float64
		worst := 0.0
		for range 4000 {
			if w.steps%programs == 0 {
				w.program.run(w)
				n := len(w.levelled)
				last := w.levelled[n-1]
				if n == 40 { // past the start, with a history
					_, inertia, _ := w.restingPlace(0, 0)
					loop = closeLoop(plant{board: p, robot: robot, inertia: inertia, volts: last.volts, withBody: true}, w.program.level, programs*step)
					x = make([]float64, loop.states())
					copy(x, last.plant[:])
					for k := range loop.remembered() {
						x[plantStates+k] = w.levelled[n-2-k].rate
						x[plantStates+loop.remembered()+k] = w.levelled[n-2-k].tilt
					}
				}
				if n >= 40 {
					worst = math.Max(worst, math.Abs(x[xAngle]-last.plant[xAngle]))
					x = loop.run(x)
				}
			}
			w.supply.solve(w.axes, step)
			robot.step(p.underfoot(robot), step)
			p.step(robot, step)
			w.body.step(w, step)
			w.steps++
		}
		assert.Less(t, worst, 0.02*degree, "%+v", c)
		assert.Greater(t, math.Abs(w.levelled[40].plant[xAngle]), 0.2*degree)
	}
}

// A describing function takes the part of a sine that the curve takes: here by the integral
// over one period, sampled finely.
func TestEvenedTakesItsPartOfASine(t *testing.T) {
	const n = 100000
	share := func(curve func(float64) float64, size float64) float64 {
		sum := 0.0
		for i := range n {
			sin := math.Sin(2 * math.Pi * (float64(i) + 0.5) / n)
			sum += curve(size*sin) * sin * 2 / n
		}
		return sum / size
	}
	e := evened(&platform{rub: 3, dry: 5, slack: 0.02}, &chassis{rolling: 20}, 1.2, 0.4, 0.1, 0.3, 6)
	assert.InDelta(t, share(func(v float64) float64 { return math.Copysign(8, v) }, 0.4), e.damp, 1e-4)
	assert.InDelta(t, share(func(v float64) float64 { return math.Copysign(20, v) }, 0.3), e.drag, 1e-4)
	assert.InDelta(t, 1-share(func(v float64) float64 {
		return math.Copysign(math.Max(0, math.Abs(v)-0.02), v)
	}, 0.1), e.springs, 1e-4)
	assert.InDelta(t, 1-share(func(v float64) float64 {
		if math.Abs(v) < 1.2 {
			return 0
		}
		return v
	}, 6), e.word, 1e-4)
}
