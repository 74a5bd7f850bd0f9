package path

import (
	"cmp"
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Kinds of sensor faults of this analysis.
const (
	stuckTrue  = "stuck true"
	stuckFalse = "stuck false"
	flickering = "flicker"
)

// faults are stretches in which a beam cannot be true: blocked by nothing, blind to pieces
// that the beams on either side saw, or chattering. One blocked while its stage jammed was
// blocked by what jammed there.
func (w *way) faults(all []journey, sensor []unseen, jams []schemas.Jam) []schemas.Fault {
	var out []schemas.Fault
	add := func(k int, kind string, from, to int64, note string) {
		out = append(out, schemas.Fault{
			Signal: w.in.Stages[w.beams[k].stage].Sensor.Name, Kind: kind,
			StartS: schemas.Seconds(from), EndS: schemas.Seconds(to), Note: note,
		})
	}
	for _, u := range sensor {
		if u.blk < 0 {
			continue
		}
		b := w.beams[u.beam].blocks[u.blk]
		if w.beams[u.beam].mostlyFlickers(u.from, b.to) {
			continue // that is said already
		}
		if w.jammedThere(jams, u) {
			continue // what stood there was no sensor's doing
		}
		if lasted := schemas.Seconds(b.to - u.from); lasted >= w.cfg.StuckS && !w.ranInto(all, u) {
			add(u.beam, stuckTrue, u.from, b.to, fmt.Sprintf("blocked for %.1f s by no piece", lasted))
		}
	}
	for k, b := range w.beams {
		for _, f := range b.flicker {
			add(k, flickering, f.Start, f.End, fmt.Sprintf("at least %d false readings in a second", w.cfg.FlickerCount))
		}
		if from, to, n := w.blindStretch(all, k); n >= 2 {
			add(k, stuckFalse, from, to, fmt.Sprintf("%d pieces passed it unseen", n))
		}
	}
	if from, to, n := w.darkStretch(all); n >= mostMiscounts {
		for k := range w.beams {
			add(k, stuckFalse, from, to, fmt.Sprintf("%d pieces were counted out and none was seen", n))
		}
	}
	slices.SortStableFunc(out, func(a, b schemas.Fault) int {
		return cmp.Or(cmp.Compare(a.StartS, b.StartS), cmp.Compare(a.Signal, b.Signal))
	})
	return out
}

// jammedThere is whether a beam's stage was jammed for most of the time it was blocked by no piece
// that was followed.
func (w *way) jammedThere(jams []schemas.Jam, u unseen) bool {
	b := &w.beams[u.beam]
	blocked := series.Interval{Start: u.from, End: b.blocks[u.blk].to}
	return slices.ContainsFunc(jams, func(j schemas.Jam) bool {
		jam := series.Interval{Start: schemas.Micros(j.StartS), End: schemas.Micros(j.EndS)}
		return j.Stage == w.in.Stages[b.stage].Name && 2*jam.Overlap(blocked) > blocked.Len()
	})
}

// mostMiscounts is from how many pieces in a row on that no beam sees what was counted: fewer
// may be counts that are none.
const mostMiscounts = 3

// darkStretch is the longest row of counted pieces of which no beam saw any while it saw
// nothing else either, and when. A count that mostly finds no piece counts something else.
func (w *way) darkStretch(all []journey) (from, to int64, n int) {
	left := map[int64]bool{}
	for _, j := range all {
		if last := j.visits[len(j.visits)-1]; last.how == outGate {
			left[last.to] = true
		}
	}
	var f int64
	row, lone := 0, 0
	for _, g := range w.gone {
		if left[g.at] {
			row = 0
			continue
		}
		lone++
		before := w.in.Start
		for _, b := range w.beams {
			for _, blk := range b.blocks {
				if blk.from <= g.at && blk.real > 0.5 {
					before = max(before, blk.to)
				}
			}
		}
		if row == 0 || before > f {
			f, row = before, 0
		}
		if row++; row > n && f < g.at {
			from, to, n = f, g.at, row
		}
	}
	if lone-n > len(left) || len(left) < mostMiscounts {
		return 0, 0, 0
	}
	return from, to, n
}

// ranInto is whether another piece was passing the beam while it was blocked by what
// should not have been there: then two pieces ran into each other, and the beam was right.
func (w *way) ranInto(all []journey, u unseen) bool {
	b := w.beams[u.beam].blocks[u.blk]
	for _, j := range all {
		for n, v := range j.visits {
			if n == 0 || v.from < u.from || v.slot <= slotOf(u.beam) || j.visits[n-1].slot >= slotOf(u.beam) {
				continue
			}
			// It passed without a reading of its own. If it was through before the beam
			// cleared, the beam was stuck; else it is what cleared it.
			if l := w.laws[slotOf(u.beam)]; v.from >= b.to && v.from-b.to < schemas.Micros(3*l.usual()+1) {
				return true
			}
		}
	}
	return false
}

// blindAt is whether the piece that passed beam k last before a time, or first after it,
// passed unseen.
func (w *way) blindAt(all []journey, k int, at int64) bool {
	before, after := false, false
	for _, j := range all {
		missed := slices.Contains(j.missed, k)
		if !missed && !j.seen(k) {
			continue
		}
		when, _ := j.around(k)
		if when >= at {
			after = missed
			break
		}
		before = missed
	}
	return before || after
}

// blindStretch is the longest row of pieces that passed beam k unseen, and when.
func (w *way) blindStretch(all []journey, k int) (from, to int64, n int) {
	var f, t int64
	row := 0
	for _, j := range all {
		switch {
		case j.seen(k):
			row = 0
		case slices.Contains(j.missed, k):
			first, last := j.around(k)
			if w.beams[k].index(first) >= 0 || w.beams[k].index(last) >= 0 || w.beams[k].tellsNothing(first, last) {
				continue // blocked, by another piece or for good, or told nothing: it could not show this one
			}
			if w.mayHaveBeenIn(j, k) {
				continue
			}
			if row == 0 {
				f = first
			}
			t = last
			if row++; row > n {
				from, to, n = f, t, row
			}
		}
	}
	return from, to, n
}

// mayHaveBeenIn is whether a piece that was first seen beyond beam k may have been there when the
// log began.
func (w *way) mayHaveBeenIn(j journey, k int) bool {
	first, _ := inFront(j.visits[0].slot)
	return first > k && w.withinWay(k, first, j.visits[0].from)
}

// seen is whether beam k showed a piece.
func (j *journey) seen(k int) bool {
	return slices.ContainsFunc(j.visits, func(v visit) bool { return v.slot == slotOf(k) })
}

// around is when a piece that beam k missed was seen before it and after it.
func (j *journey) around(k int) (before, after int64) {
	before = j.visits[0].from
	for _, v := range j.visits {
		if v.slot < slotOf(k) {
			before, after = v.from, v.to
		}
	}
	return before, max(before, after)
}
