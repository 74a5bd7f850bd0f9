package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// passes are the journeys in the words of the report. stuck names the pieces whose way
// ended in a jam.
func (w *way) passes(all []journey, stuck map[int]bool) []schemas.Pass {
	out := make([]schemas.Pass, 0, len(all))
	for i, j := range all {
		p := schemas.Pass{Piece: i + 1, Outcome: outcome(j, stuck[i+1])}
		seen := make(map[int]schemas.StagePass)
		for n, v := range j.visits {
			k, front := inFront(v.slot)
			if _, again := seen[k]; !front || again || v.blk < 0 {
				continue // the first time it came is when it entered
			}
			st := schemas.StagePass{}
			b := w.beams[k].blocks[v.blk]
			if !j.started(w, n) {
				st.EnterS = schemas.Some(schemas.Seconds(v.from))
			}
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

// summary is each stage over the match.
func (w *way) summary(all []journey, jams []schemas.Jam) []schemas.StageSum {
	out := make([]schemas.StageSum, len(w.in.Stages))
	for i, st := range w.in.Stages {
		k := slices.IndexFunc(w.beams, func(b beam) bool { return b.stage == i })
		out[i] = schemas.StageSum{Stage: st.Name, Sensor: k >= 0, Passes: w.entered(all, i)}
		disturbed := map[int]bool{}
		for _, j := range jams {
			if j.Piece != nil {
				disturbed[*j.Piece] = true
			}
			if j.Stage == st.Name {
				out[i].Jams++
			}
		}
		if k < 0 {
			continue
		}
		var today []float64
		for n, j := range all {
			if !disturbed[n+1] {
				today = append(today, w.transits(j, k)...)
			}
		}
		out[i].TransitS = schemas.Some(stat.Median(today))
		next := i
		if k+1 < len(w.beams) {
			next = w.beams[k+1].stage
		}
		past := usuals(w.in.History, st.Name, w.in.Stages[next].Name)
		out[i].UsualPasses = len(past)
		out[i].UsualS = schemas.Some(stat.Median(past))
		out[i].UsualLowS = schemas.Some(stat.Quantile(0.1, past))
		out[i].UsualHighS = schemas.Some(stat.Quantile(0.9, past))
	}
	return out
}

// transits are the seconds a piece took from entering beam k to entering the next, or to
// leaving the last.
func (w *way) transits(j journey, k int) []float64 {
	enter, out := int64(math.MinInt64), []float64(nil)
	for n, v := range j.visits {
		switch {
		case v.slot == slotOf(k) && v.onward && !j.started(w, n):
			enter = v.from
			if k == len(w.beams)-1 && v.next > v.slot {
				out = append(out, schemas.Seconds(v.to-enter))
			}
		case v.slot == slotOf(k+1) && v.onward && enter != math.MinInt64:
			out = append(out, schemas.Seconds(v.from-enter))
			enter = math.MinInt64
		case v.slot < slotOf(k):
			enter = math.MinInt64
		}
	}
	return out
}

// entered counts the pieces that came into a stage.
func (w *way) entered(all []journey, stage int) int {
	n := 0
	for _, j := range all {
		in := false
		for _, v := range j.visits {
			first, last := w.stages(v.slot)
			_, front := inFront(v.slot)
			switch {
			case front:
				in = in || stage == first
			case v.next > v.slot || v.slot == w.last:
				in = in || stage >= first && stage < last || stage == last && v.slot == w.last
			default:
				in = in || stage > first && stage < last
			}
		}
		for _, k := range j.missed {
			in = in || w.beams[k].stage == stage
		}
		if in {
			n++
		}
	}
	return n
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
