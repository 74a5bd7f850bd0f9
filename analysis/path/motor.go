package path

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"gonum.org/v1/gonum/stat/distuv"
)

// motor is what a stage's motor does while undisturbed pieces pass: the yardstick for one
// that may be stuck.
type motor struct {
	*drive
	amps  distuv.Normal        // ln(A + offset) of the mean current over a pass
	twice float64              // A; twice the usual of current and offset together
	ratio distuv.Normal        // mean roller speed over a pass, 1 is what its command asks for
	yards map[place]yardsticks // the hardest moments of undisturbed visits
	wakes map[int]wake         // by slot: what it does along such a visit
	// How far single samples lie from the mean of their pass: ln current, share of speed.
	rippleA, rippleR float64
}

// offset, in A, keeps the logarithm of a small current from meaning much.
const offset = 0.5

// clean is an undisturbed visit.
type clean struct {
	slot int
	series.Interval
	at     []int     // the settled samples in it
	driven []float64 // s; how far the piece had been driven by each of them
}

// passage is what a motor did along a visit, which stays the same however often what is usual
// is learned anew.
type passage struct {
	clean
	hardest [len(momentsS)]moment
}

// passage reads a visit whose piece was driven by a clock.
func (d *drive) passage(v visit, c relay) *passage {
	p := d.passages[came{v.slot, v.from}]
	if p != nil && p.End == v.to {
		return p
	}
	p = &passage{clean: clean{slot: v.slot, Interval: series.Interval{Start: v.from, End: v.to}}}
	for k := series.From(d.t, v.from); k < len(d.t) && d.t[k] < v.to; k++ {
		if d.settled[k] {
			p.at, p.driven = append(p.at, k), append(p.driven, c.onward(v.from, d.t[k]))
		}
	}
	for long := range p.hardest {
		p.hardest[long] = d.hardest(v.from, v.to, long)
	}
	d.passages[came{v.slot, v.from}] = p
	return p
}

// newMotor learns from undisturbed visits. With few of them it falls back on all onward
// driving, and says less.
func newMotor(d *drive, visits []clean) motor {
	const slow = 0.5 // of the speed that the command asks for
	m := motor{drive: d, yards: map[place]yardsticks{}, wakes: map[int]wake{}}
	var amps, ratio []float64
	moved := map[int][]clean{}
	for _, c := range visits {
		a, r, _ := d.means(c.Start, c.End)
		if r < slow {
			continue // it stood for most of the pass: that is not what it usually does, however often
		}
		moved[c.slot] = append(moved[c.slot], c)
		if !math.IsNaN(a) {
			amps = append(amps, math.Log(a+offset))
		}
		if !math.IsNaN(r) {
			ratio = append(ratio, r)
		}
	}
	m.learnWakes(moved)
	const few = 3
	if len(amps) < few {
		for _, a := range sample(d.amps, func(i int) bool { return d.settled[i] && !(d.ratio[i] <= standing) }) {
			amps = append(amps, math.Log(max(a, 0)+offset))
		}
	}
	if len(ratio) < few {
		ratio = append(ratio, sample(d.ratio, func(i int) bool { return d.settled[i] && d.ratio[i] > standing })...)
	}
	m.amps = yardstick(amps, 0.2)
	m.twice = 2 * math.Exp(m.amps.Mu)
	m.ratio = yardstick(ratio, 0.12)
	return m
}

// yardstick is the median and robust spread of x, the spread at least least.
func yardstick(x []float64, least float64) distuv.Normal {
	return distuv.Normal{Mu: stat.Median(x), Sigma: math.Hypot(least, stat.MADToSigma*stat.MAD(x))}
}

// means is the mean current and speed while driven onward between two times, once the
// motor had settled; NaN where the log does not tell. n is the samples used.
func (d *drive) means(from, to int64) (amps, ratio float64, n int) {
	var sumA, sumR float64
	var nA, nR int
	for k := series.From(d.t, from); k < len(d.t) && d.t[k] < to; k++ {
		if !d.settled[k] {
			continue
		}
		if a := d.amps[k]; !math.IsNaN(a) {
			sumA, nA = sumA+max(a, 0), nA+1
		}
		if r := d.ratio[k]; !math.IsNaN(r) {
			sumR, nR = sumR+r, nR+1
		}
	}
	return sumA / float64(nA), sumR / float64(nR), max(nA, nR) // 0/0 is NaN
}

