package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// motors learns what each stage's motor does when pieces pass undisturbed.
func (w *way) motors(all []journey) []motor {
	out := make([]motor, len(w.drives))
	for i, d := range w.drives {
		var undisturbed []clean
		good := map[place][]moment{}
		for n, j := range all {
			for _, v := range j.visits {
				first, last := w.span(v)
				if i < first || i > last || v.slot >= w.wait || w.jammed[came{v.slot, v.from}] {
					continue
				}
				c := w.driven(v.slot, v.from)
				x := c.onward(v.from, v.to)
				free := w.free(all, n, v) <= v.from
				if free && x <= w.laws[v.slot].within(in90) {
					undisturbed = append(undisturbed, d.passage(v, c).clean)
				}
				if x <= 2*w.laws[v.slot].within(in99) { // slower ones too: what strains a motor makes them slow
					near := company(all, n, v)
					for long, m := range d.passage(v, c).hardest {
						at := place{v.slot, near, long}
						if !(m.ratio <= standing) {
							good[at] = append(good[at], m)
						}
					}
				}
			}
		}
		out[i] = newMotor(d, undisturbed)
		for at, moments := range good {
			out[i].yards[at] = newYardsticks(moments)
		}
	}
	return out
}

// stalls are stands of a motor in which no piece was followed: a jam before the first beam
// or past the last, in a stage no beam sees into, or of a piece that its beam missed. Where
// a beam should have shown the piece that speaks against it.
func (w *way) stalls(all []journey, known []found, motors []motor) []found {
	var out []found
	for i := range motors {
		m := &motors[i]
		if !m.clock.told || m.clock.lent || math.IsNaN(m.amps.Mu) && math.IsNaN(m.ratio.Mu) {
			continue
		}
		for _, r := range m.stretches(w.cfg) {
			odds, amps, ratio := m.locked(r.Start, r.End)
			piece, explained := w.explained(all, known, i, r, ratio)
			if explained || odds < 2 {
				continue
			}
			s := stand{visit: visit{slot: -2, from: r.Start, to: r.End, how: onward}, stage: i, motor: m, lock: odds, amps: amps, ratio: ratio}
			s.from = m.before(r.Start)
			s.timeStall(r)
			s.turned = turns(m.clock, r.Start, r.End+1_000_000)
			s.weighStall(w, piece)
			f := w.report(s, piece)
			f.jam.Cleared = r.End < w.in.End
			switch {
			case piece == 0:
				f.jam.Piece = nil
			case all[piece-1].wentBack(r.Start):
				f.jam.How = schemas.JamBackedOut
			}
			if !f.jam.Cleared {
				f.jam.How = ""
			}
			out = append(out, f)
		}
	}
	return out
}

// drivenOut is whether a slot in which pieces wait was driven to release for most of a stretch, as
// far as this match tells what does that.
func (w *way) drivenOut(all []journey, slot int, r series.Interval) bool {
	return w.released(all) && w.clocks[slot].told && 2*w.clocks[slot].onward(r.Start, r.End) > schemas.Seconds(r.Len())
}

// wentBack is whether a piece went back from where it was at a time.
func (j *journey) wentBack(at int64) bool {
	return slices.ContainsFunc(j.visits, func(v visit) bool { return v.from <= at && at < v.to && v.next < v.slot })
}

// timeStall estimates when the roller that stands in a stretch was first held: it was driven
// and turning for a moment before, or it was held as soon as it was driven.
func (s *stand) timeStall(r series.Interval) {
	s.start, s.low, s.high, s.end = s.from, s.from, r.Start, r.End
	const step = 10_000 // µs
	var grid []int64
	for at := s.from; at <= r.Start; at += step {
		grid = append(grid, at)
	}
	odds := make([]float64, len(grid))
	if shown, _, ok := s.motor.tells(s, relay{{math.MinInt64, s.motor.clock}}, grid, odds); ok {
		s.timed = true
		odds = sum(odds, shown)
		s.low, s.start, s.high = point(grid, odds, 0.05), point(grid, odds, 0.5), point(grid, odds, 0.95)
	}
	edge := schemas.Micros(edgeS)
	s.low, s.high = s.low-edge, s.high+edge
}

