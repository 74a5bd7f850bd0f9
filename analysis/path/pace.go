package path

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"gonum.org/v1/gonum/stat/distuv"
)

// Pieces differ: one is a little longer, heavier or harder than the next, and the battery is
// fuller for the first than for the last. What makes a piece slow in one stage makes it slow in
// all, so how it went elsewhere on its way tells how long it should take here, more narrowly
// than all pieces together do. How much of their differences pieces keep from slot to slot is
// learned from the log (shareOwn).
//
// A few are slick, soft or much heavier than others. They take half as long again or twice as
// long: in one stage as in the next, and its rollers slip and work harder on them without their
// ever standing still. That a piece was slow elsewhere is the best sign of one.

// slickLaw is how long slick pieces take, as ln of the share of the usual. Chosen by us: two in
// three take 1.2 to 2.3 times as long.
var slickLaw = distuv.Normal{Mu: 0.5, Sigma: 0.35}

// pace is what the rest of a piece's way says of how it goes in a slot.
type pace struct {
	slick  float64       // probability that it is slick
	law    distuv.Normal // then: ln seconds over the usual in any slot
	off    float64       // if it is not: how far it is from the usual, in spreads of the slot's law
	narrow float64       // and its own spread over that of the slot's law
}

// reading is how long one visit took that went all the way.
type reading struct {
	y   float64 // ln driven seconds
	law law     // of all pieces there
	at  came
	ok  bool
}

// readings are those of all visits of all pieces.
func (w *way) readings(all []journey) [][]reading {
	out := make([][]reading, len(all))
	for i, j := range all {
		out[i] = make([]reading, len(j.visits))
		for n, v := range j.visits {
			y, l, ok := w.paceOf(j, n, v)
			out[i][n] = reading{y: y, law: l, at: came{v.slot, v.from}, ok: ok}
		}
	}
	return out
}

// tells is whether a reading says how its piece moves: a stay in which it was stuck, or so slow
// that it stood there, says nothing of that.
func (r reading) tells(w *way) bool {
	return r.ok && !w.jammed[r.at] && r.y-r.law.dist.Mu <= math.Ln2+2*slickLaw.Sigma
}

// spreads is by how many spreads of its law a reading is off. One alone cannot speak for more
// than most.
func (r reading) spreads() float64 {
	const most = 3
	return min(max((r.y-r.law.dist.Mu)/r.law.dist.Sigma, -most), most)
}

// shareOwn is the share of what readings differ by that a piece keeps from slot to slot, shrunk
// towards a guess. Guess and its weight, in pieces, chosen by us.
func (w *way) shareOwn(all [][]reading) float64 {
	const guess, worth, most = 0.3, 4.0, 0.9
	var pieces [][]float64
	for _, piece := range all {
		var own []float64
		for _, r := range piece {
			if r.tells(w) {
				own = append(own, r.spreads())
			}
		}
		if len(own) > 1 {
			pieces = append(pieces, own)
		}
	}
	share, ok := stat.Intraclass(pieces)
	if !ok {
		return guess
	}
	n := float64(len(pieces))
	return min(max((n*share+worth*guess)/(n+worth), 0), most)
}

// pace looks at all readings of a piece but one, of which a share is its own.
func (w *way) pace(piece []reading, but int, own float64) pace {
	const likeOthers = 0.15 // how much a slick piece's ln pace differs from slot to slot; chosen by us
	odds := math.Log(slowPieces / (1 - slowPieces))
	weight := 1 / square(slickLaw.Sigma)
	sum := slickLaw.Mu * weight
	k, off := 0.0, 0.0
	for n, r := range piece {
		if n == but || !r.tells(w) {
			continue
		}
		k, off = k+1, off+r.spreads()
		z := r.y - r.law.dist.Mu
		odds += slickLaw.LogProb(z) - r.law.dist.LogProb(r.y)
		each := 1 / (square(likeOthers) + square(r.law.dist.Sigma))
		weight, sum = weight+each, sum+each*z
	}
	// Of one more reading, where a share own of the variance is the piece's and k readings told
	// of it.
	told := own / (1 + max(k-1, 0)*own)
	return pace{
		slick:  1 / (1 + math.Exp(-odds)),
		law:    distuv.Normal{Mu: sum / weight, Sigma: math.Sqrt(1/weight + square(likeOthers))},
		off:    told * off,
		narrow: math.Sqrt(1 - own*told*k),
	}
}

// paceOf is ln of the driven seconds of a visit that went all the way, and its law.
func (w *way) paceOf(j journey, n int, v visit) (y float64, l law, ok bool) {
	k, front := inFront(v.slot)
	if v.slot >= w.wait || !v.onward || v.next != v.slot+1 || v.how != onward || j.started(w, n) || w.vague(v) || w.blind(v.from, v.to) {
		return 0, law{}, false
	}
	x := w.driven(v.slot, v.from).onward(v.from, v.to)
	if !front {
		x += w.dwellShare(k, v.dwell)
	}
	l = w.laws[v.slot]
	return math.Log(w.floor(x, k)), l, l.n >= 3
}
