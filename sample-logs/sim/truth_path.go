package sim

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// passes are all pieces that were in the path, and the jams they had. A robot that logs
// nothing of its path has neither.
func (v view) passes() {
	p := v.world.path
	if v.world.recorder.clean("path/"+p.belts[0].name+"/beam") == nil {
		return
	}
	all := slices.Concat(p.gone, p.pieces)
	slices.SortFunc(all, func(a, b *piece) int { return cmp.Compare(a.id, b.id) })
	for _, c := range all {
		stops := c.trace.stops(p)
		for _, s := range stops {
			v.jam(c, s)
		}
		stuck := len(stops) > 0 && stops[len(stops)-1].end == len(c.trace.x)
		v.pass(c, stuck)
	}
	slices.SortFunc(v.report.Jams, func(a, b schemas.Jam) int { return cmp.Compare(a.StartS, b.StartS) })
}

func (v view) pass(c *piece, stuck bool) {
	out := schemas.Pass{Piece: c.id, Outcome: schemas.PassHeld}
	t := &c.trace
	for i, b := range v.world.path.belts {
		if math.IsNaN(t.passed[i].enter) {
			continue // never got there
		}
		s := schemas.StagePass{Stage: b.name}
		if v.world.recorder.clean("path/"+b.name+"/beam") != nil {
			s.EnterS, s.LeaveS = schemas.Some(t.seen[i].enter), schemas.Some(t.seen[i].leave)
		} else {
			s.EnterEstS, s.LeaveEstS = schemas.Some(t.passed[i].enter), schemas.Some(t.passed[i].leave)
		}
		out.Stages = append(out.Stages, s)
	}
	out.EnterS = schemas.Some(t.seen[0].enter)
	switch {
	case t.released:
		out.Outcome = schemas.PassReleased
		out.LeaveS = schemas.Some(t.seen[len(t.seen)-1].leave)
	case t.backedOut:
		out.Outcome = schemas.PassBackedOut
		out.LeaveS = schemas.Some(t.mouthLast)
	case stuck:
		out.Outcome = schemas.PassJammed
	}
	v.report.Passes = append(v.report.Passes, out)
}

func (v view) jam(c *piece, s stop) {
	p, t := v.world.path, &c.trace
	out := schemas.Jam{
		Stage: p.at(s.x).name, StartS: t.at(p, s.start), EndS: v.end, Confidence: 1, Piece: &c.id,
	}
	if s.end < len(t.x) {
		out.Cleared, out.EndS = true, t.at(p, s.end)
		out.How = "moved_on"
		if t.backedOut {
			out.How = "backed_out"
		}
	}
	v.report.Jams = append(v.report.Jams, out)
}
