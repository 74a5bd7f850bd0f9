package cycles

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// released is a piece that left the path on purpose.
type released struct {
	piece        int   // its number in the report
	enter, leave int64 // µs
	taken        bool  // a score or a hand-over accounts for it
}

// moment is what is known of the pieces that scored at one.
type moment struct {
	entered, left int64 // µs, the last of them into the path and out of it
	pieces        []int // numbers
	trips         int   // they took: one that came in when another had left is of another
}

// enteredOf is when the piece of each scoring moment came into the path, by the moment's
// time; of several pieces, the last one. Pieces are matched to moments in order: the first
// piece in the air is the first to score. One that never scored is passed over once it has
// been away for longer than FlightS, unless more scored than are in the air. A hand-over takes its pieces like a score.
//
// gone are all that left, in order.
func enteredOf(passes []schemas.Pass, scores, handovers []Scored, cfg Config) (out map[int64]moment, gone []released) {
	gone = releasedOf(passes)
	moments := slices.Concat(scores, handovers)
	slices.SortStableFunc(moments, func(a, b Scored) int { return cmp.Compare(a.T, b.T) })
	flight, early := schemas.Micros(cfg.FlightS), schemas.Micros(cfg.EarlyS)
	out = map[int64]moment{}
	before := int64(0)
	for k, m := range moments {
		var mine []*released
		for i := range gone {
			if p := &gone[i]; !p.taken && m.T-flight <= p.leave && p.leave <= m.T+early && len(mine) < m.Pieces {
				mine = append(mine, p)
			}
		}
		// A counter that follows slowly: the last ones released since the moment before.
		for i := len(gone) - 1; i >= 0 && len(mine) < m.Pieces; i-- {
			if p := &gone[i]; !p.taken && p.leave < m.T-flight && (k == 0 || p.leave > before) {
				mine = append(mine, p)
			}
		}
		slices.SortFunc(mine, func(a, b *released) int { return cmp.Compare(a.leave, b.leave) })
		for _, p := range mine {
			p.taken = true
			at, some := out[m.T]
			switch {
			case !some:
				at = moment{entered: p.enter, trips: 1}
			case p.enter > at.left:
				at.trips++
			}
			at.entered, at.left, at.pieces = max(at.entered, p.enter), p.leave, append(at.pieces, p.piece)
			out[m.T] = at
		}
		before = m.T
	}
	return out, gone
}

// counted says of each piece that left, by its number, whether a score or a hand-over accounts
// for it. Of one that left so late that the log may have ended before it was counted, nothing.
// A counter may be written only when it changes, so its own last sample is no end.
func counted(gone []released, last int64, cfg Config) map[int]bool {
	out := map[int]bool{}
	for _, p := range gone {
		if p.taken || p.leave+schemas.Micros(cfg.FlightS) <= last {
			out[p.piece] = p.taken
		}
	}
	return out
}

// wasted are when those left that nothing accounts for, µs, in order.
func wasted(gone []released) []int64 {
	var out []int64
	for _, p := range gone {
		if !p.taken {
			out = append(out, p.leave)
		}
	}
	return out
}

// within counts the times from start to end, and gives the first.
func within(times []int64, start, end int64) (first int64, n int) {
	for _, t := range times {
		if start <= t && t < end {
			if n == 0 {
				first = t
			}
			n++
		}
	}
	return first, n
}

// newest is when the last piece came into the path between start and end. A robot places what
// it has: where the piece that scored seems to have been aboard already while another was
// fetched in between, one piece more was counted on its way in than there was, and all after
// it were taken for the one before. Pieces that backed out are none.
func newest(passes []schemas.Pass, start, end int64) (at int64, ok bool) {
	for _, p := range passes {
		enter := p.EnterS
		if enter == nil && len(p.Stages) > 0 {
			enter = p.Stages[0].EnterEstS
		}
		if enter == nil || p.Outcome == schemas.PassBackedOut {
			continue
		}
		if t := schemas.Micros(*enter); start < t && t < end && (!ok || t > at) {
			at, ok = t, true
		}
	}
	return at, ok
}

// moreLoad are the pieces that a trip fetched beside the first. What that took is no loss.
type moreLoad struct {
	n           int
	first, last int64   // µs, when the first and the last of all came in
	usualS      float64 // what so many more usually take
}

// loadOf are the pieces that came in between start and end and were aboard together at the last.
func loadOf(passes []schemas.Pass, start, end int64) (m moreLoad) {
	last, ok := newest(passes, start, end)
	if !ok {
		return m
	}
	m = moreLoad{n: -1, first: last, last: last}
	for _, p := range passes {
		enter, leave := p.EnterS, p.LeaveS
		if n := len(p.Stages); n > 0 && enter == nil {
			enter = p.Stages[0].EnterEstS
		}
		if enter == nil || p.Outcome == schemas.PassBackedOut {
			continue
		}
		if t := schemas.Micros(*enter); start < t && t <= last && (leave == nil && p.Outcome != schemas.PassReleased || leave != nil && schemas.Micros(*leave) > last) {
			m.n, m.first = m.n+1, min(m.first, t)
		}
	}
	return m
}

func releasedOf(passes []schemas.Pass) []released {
	var out []released
	for _, p := range passes {
		if p.Outcome != schemas.PassReleased {
			continue
		}
		enter, leave := p.EnterS, p.LeaveS
		if n := len(p.Stages); n > 0 {
			if enter == nil {
				enter = p.Stages[0].EnterEstS
			}
			if leave == nil {
				leave = p.Stages[n-1].LeaveEstS
			}
		}
		if enter != nil && leave != nil {
			out = append(out, released{piece: p.Piece, enter: schemas.Micros(*enter), leave: schemas.Micros(*leave)})
		}
	}
	slices.SortStableFunc(out, func(a, b released) int { return cmp.Compare(a.leave, b.leave) })
	return out
}