// before is from when on, at most a run-down and the time to settle before a stretch in
// which the motor stood, it had been driven onward.
func (m *motor) before(stood int64) int64 {
	const most = 600_000 // µs
	i := series.From(m.t, stood)
	for i > 0 && m.clock.rate[i-1] > 0 && stood-m.t[i-1] < most {
		i--
	}
	return m.t[min(i, len(m.t)-1)]
}

// weighStall weighs a stand of the motor; piece is the one that was there, 0 for none seen.
func (s *stand) weighStall(w *way, piece int) {
	s.put(schemas.WeighedPrior, math.Log(w.cfg.JamRate/(1-w.cfg.JamRate)), "stages rarely jam")
	s.put(schemas.WeighedMotor, s.lock, "the motor was held fast while driven")
	if s.turned > 0 {
		s.put(schemas.WeighedReversed, 1, "the driver reversed")
	}
	if piece > 0 {
		s.put(schemas.WeighedPiece, 1, "a piece was there")
		return
	}
	hidden := w.in.Stages[s.stage].Sensor == nil
	if hidden && len(w.beams) > 0 && s.stage > w.beams[0].stage && s.stage < w.beams[len(w.beams)-1].stage {
		hidden = false // a piece in there would have been seen on its way in
	}
	if k := slices.IndexFunc(w.beams, func(b beam) bool { return b.stage == s.stage }); k >= 0 {
		_, hidden = w.blockedBetween(k, s.start, s.end)
	}
	if hidden {
		s.put(schemas.WeighedPiece, -0.5, "no beam could have shown a piece come here")
	} else {
		s.put(schemas.WeighedPiece, -3, "no beam saw a piece come here")
	}
}

// stretches are those in which the motor was held fast for MinJamS or longer, short looser
// moments inside included. Held fast again soon, or before the motor was driven on and turned
// for a while, it is the same piece: however long the stage rested meanwhile, that stood.
func (m *motor) stretches(cfg Config) []series.Interval {
	var out []series.Interval
	const (
		loose = 150_000   // µs
		soon  = 5_000_000 // µs; chosen by us
	)
	var turned []int64 // by stretch: µs for which it had turned when that began
	free := int64(0)
	for i, at := range m.t {
		to := m.clock.end
		if i+1 < len(m.t) {
			to = m.t[i+1]
		}
		if !m.heldFast(i) {
			if m.settled[i] {
				free += to - at
			}
			continue
		}
		if n := len(out); n > 0 && at-out[n-1].End < loose {
			out[n-1].End = to
			continue
		}
		out, turned = append(out, series.Interval{Start: at, End: to}), append(turned, free)
	}
	least := schemas.Micros(cfg.MinJamS)
	long, until := out[:0], int64(0) // until: for how long it had turned when the last long one ended
	for i, r := range out {
		if r.Len() < least {
			continue
		}
		again := len(long) > 0 && (r.Start-long[len(long)-1].End < soon || turned[i]-until < least)
		until = turned[i]
		if again {
			long[len(long)-1].End = r.End
			continue
		}
		long = append(long, r)
	}
	return long
}

// explained is whether what was followed accounts for a stall of a stage's motor: a jam that
// is known, or a piece in it or just behind. None accounts for a roller that is seen to stand,
// however long pieces usually take there (they may all have jammed), and though it may be pressed
// against one ahead, for there a roller slips; but for one that waits at the gate. The piece is
// returned by its number.
func (w *way) explained(all []journey, known []found, stage int, r series.Interval, ratio float64) (piece int, ok bool) {
	const near = 300_000 // µs
	for _, f := range known {
		if w.believed(f) && schemas.Micros(f.jam.StartS) < r.End && schemas.Micros(f.jam.EndS) > r.Start {
			return 0, true
		}
	}
	for n, j := range all {
		for _, v := range j.visits {
			first, last := w.span(v)
			if stage < first-1 || stage > last+1 || v.from >= r.End+near || v.to <= r.Start-near {
				continue
			}
			if !(ratio <= standing) || v.slot >= w.wait && !w.drivenOut(all, v.slot, r) {
				return 0, true
			}
			if first <= stage && stage <= last && v.from <= r.Start && r.End <= v.to+near {
				piece = n + 1
			}
		}
	}
	return piece, false
}
