package path

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"gonum.org/v1/gonum/stat/distuv"
)

// What a roller does to a piece that stands shows in its motor. Held fast, it stands and
// draws several times its current. Slipping, it turns on, but drags on the piece with all
// its grip instead of the little that a piece needs to be moved along: it draws half as much
// again, and turns a little slower, for as long as the piece stands. The look is at the
// hardest moment of a visit beside the hardest moments, as long, of the visits in which
// pieces passed undisturbed: so starts, hand-overs and heavy pieces, which strain a motor on
// every pass, are in the yardstick already. A piece that may have stood for long is looked
// at for long: what a hand-over strains for a moment does not last, and a standing piece
// does.

// moments are how long the moments looked at may be, s: the first averages a motor's ripple
// out and is no longer than the shortest jam.
var momentsS = [...]float64{0.3, 0.9, 2.5}

// momentOf is the longest of them that lies within x seconds.
func momentOf(x float64) int {
	long := 0
	for i, m := range momentsS {
		if m <= x {
			long = i
		}
	}
	return long
}

// moment is the hardest moment of a visit for one motor: the largest mean of ln current,
// the smallest mean share of its speed. NaN where the log does not
// tell.
type moment struct {
	amps, ratio float64
}

// hardest looks through the settled driving between two times for the hardest moment of a
// length.
func (d *drive) hardest(from, to int64, long int) moment {
	out := moment{amps: math.NaN(), ratio: math.NaN()}
	i := series.From(d.t, from)
	for i < len(d.t) && d.t[i] < to {
		if !d.settled[i] {
			i++
			continue
		}
		j := i // a run of settled samples
		for j < len(d.t) && d.t[j] < to && d.settled[j] {
			j++
		}
		d.hardestIn(i, j, schemas.Micros(momentsS[long]), &out)
		i = j
	}
	return out
}

// hardestIn looks through samples i to j; a run shorter than a moment counts whole from a
// third of the shortest on.
func (d *drive) hardestIn(i, j int, long int64, out *moment) {
	if j-i < 2 || d.t[j-1]-d.t[i] < schemas.Micros(momentsS[0])/3 {
		return
	}
	var amps, speed mean
	first := i
	for k := i; k < j; k++ {
		amps.add(d.load[k], 1)
		speed.add(d.ratio[k], 1)
		for d.t[k]-d.t[first] > long {
			amps.add(d.load[first], -1)
			speed.add(d.ratio[first], -1)
			first++
		}
		if d.t[k]-d.t[first] < long*4/5 && k < j-1 {
			continue // not a whole moment yet, and more to come
		}
		if a := amps.of(); !(a <= out.amps) && !math.IsNaN(a) {
			out.amps = a
		}
		if r := speed.of(); !(r >= out.ratio) && !math.IsNaN(r) {
			out.ratio = r
		}
	}
}

// mean of the readings in a window.
type mean struct {
	sum float64
	n   int
}

func (m *mean) add(v float64, sign int) {
	if math.IsNaN(v) {
		return
	}
	m.sum += float64(sign) * v
	m.n += sign
}

func (m *mean) of() float64 {
	if m.n <= 0 {
		return math.NaN()
	}
	return m.sum / float64(m.n)
}

// yardsticks is what the hardest moments of undisturbed visits to one slot are like for one
// motor. Mu is NaN where none are known.
type yardsticks struct{ amps, ratio distuv.StudentsT }

// place is where a moment was and how long: a slot, and whether another piece was near,
// which strains motors too.
type place struct {
	slot    int
	company bool
	long    int // of momentsS
}

// company is whether another piece was in a visit's slot or the next one, on either side,
// for more than a moment of it.
func company(all []journey, i int, v visit) bool {
	const touch = 100_000 // µs
	for n, j := range all {
		if n == i {
			continue
		}
		for _, u := range j.visits {
			if u.slot >= v.slot-1 && u.slot <= v.slot+1 && min(u.to, v.to)-max(u.from, v.from) > touch {
				return true
			}
		}
	}
	return false
}

// newYardsticks learns from such moments.
func newYardsticks(good []moment) yardsticks {
	var amps, ratio []float64
	for _, m := range good {
		if !math.IsNaN(m.amps) {
			amps = append(amps, m.amps)
		}
		if !math.IsNaN(m.ratio) {
			ratio = append(ratio, m.ratio)
		}
	}
	return yardsticks{amps: expect(amps, 0.12), ratio: expect(ratio, 0.05)}
}

// expect is the predictive law of one more like x: median and robust spread with a guess of
// the spread worth four, wider the fewer there are.
func expect(x []float64, guess float64) distuv.StudentsT {
	const few, worth = 2, 4.0
	if len(x) < few {
		return distuv.StudentsT{Mu: math.NaN(), Sigma: math.NaN(), Nu: 1}
	}
	n := float64(len(x))
	seen := stat.MADToSigma * stat.MAD(x)
	sigma := math.Sqrt((worth*guess*guess + n*seen*seen) / (worth + n))
	return distuv.StudentsT{Mu: stat.Median(x), Sigma: sigma * math.Sqrt(1+1.5/n), Nu: worth + n - 1}
}

// strain is what one motor says of a visit: log-odds that the piece stood for a while, and
// what they rest on: the hardest moment, and its current over what is usual in one.
type strain struct {
	jam   float64
	at    moment
	times float64
}

