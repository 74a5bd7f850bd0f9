package path

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// passes are the journeys in the words of the report. stuck names the pieces whose way
// ended in a jam.
func (w *way) passes(all []journey, stuck map[int]bool) []schemas.Pass {
	out := make([]schemas.Pass, 0, len(all))
	for i, j := range all {
		p := schemas.Pass{Piece: i + 1, Outcome: outcome(j, stuck[i+1])}
		seen := make(map[int]schemas.StagePass)
		for _, v := range j.visits {
			k, front := inFront(v.slot)
			if _, again := seen[k]; !front || again || v.blk < 0 {
				continue // the first time it came is when it entered
			}
			// Of a piece that stood there when the log began that is the log's first sample.
			st := schemas.StagePass{EnterS: schemas.Some(schemas.Seconds(v.from))}
			b := w.beams[k].blocks[v.blk]
			if !b.open && v.how != stays {
				st.LeaveS = schemas.Some(schemas.Seconds(w.leftBeam(v)))
			}
			seen[k] = st
		}
		p.Stages = w.stagePasses(j, seen)
		for _, st := range p.Stages {
			if p.EnterS = st.EnterS; p.EnterS != nil {
				break
			}
		}
		if last := j.visits[len(j.visits)-1]; last.how != stays {
			p.LeaveS = schemas.Some(schemas.Seconds(last.to))
		}
		out = append(out, p)
	}
	return out
}

func outcome(j journey, stuck bool) string {
	switch {
	case j.outcome == outGate:
		return schemas.PassReleased
	case stuck:
		return schemas.PassJammed
	case j.outcome == stays:
		return schemas.PassHeld
	case j.outcome == lost && j.visits[len(j.visits)-1].slot > 0:
		return schemas.PassReleased // it was passed, so it is out, and nothing says it went back
	default:
		return schemas.PassBackedOut
	}
}

// leftBeam is the first clear sample after the piece stood in front of its beam. A beam
// that stayed blocked by something else after the piece was seen further on says only that.
func (w *way) leftBeam(v visit) int64 {
	k, _ := inFront(v.slot)
	b := w.beams[k].blocks[v.blk]
	return max(b.to, v.to)
}

// stagePasses are all stages in order: those a beam saw, and estimates for the others the
// piece was in.
func (w *way) stagePasses(j journey, seen map[int]schemas.StagePass) []schemas.StagePass {
	stages := make([]schemas.StagePass, len(w.in.Stages))
	for i, st := range w.in.Stages {
		stages[i].Stage = st.Name
	}
	reached := -1 // furthest stage it was in
	for k, st := range seen {
		i := w.beams[k].stage
		stages[i].EnterS, stages[i].LeaveS = st.EnterS, st.LeaveS
		reached = max(reached, i)
	}
	for _, v := range j.visits {
		if _, front := inFront(v.slot); !front && v.next > v.slot {
			reached = max(reached, w.beams[v.slot/2].stage)
		}
		if _, front := inFront(v.slot); !front && v.slot == w.last {
			reached = len(stages) - 1
		}
	}
	if j.outcome == outGate {
		reached = len(stages) - 1
	}
	w.estimate(stages, j, reached)
	return stages
}

// estimate fills in the stages without a beam and those whose beam missed the piece: evenly
// spaced over the time between what was seen before and after, each for as long as stages
// with a beam usually hold a piece.
func (w *way) estimate(stages []schemas.StagePass, j journey, reached int) {
	seen := func(i int) bool { return stages[i].EnterS != nil || stages[i].LeaveS != nil }
	for i := 1; i <= reached; i++ { // nothing before the first beam says when it came
		if seen(i) || !seen(i-1) {
			continue
		}
		n := i
		for n <= reached && !seen(n) {
			n++
		}
		from := stages[i-1].LeaveS
		if from == nil {
			from = stages[i-1].EnterS
		}
		last := j.visits[len(j.visits)-1]
		switch {
		case n <= reached && stages[n].EnterS != nil:
			w.spreadOver(stages[i:n], *from, *stages[n].EnterS)
		case n > reached && last.how != stays:
			w.spreadOver(stages[i:n], *from, schemas.Seconds(last.to))
		default:
			stages[i].EnterEstS = schemas.Some(*from) // in there still
		}
		i = n
	}
}

func (w *way) spreadOver(stages []schemas.StagePass, from, to float64) {
	var usual []float64
	for k := range w.beams {
		if slotOf(k) < w.wait {
			usual = append(usual, w.laws[slotOf(k)].usual())
		}
	}
	n := float64(len(stages))
	each := max(to-from, 0) / (n + 1)
	half := each / 2
	if len(usual) > 0 {
		half = min(half, stat.Median(usual)/2)
	}
	for k := range stages {
		middle := from + float64(k+1)*each
		stages[k].EnterEstS = schemas.Some(middle - half)
		stages[k].LeaveEstS = schemas.Some(middle + half)
	}
}
