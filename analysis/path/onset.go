package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"gonum.org/v1/gonum/stat/distuv"
)

// When progress stopped is nowhere measured. What is known: the piece was moving when it
// came into its slot, it should have been through by the usual time, and if its motor tells
// of the jam, then the motor changed when the piece stood, or a little after. So before the
// motor is asked the moment lies anywhere in the time the slot takes, and for each moment it
// is then reckoned how likely that makes the motor's samples: as on other passes before it,
// as at the hardest from it on, with the way from the one to the other that rollers take, until
// the piece has stood for what it took too long, and as on other passes again. The start is the
// middle of what that leaves, its range the 5 and 95 % points.

// edgeS widens the range on both sides: beams are sampled, and a piece counts as standing
// from when it is within a centimetre of where it stops. Chosen by us.
const edgeS = 0.02

// sharedByAll is how much of what a motor's samples say of the moment is believed for its range:
// what makes a motor draw more or less than the model has it (another piece, the supply, a
// roller that slips and catches) lasts for longer than a sample does. Chosen by us.
const sharedByAll = 0.4

// begin estimates when progress stopped.
func (s *stand) begin(w *way, motors []motor) {
	c := w.driven(s.slot, s.visit.from)
	grid := s.moments(c)
	if len(grid) == 0 {
		s.start, s.low, s.high = s.from, s.from, s.from
		return
	}
	odds := make([]float64, len(grid))
	x := 0.0
	for i, at := range grid {
		was := x
		x = c.onward(s.from, at)
		odds[i] = s.due(x) + math.Log(x-was+1e-6) // it cannot come to a stop while nothing moves it
	}
	before := slices.Clone(odds)
	s.ask(w, motors, c, grid, odds)
	edge := schemas.Micros(edgeS)
	s.start = point(grid, odds, 0.5)
	for i, o := range odds {
		odds[i] = before[i] + sharedByAll*(o-before[i])
	}
	s.low, s.high = min(s.start, point(grid, odds, 0.05)), max(s.start, point(grid, odds, 0.95))
	s.low, s.high = s.low-edge, s.high+edge
	if s.lock <= 1 || !s.motor.hasRPM {
		return
	}
	if _, still, _, ok := s.motor.stood(s.from, s.to, s.amps); ok {
		s.stood, s.still = true, still
	}
}

// moments are the times asked about: every hundredth of a second, or coarser when a visit
// is long, as far as the piece may have been moving.
func (s *stand) moments(c relay) []int64 {
	const most, fine = 150, 10_000 // µs
	last := min(s.to, c.after(s.from, s.move*math.Max(s.law.within(in99)/s.law.usual(), 1.2)))
	step := max(fine, (last-s.from)/most)
	var out []int64
	for at := s.from; at <= last; at += step {
		out = append(out, at)
	}
	return out
}

// due is the log density of having stopped after x driven seconds in the slot: even while
// the piece is on its way, and falling off as pieces are usually through.
func (s *stand) due(x float64) float64 {
	part := x / s.move * s.law.usual()
	return math.Log(max(s.law.dist.Survival(math.Log(max(part, 1e-3))), 1e-9))
}

// ask adds to the log odds of each moment what the motors say. A motor that is known to have
// told of the jam is asked for the moment alone; else each that may hold the piece is asked
// whether it tells of a stop at all, and the one that does most surely is believed.
func (s *stand) ask(w *way, motors []motor, c relay, grid []int64, odds []float64) {
	if s.lock > 1 || s.slot >= w.wait {
		if s.lock > 1 || s.strain > 0 {
			if shown, _, ok := s.motor.tells(s, c, grid, odds); ok {
				s.timed = true
				copy(odds, sum(odds, shown))
			}
		}
		return
	}
	const sure = 2.0
	first, last := w.reach(s)
	var best []float64
	top, whole, asked := sure, 0.0, 0
	for i := first; i <= last; i++ {
		shown, stop, ok := motors[i].tells(s, c, grid, odds)
		if !ok {
			continue
		}
		if !math.IsNaN(stop) {
			whole, asked = whole+math.Exp(min(stop, 30)), asked+1
		}
		if stop > top || best == nil && &motors[i] == s.motor && s.strain > 0 {
			best = shown
			if stop > top {
				s.stage, s.motor, top = i, &motors[i], stop
			}
		}
	}
	if asked > 0 && !s.company {
		s.shift = shiftOdds(whole/float64(asked), s.done)
	}
	if best != nil {
		s.timed = true
		copy(odds, sum(odds, best))
	}
}

