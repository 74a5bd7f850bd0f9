package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// firstLaws are the laws before any piece was followed: from the readings as they are, on
// top of what this robot's past gives.
func (w *way) firstLaws() {
	w.laws = make([]law, w.last+1)
	for slot := range w.laws {
		k, front := inFront(slot)
		w.laws[slot] = fit(nil, w.past(slot), w.beams[k].step/2, w.cfg)
		var seen []took
		switch {
		case front:
			for _, b := range w.beams[k].sound(w.cfg) {
				x := w.clocks[slot].onward(w.waits(slot, b.from, b.to), b.to)
				if !b.atStart && !b.open && x >= w.cfg.MinDrivenS {
					seen = append(seen, took{x: x, done: true})
				}
			}
		default:
			for _, h := range w.rawHops(k) {
				seen = append(seen, took{x: w.clocks[slot-1].onward(h.rise, h.fall) + w.driven(slot, h.fall).onward(h.fall, h.next), done: true})
			}
		}
		w.laws[slot] = fit(seen, w.past(slot), w.beams[k].step/2, w.cfg)
	}
	w.chain()
}

// chain fills in the laws of longer ways, for pieces that a beam missed.
func (w *way) chain() {
	w.ways = make([][]law, len(w.beams))
	for a := range w.beams {
		w.ways[a] = make([]law, len(w.beams)+1)
		for k := a + 1; k <= len(w.beams) && slotOf(k)-1 <= w.last; k++ {
			w.ways[a][k] = w.laws[slotOf(k)-1]
			if k > a+1 {
				w.ways[a][k] = w.ways[a][k-1].and(w.laws[slotOf(k)-1])
			}
		}
	}
}

// past is what this robot's earlier matches say of a slot, a wide guess without any. Time
// spent waiting to be released says nothing of how long a release takes.
func (w *way) past(slot int) belief {
	k, front := inFront(slot)
	name := w.in.Stages[w.beams[k].stage].Name
	switch {
	case slot >= w.wait:
		return guess(w.cfg.PriorDwellS, w.cfg)
	case front:
		return learned(usuals(w.in.History, name, name), w.cfg.PriorDwellS, w.cfg)
	case k+1 < len(w.beams):
		next := w.in.Stages[w.beams[k+1].stage].Name
		return learned(usuals(w.in.History, name, next), w.cfg.PriorTransitS, w.cfg)
	default:
		return guess(w.cfg.PriorTransitS, w.cfg)
	}
}

// relearn fits the laws and the beams' miss rates to the pieces that were followed.
func (w *way) relearn(all []journey) {
	if len(w.beams) == 0 {
		return
	}
	seen := make([][]took, len(w.laws))
	missed, passed := make([]float64, len(w.beams)), make([]float64, len(w.beams))
	was := make([]bool, len(w.beams)) // the piece before was missed
	bounced := 0.0                    // out of the mouth, though it was driven in
	for i, j := range all {
		for n, v := range j.visits {
			if w.free(all, i, v) > v.from || w.blind(v.from, v.to) || w.vague(v) {
				continue // it waited for the piece ahead, or nobody knows
			}
			k, front := inFront(v.slot)
			if front {
				passed[k]++
				if k == 0 && v.how == outMouth && w.heading(k, v.to) > 0 {
					bounced++
				}
				if !v.onward || j.started(w, n) {
					continue
				}
				x := w.clocks[v.slot].onward(w.waits(v.slot, v.from, v.to), v.to)
				if x < w.cfg.MinDrivenS {
					continue // it fell on, or was taken: nothing of how long that takes driven
				}
				if w.overlaps(v) {
					seen[v.slot+1] = append(seen[v.slot+1], took{x: x, done: true, at: v.from, held: w.strains[came{v.slot, v.from}]})
				} else {
					seen[v.slot] = append(seen[v.slot], took{x: x, done: v.next > v.slot, at: v.from, held: w.strains[came{v.slot, v.from}]})
				}
				continue
			}
			if !v.onward || n == 0 || v.how == outGate && v.next > v.slot+1 {
				continue
			}
			for n, x := range w.betweenBeams(v) {
				slot := v.slot + 2*n
				seen[slot] = append(seen[slot], took{x: x, done: v.next > v.slot, at: v.from, held: w.strains[came{v.slot, v.from}]})
			}
		}
		for _, k := range j.missed {
			first, last := j.around(k)
			if !was[k] && !w.beams[k].tellsNothing(first, last) { // one that is blind misses many in a row
				missed[k]++
			}
		}
		for k := range was {
			was[k] = slices.Contains(j.missed, k) || was[k] && !j.seen(k)
		}
	}
	before := w.seen
	common := varietyOf(seen)
	same := w.common == common && len(before) == len(seen)
	w.seen, w.common = seen, common
	for slot := range w.laws {
		if !same || !slices.Equal(before[slot], seen[slot]) { // else its law is what it was
			w.laws[slot] = w.learn(slot, seen[slot])
		}
	}
	w.chain()
	const weight = 30 // passes that MissRate and BounceRate are worth
	w.bounces = min((bounced+weight*w.cfg.BounceRate)/(passed[0]+weight), 0.5)
	for k := range w.misses {
		w.misses[k] = min((missed[k]+weight*w.cfg.MissRate)/(missed[k]+passed[k]+weight), 0.5)
	}
}