// What jams do to the motor. Half lock the roller, in most others it slips and turns on, and some
// leave no mark on the motor that is looked at. A locked motor draws two to five times its usual
// current, a slipping one half as much again and turns a tenth slower; now and then one drags so
// hard on its piece that it draws as a locked one does, and turns much slower. Of the right order
// for brushed and brushless d.c. motors behind a gearbox, chosen by us.
const (
	jamsLock, jamsSlip, jamsDrag = 0.5, 0.3, 0.1

	lockedTimes  = 2.5  // its usual current
	lockedSpread = 0.6  // of ln of that
	lockedSpeed  = 0.12 // share of its speed: what noise makes of standing

	dragsTimes, dragsSpread        = 1.2, 0.6   // of ln of its usual current
	dragsSlower, dragsSlowerSpread = 0.35, 0.25 // of its usual speed
)

// weighed is what a moment says beside those of undisturbed visits.
func (y yardsticks) weighed(m moment) (s strain, ok bool) {
	const (
		odd      = 0.02 // visits in which a motor is strained for another reason
		anySpeed = 1.0  // density of a share of its speed from none to all
	)
	locked, slipping, dragging, usual := 1.0, 1.0, 1.0, 1.0
	strange := odd
	if !math.IsNaN(m.amps) && !math.IsNaN(y.amps.Mu) {
		ok = true
		locked *= distuv.Normal{Mu: y.amps.Mu + math.Log(lockedTimes), Sigma: lockedSpread}.Prob(m.amps)
		slipping *= distuv.Normal{Mu: y.amps.Mu + 0.4, Sigma: 0.3}.Prob(m.amps)
		dragging *= distuv.Normal{Mu: y.amps.Mu + dragsTimes, Sigma: dragsSpread}.Prob(m.amps)
		usual *= y.amps.Prob(m.amps)
		strange *= distuv.Normal{Mu: y.amps.Mu, Sigma: 0.6}.Prob(m.amps)
	}
	if !math.IsNaN(m.ratio) && !math.IsNaN(y.ratio.Mu) {
		ok = true
		locked *= 2 * distuv.Normal{Mu: 0, Sigma: lockedSpeed}.Prob(max(m.ratio, 0))
		slipping *= distuv.Normal{Mu: y.ratio.Mu - 0.1, Sigma: 0.12}.Prob(m.ratio)
		dragging *= distuv.Normal{Mu: y.ratio.Mu - dragsSlower, Sigma: dragsSlowerSpread}.Prob(m.ratio)
		usual *= y.ratio.Prob(m.ratio)
		strange *= anySpeed // a sensor that says nothing while the current is the usual one, too
	}
	const least = 1e-12
	calm := (1-odd)*usual + strange
	return strain{
		jam:   math.Log(max(jamsLock*locked+jamsSlip*slipping+jamsDrag*dragging+(1-jamsLock-jamsSlip-jamsDrag)*calm, least) / max(calm, least)),
		at:    m,
		times: math.Exp(m.amps - y.amps.Mu),
	}, ok
}

// strained asks the motors of all stages that may hold a visit's piece. Each is as likely
// as the next to be the one, so their odds are averaged; stage is the one that says most.
func (w *way) strained(s *stand, motors []motor) (out strain, stage int, ok bool) {
	first, last := w.reach(s)
	at := place{s.slot, s.company, momentOf(0.8 * s.excess())}
	stage = -1
	sum, asked := 0.0, 0
	for i := first; i <= last; i++ {
		one, known := motors[i].yard(at).weighed(motors[i].hardest(s.from, s.to, at.long))
		if !known {
			continue
		}
		sum, asked = sum+math.Exp(one.jam), asked+1
		if stage < 0 || one.jam > out.jam {
			out, stage = one, i
		}
	}
	if asked == 0 {
		return out, stage, false
	}
	out.jam = min(math.Log(sum/float64(asked)), mostStrain)
	return out, stage, true
}

// mostStrain is the most that a motor's strain can say: motors do odd things for reasons
// nobody thought of.
const mostStrain = 6

// any is what is usual for a motor when pieces pass anywhere.
func (m *motor) any() yardsticks {
	const few = 4
	return yardsticks{
		amps:  distuv.StudentsT{Mu: m.amps.Mu, Sigma: m.amps.Sigma, Nu: few},
		ratio: distuv.StudentsT{Mu: m.ratio.Mu, Sigma: m.ratio.Sigma, Nu: few},
	}
}

// excess is about how long, in driven seconds, the piece stood if it was stuck: what it took
// besides the way it went, all of the slot's or, when it did not get on, half of it.
func (s *stand) excess() float64 {
	if s.done {
		return s.x - s.law.usual()
	}
	return s.x - s.law.usual()/2
}

// yard is what is usual for a motor at a place; where none is known for pieces in company, or
// for such alone, that of the others, less surely.
func (m *motor) yard(at place) yardsticks {
	const other = 0.12
	out, known := m.yards[at]
	at.company = !at.company
	instead, ok := m.yards[at]
	if !known {
		out = newYardsticks(nil)
	}
	if ok && math.IsNaN(out.amps.Mu) {
		out.amps = instead.amps
		out.amps.Sigma = math.Hypot(out.amps.Sigma, other)
	}
	if ok && math.IsNaN(out.ratio.Mu) {
		out.ratio = instead.ratio
		out.ratio.Sigma = math.Hypot(out.ratio.Sigma, other/2)
	}
	return out
}