// shiftOdds is what a motor's change of load says for a stop that makes its samples likelier
// by a factor: hardly any stop leaves the load as it was, and now and then it changes on a
// piece that goes on, above all a slick one, on which the roller slips as well. Shares chosen
// by us.
func shiftOdds(likelier float64, done bool) float64 {
	const mark = 0.9
	odd := 0.05
	if done {
		odd = 0.12
	}
	return math.Log((mark*likelier + 1 - mark) / (1 - odd + odd*likelier))
}

func sum(a, b []float64) []float64 {
	out := make([]float64, len(a))
	for i := range a {
		out[i] = a[i] + b[i]
	}
	return out
}

// tells is how well the motor's samples fit a piece that stopped at each moment, as
// log-likelihoods: before it they lie about a level that is this pass's own, near what is
// usual; from it on they go over to those of the hardest moment, at once or slowly, as a
// roller digs in. stop is how much likelier that makes them, all moments considered as the
// odds have them, than the load of a piece that came onto the roller then and went on, NaN
// where that load is not known. It is false when the motor says nothing.
func (m *motor) tells(s *stand, c relay, grid []int64, odds []float64) (shown []float64, stop float64, ok bool) {
	h, w, from := m.hardest(s.from, s.to, 0), m.wakes[s.slot], min(s.from, s.visit.from)
	last := min(grid[len(grid)-1]+schemas.Micros(settledS), s.to)
	again, stood := s.again(c, grid)
	if again != nil {
		last = s.to
	}
	var all []trail
	if !math.IsNaN(h.amps) && h.amps > m.amps.Mu {
		all = append(all, m.trail(from, last, stood, c, func(k int) float64 { return m.load[k] },
			w.amps, m.amps, h.amps, m.rippleA))
	}
	if !math.IsNaN(h.ratio) && h.ratio < m.ratio.Mu {
		all = append(all, m.trail(from, last, stood, c, func(k int) float64 { return m.drive.ratio[k] }, w.ratio, m.ratio, h.ratio, m.rippleR))
	}
	shown, bears := make([]float64, len(grid)), make([]float64, len(grid))
	for _, tr := range all {
		if len(tr.t) == 0 {
			continue
		}
		ok = true
		for n, g := range grid {
			moves := never
			if again != nil {
				moves = again[n]
			}
			shown[n] += tr.fits(g, tr.to, moves)
			bears[n] += tr.fits(g, tr.bears, moves)
		}
	}
	if !ok {
		return nil, 0, false
	}
	lag := lagS
	if h.ratio <= standing || h.amps > m.amps.Mu+1 {
		lag += digsInS
	}
	const fitted = 1.5 // what the hardest moment, read off the samples themselves, makes them likelier
	shown = lagged(grid, shown, lag)
	stop = stat.LogSum(sum(odds, shown)) - stat.LogSum(sum(odds, bears)) - fitted
	return shown, stop, true
}

// again is when the piece moves again if it stops at each moment: once it has been driven for
// as long as it took besides the way, give or take what that way differs by. stood is that
// time in driven seconds. Without it nothing is known of the end: where the piece never went
// on, or hardly took longer than usual.
func (s *stand) again(c relay, grid []int64) (again []series.Interval, stood float64) {
	const least = 0.2 // s
	if !s.done || s.excess() < least {
		return nil, 0
	}
	stood = s.excess()
	slack := min(s.law.dist.Sigma*s.law.usual(), stood/2)
	for _, g := range grid {
		again = append(again, series.Interval{Start: c.after(g, stood-slack), End: c.after(g, stood+slack)})
	}
	return again, stood
}

// never is the end of a stand that is not known to end.
var never = series.Interval{Start: math.MaxInt64, End: math.MaxInt64}

// How long after a piece stands its motor shows it, s: as long as its sensors are late, and,
// where the roller locks, while it digs in. As likely to be long as a decay of that mean;
// chosen by us.
const (
	lagS    = 0.01
	digsInS = 0.02
)

// lagged is the log-likelihood of a stop at each moment where shown is that of the motor
// showing it then.
func lagged(grid []int64, shown []float64, lag float64) []float64 {
	out := make([]float64, len(grid))
	for n := range grid {
		var all []float64
		for k := n; k < len(grid); k++ {
			late := schemas.Seconds(grid[k]-grid[n]) / lag
			if late > 8 {
				break
			}
			all = append(all, shown[k]-late)
		}
		out[n] = stat.LogSum(all) - math.Log(float64(len(all)))
	}
	return out
}

// trail is what one signal of a motor did while a piece came to a stop.
type trail struct {
	t     []int64
	y     []float64
	usual []float64 // what it usually does so far on the way
	later []float64 // and where the piece has stood
	w     []float64 // samples close together say the same thing twice
	pass  float64   // spread of that from pass to pass
	to    float64   // what it is while the piece stands
	bears float64   // what it usually is at the hardest while it moves, NaN unknown
	sigma float64   // of a single sample
}