// betweenBeams are the driven seconds of a visit between two beams; where beams missed the piece
// that is the time to the next that saw it, and of each way from beam to beam the part that it
// usually has in that.
func (w *way) betweenBeams(v visit) []float64 {
	a := v.slot / 2
	b := max(a+1, v.next/2)
	usual := 0.0
	x := w.dwellShare(a, v.dwell)
	for k := a; k < b; k++ {
		slot := slotOf(k) + 1
		x += w.driven(slot, v.from).onward(w.waits(slot, v.from, v.to), v.to) / float64(b-a)
		usual += w.laws[slot].usual()
	}
	var out []float64
	for k := a; k < b; k++ {
		out = append(out, x*w.laws[slotOf(k)+1].usual()/usual)
	}
	return out
}

// dwellShare is what a stay of x seconds in front of a beam counts for in the time to the
// next.
func (w *way) dwellShare(beam int, x float64) float64 {
	if l := w.laws[slotOf(beam)]; x > l.within(in95) {
		return l.usual()
	}
	return x
}

// believe weighs how far a block is taken for a piece by how long pieces usually stay in
// front of that beam: as long speaks for one, for chatter would be so only by chance, and
// clearly shorter against it, for a jam only lengthens. A longer one says nothing.
func (w *way) believe() {
	const (
		most    = 20.0
		brushed = 0.05 // pieces only brush the beam
	)
	for k := range w.beams {
		l := w.laws[slotOf(k)]
		for i := range w.beams[k].blocks {
			b := &w.beams[k].blocks[i]
			if b.atStart || b.open || l.n < 1 {
				continue
			}
			d := 2 * schemas.Seconds(b.to-b.from) / w.cfg.BlockS
			x := w.floor(w.clocks[slotOf(k)].onward(b.from, b.to), k)
			likelier := math.Exp(l.dist.LogProb(math.Log(x))) / (d * d * math.Exp(-d)) // than a block of any length
			if x < l.usual() && l.n >= 3 {
				likelier = (1-brushed)*likelier + brushed
			} else {
				likelier = max(likelier, 1)
			}
			if likelier = min(likelier, most); likelier > 1 && b.real < 0.2 {
				continue
			}
			yes := b.real * likelier
			b.real = yes / (yes + max(1-b.real, 1e-12))
		}
	}
}

// learn is the law of a slot from the steps seen in it.
func (w *way) learn(slot int, seen []took) law {
	k, _ := inFront(slot)
	prior := w.past(slot)
	prior.sigma = w.common.and(prior.sigma)
	prior.nu += w.common.n * ofCommon
	return fit(seen, prior, w.beams[k].step/2, w.cfg)
}

// ofCommon is how much a pass of another slot is worth for the spread of one: a slot may be less
// regular than the robot is. Chosen by us.
const ofCommon = 1. / 3

// lawWithout is the law of a slot as all visits but one tell it: nothing is usual because it
// happened now. With many visits one makes no difference.
func (w *way) lawWithout(slot int, at int64) law {
	const many = 8
	l := w.laws[slot]
	i := slices.IndexFunc(w.seen[slot], func(a took) bool { return a.at == at })
	if i < 0 || l.n > many {
		return l
	}
	return w.learn(slot, slices.Delete(slices.Clone(w.seen[slot]), i, i+1))
}

// variety is how much the steps of this robot differ from pass to pass, all slots together:
// one slot has few passes, but a robot that is regular in one is so in all.
type variety struct {
	sigma float64 // of ln seconds, robust: jams among the steps do not count
	n     float64 // steps it rests on, less one for each slot's own median
}

func varietyOf(seen [][]took) variety {
	const few = 3
	var out variety
	var residuals []float64
	for _, slot := range seen {
		y := logsDone(slot, 1e-3)
		if len(y) < few {
			continue
		}
		middle := stat.Median(y)
		for _, v := range y {
			residuals = append(residuals, v-middle)
		}
		out.n += float64(len(y) - 1)
	}
	if len(residuals) == 0 {
		return out
	}
	// Residuals from a median of few are shorter than the deviations they stand for.
	out.sigma = stat.MADToSigma * stat.MAD(residuals) * math.Sqrt(float64(len(residuals))/out.n)
	return out
}

// and is the spread that slots share together with a prior guess of it.
func (s variety) and(prior float64) float64 {
	return math.Sqrt((priorPasses*prior*prior + s.n*s.sigma*s.sigma) / (priorPasses + s.n))
}
