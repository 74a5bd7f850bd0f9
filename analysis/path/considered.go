package path

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// consider fills in, for the moments at which the stays of jammed pieces began and ended,
// what the tracker held possible: it follows the pieces once more and looks on.
func (w *way) consider(out *Result) {
	var reasons []*Reason
	for i := range out.JamReasons {
		reasons = append(reasons, &out.JamReasons[i])
	}
	for i := range out.SuspectedReasons {
		reasons = append(reasons, &out.SuspectedReasons[i])
	}
	wanted := map[int64][]schemas.Considered{}
	for _, r := range reasons {
		for _, at := range r.moments {
			wanted[at] = nil
		}
	}
	if len(wanted) == 0 {
		return
	}
	w.witness = func(h happened, before, after []*track) {
		if _, ok := wanted[h.at]; ok {
			wanted[h.at] = append(wanted[h.at], w.held(h, before, after)...)
		}
	}
	w.follow()
	w.witness = nil
	for _, r := range reasons {
		for _, at := range r.moments {
			r.Considered = append(r.Considered, wanted[at]...)
		}
	}
}

// held sums up the explanations of one event by what they say of it, likeliest first;
// those of less than one in a million are left out.
func (w *way) held(h happened, before, after []*track) []schemas.Considered {
	known := map[*step]bool{nil: true}
	for _, t := range before {
		known[t.steps] = true
	}
	odds := map[string][]float64{}
	var all []float64
	for _, t := range after {
		what := says(h, t, known)
		odds[what] = append(odds[what], t.odds)
		all = append(all, t.odds)
	}
	whole := stat.LogSum(all)
	var out []schemas.Considered
	for what, o := range odds {
		const faint = 1e-6
		if share := math.Exp(stat.LogSum(o) - whole); share >= faint {
			out = append(out, schemas.Considered{AtS: schemas.Seconds(h.at), When: w.when(h), What: what, Share: min(share, 1)})
		}
	}
	slices.SortFunc(out, func(a, b schemas.Considered) int {
		return cmp.Or(cmp.Compare(b.Share, a.Share), cmp.Compare(a.What, b.What))
	})
	return out
}

// when is an event in words.
func (w *way) when(h happened) string {
	switch h.what {
	case rose:
		return fmt.Sprintf("the beam of %s became blocked", w.in.Stages[w.beams[h.beam].stage].Name)
	case cleared:
		return fmt.Sprintf("the beam of %s became clear", w.in.Stages[w.beams[h.beam].stage].Name)
	default:
		return "a release was counted"
	}
}

// says is what an explanation says of an event: the last of the steps it took for it.
func says(h happened, t *track, known map[*step]bool) string {
	if known[t.steps] {
		if h.what == released {
			return "nothing left: the count was wrong"
		}
		return "nothing moved: no piece was there any more"
	}
	what := map[move]string{
		born: "a new piece came", onward: "a piece went on", back: "a piece came back",
		outGate: "a piece was released", outMouth: "a piece backed out at the mouth", takenOut: "a piece was taken out by hand",
		lost: "a piece was gone without a trace", nothing: "no piece came: the beam was blocked by nothing",
		overhang: "a piece went on and something kept the beam blocked",
	}[t.steps.move]
	for s := t.steps.before; s != nil && !known[s]; s = s.before {
		if s.move == lost {
			what += ", and one ahead was gone without a trace"
			break
		}
	}
	if t.steps.missed {
		what += ", unseen by a beam on its way"
	}
	return what
}