// How fast a motor may go over from what it does while a piece moves to what it does while
// it stands, s: one that slips feels it within its own inertia, one that locks as its roller
// digs in. Chosen by us.
var rampsS = [...]float64{0.015, 0.05, 0.12, 0.25}

// settledS is when the slowest of them is nearly through.
const settledS = 0.6

// rampStep is the step of the tables of how far a ramp is through, µs: an exponential for
// every sample and moment would be most of the work.
const rampStep = 5_000

// rampParts are those tables, one for each of rampsS.
var rampParts = func() (out [len(rampsS)][256]float64) {
	for i, ramp := range rampsS {
		for k := range out[i] {
			out[i][k] = 1 - math.Exp(-schemas.Seconds(int64(k)*rampStep)/ramp)
		}
	}
	return out
}()

// trail reads a signal of the settled motor along a visit that begins at a time and in which the
// piece may have stood for some driven seconds. What is sampled much faster than it ripples is
// averaged.
func (m *motor) trail(from, to int64, stood float64, c relay, read func(k int) float64, l levels, usual distuv.Normal, stands, ripple float64) trail {
	const (
		rippleS = 0.06
		merge   = 15_000 // µs
	)
	tr := trail{pass: usual.Sigma, to: stands, bears: l.hardest(stands < usual.Mu), sigma: ripple}
	n := 0.0 // samples in the last one
	for k := series.From(m.t, from); k+1 < len(m.t) && m.t[k] < to; k++ {
		y := read(k)
		if !m.settled[k] || math.IsNaN(y) {
			continue
		}
		w := schemas.Seconds(m.t[k+1]-m.t[k]) / rippleS
		if last := len(tr.t) - 1; last >= 0 && m.t[k]-tr.t[last] < merge {
			tr.y[last] = (n*tr.y[last] + y) / (n + 1)
			tr.w[last] = min(tr.w[last]+w, 1)
			n++
			continue
		}
		n = 1
		tr.t, tr.y, tr.w = append(tr.t, m.t[k]), append(tr.y, y), append(tr.w, min(w, 1))
		x := c.onward(from, m.t[k])
		tr.usual = append(tr.usual, l.at(x, usual.Mu))
		tr.later = append(tr.later, l.at(max(x-stood, 0), usual.Mu))
	}
	return tr
}

// fits is the log-likelihood of the trail, up to a constant, for a load that changed to a
// level at a time, all ramps considered, and was gone when the piece moved again, at some moment
// of a stretch.
func (tr *trail) fits(stop int64, to float64, again series.Interval) float64 {
	n := 0 // samples before it
	weight, sum := 0.0, 0.0
	for n < len(tr.t) && tr.t[n] < stop {
		weight, sum = weight+tr.w[n], sum+tr.w[n]*(tr.y[n]-tr.usual[n])
		n++
	}
	own := sum / (square(tr.sigma/tr.pass) + weight) // height of this pass over the usual
	moving := -square(own/tr.pass) / 2
	for k := range n {
		moving -= tr.off(k, tr.usual[k]+own)
	}
	var ramps [len(rampsS)]float64
	for k := n; k < len(tr.t); k++ {
		if tr.t[k] >= again.Start {
			cost := tr.off(k, tr.later[k]+own)
			if tr.t[k] < again.End {
				cost = min(cost, tr.off(k, to))
			}
			for i := range ramps {
				ramps[i] -= cost
			}
			continue
		}
		level := tr.usual[k] + own
		at := (tr.t[k] - stop) / rampStep
		if at >= int64(len(rampParts[0])) {
			through := tr.off(k, to)
			for i := range ramps {
				ramps[i] -= through
			}
			continue
		}
		for i := range ramps {
			ramps[i] -= tr.off(k, level+rampParts[i][at]*(to-level))
		}
	}
	return moving + stat.LogSum(ramps[:])
}

// off is what sample k costs at a level. A single one cannot speak for more than most.
func (tr *trail) off(k int, level float64) float64 {
	const most = 4
	return tr.w[k] * min(square((tr.y[k]-level)/tr.sigma)/2, most)
}

func square(x float64) float64 { return x * x }

// point is the time below which share q of the probability lies.
func point(grid []int64, odds []float64, q float64) int64 {
	top := math.Inf(-1)
	for _, o := range odds {
		top = math.Max(top, o)
	}
	whole := 0.0
	for _, o := range odds {
		whole += math.Exp(o - top)
	}
	sum := 0.0
	for i, o := range odds {
		if sum += math.Exp(o - top); sum >= q*whole {
			return grid[i]
		}
	}
	return grid[len(grid)-1]
}