// locked is the log-odds that the motor was held fast between two times rather than
// turning as it does when pieces pass, and the current and speed they rest on: those of the
// longest stretch in which it stood, of the whole time when it never did.
func (m *motor) locked(from, to int64) (odds, amps, ratio float64) {
	if a, b, ok := m.longest(from, to); ok {
		from, to = a, b
	}
	amps, ratio, n := m.means(from, to)
	if n == 0 {
		return 0, amps, ratio
	}
	const odd = 0.02 // passes on which a motor does what it usually does not
	held, drags, free, usual := 1.0, 1.0, 1.0, 1.0
	if y := math.Log(amps + offset); !math.IsNaN(y) && !math.IsNaN(m.amps.Mu) {
		stall := distuv.Normal{Mu: m.amps.Mu + math.Log(lockedTimes), Sigma: lockedSpread}
		wild := distuv.Normal{Mu: m.amps.Mu, Sigma: 1}
		held *= stall.Prob(y)
		drags *= distuv.Normal{Mu: m.amps.Mu + dragsTimes, Sigma: dragsSpread}.Prob(y)
		free *= m.amps.Prob(y)
		usual *= (1-odd)*m.amps.Prob(y) + odd*wild.Prob(y)
	}
	if !math.IsNaN(ratio) && !math.IsNaN(m.ratio.Mu) {
		held *= 2 * distuv.Normal{Mu: 0, Sigma: lockedSpeed}.Prob(ratio)
		drags *= distuv.Normal{Mu: m.ratio.Mu - dragsSlower, Sigma: dragsSlowerSpread}.Prob(ratio)
		free *= m.ratio.Prob(ratio)
		usual *= (1-odd)*m.ratio.Prob(ratio) + odd // any speed up to the full one
	}
	const most = 6 // motors do odd things for reasons nobody thought of
	return min(max(math.Log((jamsLock*held+jamsDrag*drags+(1-jamsLock-jamsDrag)*free)/usual), -most), most), amps, ratio
}

// longest is the longest stretch between two times in which the settled motor stood or drew
// at least twice its usual current; ok is false when none lasted.
func (m *motor) longest(from, to int64) (a, b int64, ok bool) {
	const lasting = 200_000 // µs
	start, inside := int64(0), false
	for k := series.From(m.t, from); k < len(m.t) && m.t[k] < to; k++ {
		held := m.heldFast(k)
		if held && !inside {
			start = m.t[k]
		}
		inside = held
		if held && m.t[k]-start > b-a {
			a, b = start, m.t[k]+1
		}
	}
	return a, b, b-a >= lasting
}

// heldFast is whether the motor, driven onward and settled, stood at a sample or drew twice its
// usual current, as far as either is known.
func (m *motor) heldFast(k int) bool {
	amps, ratio := m.drive.amps[k]+offset, m.drive.ratio[k]
	return m.settled[k] && !(math.IsNaN(amps) && math.IsNaN(ratio)) && !(amps < m.twice) && !(ratio > standing)
}

// stood finds the moments between from and to in which the motor was held fast: since is
// when it began to slow down or draw more than usual, still when it stood, until when it
// turned again after the last moment it stood, driven onward or back. amps is the current
// it drew meanwhile. ok is false when it never stood.
func (m *motor) stood(from, to int64, amps float64) (since, still, until int64, ok bool) {
	level := math.Sqrt((amps + offset) * math.Exp(m.amps.Mu)) // halfway, by ratio
	fast := func(k int) bool {
		a, r := math.Abs(m.drive.amps[k])+offset, m.drive.ratio[k]
		if m.clock.rate[k] == 0 || math.IsNaN(a) && math.IsNaN(r) {
			return false
		}
		return !(a < level) && !(r > standing)
	}
	odd := func(k int) bool {
		a, r := m.drive.amps[k]+offset, m.drive.ratio[k]
		return r < m.ratio.Mu-max(3*m.ratio.Sigma, 0.2) || math.IsNaN(r) && math.Log(a) > m.amps.Mu+2*m.amps.Sigma
	}
	i, j := series.From(m.t, from), series.From(m.t, to)
	const hold = 50_000 // µs a motor must stand for, so that one noisy sample is nothing
	first, last := -1, -1
	for k := i; k < j; k++ {
		if !fast(k) {
			continue
		}
		if first < 0 && m.clock.rate[k] > 0 {
			n := k
			for n < j && fast(n) {
				n++
			}
			if m.t[n-1]-m.t[k] < hold && n-k < 2 {
				continue
			}
			first = k
		}
		if first >= 0 {
			last = k
		}
	}
	if first < 0 {
		return 0, 0, 0, false
	}
	start := first
	for start > i && odd(start-1) {
		start--
	}
	until = to
	for k := last + 1; k < j; k++ {
		if m.clock.rate[k] != 0 {
			until = m.t[k] // driven and not held: it turns
			break
		}
	}
	return m.t[start], m.t[first], until, true
}

// peak is the largest current between two times; nil when none was logged.
func (d *drive) peak(from, to int64) *float64 {
	top := math.Inf(-1)
	for i := series.From(d.t, from); i < len(d.t) && d.t[i] <= to; i++ {
		if a := d.amps[i]; a > top {
			top = a
		}
	}
	return schemas.Some(top)
}
