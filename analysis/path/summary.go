package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

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
