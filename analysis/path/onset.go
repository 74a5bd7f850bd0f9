package path

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// When progress stopped is nowhere measured. What is known: the piece was moving when it
// came into its slot, it should have been through by the usual time, and if its motor tells
// of the jam, then the motor changed a little after the piece stood. So before the motor is
// asked the moment lies anywhere in the time the slot takes, and each sample of the motor
// then speaks for "standing already" or "still moving". The start is the middle of what
// that leaves, its range the 5 and 95 % points.

// lagS is how long after a piece stands its motor shows it: the piece is squeezed, the roller
// digs in, the current rises. As likely to be long as a decay of that mean; chosen by us.
const lagS = 0.07

// edgeS widens the range on both sides: beams are sampled, and a piece counts as standing
// from when it is within a centimetre of where it stops. Chosen by us.
const edgeS = 0.02

// begin estimates when progress stopped.
func (s *stand) begin(w *way) {
	c := w.driven(s.slot, s.visit.from, s.freed)
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
		odds[i] = s.due(x) + math.Log(x-was+1e-4) // it cannot come to a stop while nothing moves it
	}
	if s.motor != nil && (s.lock > 1 || s.strain > 1) {
		s.timed = s.motor.tells(grid, s.motor.hardest(s.from, s.to), odds)
	}
	edge := schemas.Micros(edgeS)
	s.low, s.start, s.high = point(grid, odds, 0.05), point(grid, odds, 0.5), point(grid, odds, 0.95)
	if s.timed {
		s.start = max(s.start-schemas.Micros(lagS*math.Ln2), s.from)
		s.low = max(s.low-schemas.Micros(lagS*3), s.from)
	}
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
	const most, fine = 400, 10_000 // µs
	last := min(s.to, c.after(s.from, s.move*math.Max(s.law.in99/s.law.usual(), 1.2)))
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

// tells adds to the log odds of each moment what the motor's samples from it on, up to the
// moment it was strained most, say for a piece that stands against one that moves. It is
// false when the motor says nothing.
func (m *motor) tells(grid []int64, h moment, odds []float64) bool {
	until := max(h.ampsAt, h.ratioAt)
	if !math.IsNaN(h.ratio) && h.ratio < standing {
		until = h.ratioAt
	}
	i, k := series.From(m.t, grid[0]), series.From(m.t, until)-1
	if k < i {
		return false
	}
	sum := 0.0
	for n := len(grid) - 1; n >= 0; n-- {
		if grid[n] > until {
			odds[n] = math.Inf(-1)
			continue
		}
		for ; k >= i && m.t[k] >= grid[n]; k-- {
			sum += m.stands(k, h)
		}
		odds[n] += sum
	}
	return true
}

// stands is the log-odds, from sample k, that the piece stands as at moment h rather than
// moves as usual. Samples closer than rippleS say the same thing twice.
func (m *motor) stands(k int, h moment) float64 {
	const (
		rippleS = 0.03
		most    = 2
	)
	if !m.settled[k] || k+1 >= len(m.t) {
		return 0
	}
	odds := 0.0
	if y := math.Log(max(m.drive.amps[k], 0) + offset); !math.IsNaN(y) && !math.IsNaN(h.amps) && h.amps > m.amps.Mu {
		odds += closer(y, h.amps, m.amps.Mu, m.rippleA)
	}
	if r := m.drive.ratio[k]; !math.IsNaN(r) && !math.IsNaN(h.ratio) && h.ratio < m.ratio.Mu {
		odds += closer(r, h.ratio, m.ratio.Mu, m.rippleR)
	}
	step := schemas.Seconds(m.t[k+1] - m.t[k])
	return max(min(odds, most), -most) * min(step/rippleS, 1)
}

// closer is the log-odds of x under a normal law about a against one about b.
func closer(x, a, b, sigma float64) float64 {
	return ((x-b)*(x-b) - (x-a)*(x-a)) / (2 * sigma * sigma)
}

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
