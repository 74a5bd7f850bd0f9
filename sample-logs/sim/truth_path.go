package sim

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// passes are all pieces that were in the path while the log ran, and the jams they had.
// Without any beam the log knows of no passes, and without commands either of no jams.
//
// A piece that creeps, as one does that starts with its tail on a belt at rest, stands or moves
// by what is called the same place. What stands by half of stillM is a jam and what moves by
// twice of it is none; between the two it is in creeps, and in unsure when it is among the
// jams too.
func (v view) passes() (unsure []int, creeps []schemas.Jam) {
	p := v.world.path
	seen := slices.ContainsFunc(p.belts, v.hasBeam)
	if !seen && !slices.ContainsFunc(p.belts, v.hasCommand) {
		return nil, nil
	}
	all := slices.Concat(p.gone, p.pieces)
	slices.SortFunc(all, func(a, b *piece) int { return cmp.Compare(a.id, b.id) })
	for _, c := range all {
		if c.trace.at(p, len(c.trace.moments)) <= v.start {
			continue
		}
		stops, surely := c.trace.stops(stillM), c.trace.stops(stillM/2)
		for _, s := range stops {
			v.jam(c, s)
		}
		for _, s := range c.trace.stops(2 * stillM) {
			if !slices.ContainsFunc(surely, s.overlaps) {
				creeps = append(creeps, v.stopped(c, s))
			}
		}
		stuck := len(stops) > 0 && stops[len(stops)-1].end == len(c.trace.moments)
		if seen {
			v.pass(c, stuck)
		}
	}
	slices.SortFunc(v.report.Jams, func(a, b schemas.Jam) int { return cmp.Compare(a.StartS, b.StartS) })
	for i, j := range v.report.Jams {
		if slices.ContainsFunc(creeps, func(c schemas.Jam) bool { return *c.Piece == *j.Piece && c.StartS < j.EndS && j.StartS < c.EndS }) {
			unsure = append(unsure, i)
		}
	}
	return unsure, creeps
}

// hasBeam says whether the log has a stage's beam.
func (v view) hasBeam(b *belt) bool {
	return v.world.recorder.clean("path/"+b.name+"/beam") != nil
}

func (v view) hasCommand(b *belt) bool {
	return v.world.recorder.clean("path/"+b.name+"/command") != nil
}

// pass writes down one piece. One that was inside before the log began has no enter, nor
// stages behind it.
func (v view) pass(c *piece, stuck bool) {
	out := schemas.Pass{Piece: c.id, Outcome: schemas.PassHeld}
	t := &c.trace
	for i, b := range v.world.path.belts {
		if math.IsNaN(t.passed[i].enter) {
			continue // never got there
		}
		s := schemas.StagePass{Stage: b.name}
		if v.hasBeam(b) && !v.world.recorder.overlooked(b, c, t.passed[i].enter-v.world.begin) {
			s.EnterS, s.LeaveS = schemas.Some(t.seen[i].enter), schemas.Some(t.seen[i].leave)
		} else {
			s.EnterEstS, s.LeaveEstS = schemas.Some(t.passed[i].enter), schemas.Some(t.passed[i].leave)
		}
		out.Stages = append(out.Stages, s)
	}
	out.EnterS = schemas.Some(t.seen[0].enter)
	switch {
	case t.released:
		out.Outcome, out.Counted = schemas.PassReleased, v.counted(c)
		out.LeaveS = schemas.Some(t.seen[len(t.seen)-1].leave)
	case t.backedOut:
		out.Outcome = schemas.PassBackedOut
		out.LeaveS = schemas.Some(t.mouthLast)
	case stuck:
		out.Outcome = schemas.PassJammed
	}
	v.report.Passes = append(v.report.Passes, out)
}

// counted says whether a released piece came to count, by the counters that the log has. A
// piece still to be counted when the log ends is neither.
func (v view) counted(c *piece) *bool {
	f := v.world.field
	yes, no := true, false
	if v.world.recorder.clean("game/score") == nil || c.trace.given && v.world.recorder.clean("game/handover") == nil {
		return nil
	}
	if c.trace.given {
		return &yes
	}
	for _, e := range f.events {
		if slices.Contains(e.ids, c.id) {
			if v.world.begin+e.at > v.end {
				return nil
			}
			return &yes
		}
	}
	if slices.ContainsFunc(f.landed, func(l landing) bool { return l.id == c.id }) ||
		slices.ContainsFunc(f.flying, func(l flight) bool { return l.id == c.id }) {
		return nil
	}
	return &no
}

// jam writes down one stop. Of one that began before the log did the log holds the rest.
func (v view) jam(c *piece, s stop) {
	out := v.stopped(c, s)
	if out.EndS <= v.start || out.StartS >= v.end {
		return // over before the log began
	}
	out.StartS = max(out.StartS, v.start)
	v.report.Jams = append(v.report.Jams, out)
}

// stopped is one stop as a jam. Its stage is the one whose roller holds the piece's middle;
// between two sensors either neighbour is right.
func (v view) stopped(c *piece, s stop) schemas.Jam {
	p, t := v.world.path, &c.trace
	out := schemas.Jam{
		Stage: p.at(s.x - c.length/2).name, StartS: t.at(p, s.start), EndS: v.end, Confidence: 1, Piece: &c.id,
		Cause: v.cause(c, s), Reversals: t.reversals(s),
	}
	if t.moments[s.start].waits {
		out.Stage = p.last().name
	}
	if s.end < len(t.moments) {
		out.Cleared, out.EndS = true, t.at(p, s.end)
		out.How = t.how(s)
	}
	return out
}

// A piece that came this far from where it stood has gone that way, m.
const wentM = 0.10

// how a stop ended: by which way the piece went in the end.
func (t *trace) how(s stop) string {
	for _, m := range t.moments[s.end:] {
		if m.x > s.x+wentM {
			return schemas.JamMovedOn
		}
	}
	if t.backedOut || !t.released && t.moments[len(t.moments)-1].x < s.x {
		return schemas.JamBackedOut
	}
	return schemas.JamMovedOn
}

// reversals counts how often the stage was run back meanwhile.
func (t *trace) reversals(s stop) int {
	n, back := 0, false
	for _, m := range t.moments[s.start:s.end] {
		if m.command < 0 && !back {
			n++
		}
		back = m.command < 0
	}
	return n
}

// cause is, as schemas/README.md defines it, what the roller did under the standing piece: stood as well (locked) or turned
// on (slipping), over most of the time it was driven, the first moment left out in which it
// ran down. Where that is mixed the place decides: where no beam sees the piece it is
// between beams, else no cause is told.
func (v view) cause(c *piece, s stop) string {
	const stands, runDownS = 0.05, 0.25
	m := c.trace.moments[s.start:s.end]
	if m[0].waits {
		return schemas.JamAtGate
	}
	driven, stood := 0, 0
	for k, at := range m {
		if at.paired {
			return schemas.JamWedgedPair
		}
		if at.command < 0.05 || float64(k)*traceSteps*step < runDownS {
			continue
		}
		driven++
		if math.Abs(at.roller) < stands {
			stood++
		}
	}
	switch share := float64(stood) / float64(max(1, driven)); {
	case driven > 0 && share > 0.6:
		return schemas.JamLocked
	case driven > 0 && share < 0.3:
		return schemas.JamSlipping
	}
	for _, b := range v.world.path.belts {
		if v.hasBeam(b) && s.x >= b.beam && s.x-c.length < b.beam {
			return ""
		}
	}
	return schemas.JamBetweenBeams
}
