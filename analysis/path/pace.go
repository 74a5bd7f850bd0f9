package path

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// A slick piece, a soft or a heavy one, takes half as long again or twice as long as others:
// in one stage as in the next, and its rollers slip and work harder on it without its ever
// standing still. That it was slow elsewhere on its way is the best sign of one.

// slickLaw is how long slick pieces take, as ln of the share of the usual. Chosen by us: two in
// three take 1.2 to 2.3 times as long.
var slickLaw = distuv.Normal{Mu: 0.5, Sigma: 0.35}

// pace is what the rest of a piece's way says of it.
type pace struct {
	slick float64       // probability that it is slick
	law   distuv.Normal // then: ln seconds over the usual in any slot
}

// slick looks at all visits of a piece but one.
func (w *way) slick(j journey, but int) pace {
	const likeOthers = 0.15 // how much a slick piece's ln pace differs from slot to slot; chosen by us
	odds := math.Log(slowPieces / (1 - slowPieces))
	weight := 1 / square(slickLaw.Sigma)
	sum := slickLaw.Mu * weight
	for n, v := range j.visits {
		y, l, ok := w.paceOf(j, n, v)
		if n == but || !ok || w.jammed[came{v.slot, v.from}] {
			continue // a stay in which it was stuck says nothing of how it moves
		}
		z := y - l.dist.Mu
		if z > math.Ln2+2*slickLaw.Sigma {
			continue // so slow it stood there: that says nothing of how it moves
		}
		odds += slickLaw.LogProb(z) - l.dist.LogProb(y)
		each := 1 / (square(likeOthers) + square(l.dist.Sigma))
		weight, sum = weight+each, sum+each*z
	}
	return pace{
		slick: 1 / (1 + math.Exp(-odds)),
		law:   distuv.Normal{Mu: sum / weight, Sigma: math.Sqrt(1/weight + square(likeOthers))},
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
