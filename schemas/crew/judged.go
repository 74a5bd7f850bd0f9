package crew

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// sameStart is by how many seconds the start of a finding may move between two analyses and
// still be the same one: onsets are known to tenths of a second, and what is told apart lies
// seconds apart. Chosen by us.
const sameStart = 1.0

// Judged is what the crew said of a report's findings, by id: Happened or DidNot. A finding
// that nobody said anything of, or whose verdict was taken back, is not in it.
//
// A verdict belongs to the finding of its id if that starts within a second of where it did;
// otherwise, since a new analysis may number findings anew, to the one of the same kind and
// place that starts nearest, within a second. One that fits no finding speaks of something
// this analysis does not say any more.
func Judged(r *schemas.Report, verdicts []Note) map[string]string {
	out := map[string]string{}
	for _, n := range verdicts {
		f := findingOf(r, n)
		switch {
		case f == nil:
		case n.Happened == Unsaid:
			delete(out, f.ID)
		default:
			out[f.ID] = n.Happened
		}
	}
	return out
}

func findingOf(r *schemas.Report, n Note) *schemas.Finding {
	var nearest *schemas.Finding
	least := math.Inf(1)
	for i := range r.Findings {
		f := &r.Findings[i]
		d := math.Abs(f.StartS - n.StartS)
		if f.Kind != n.FindingKind || !(d <= sameStart) {
			continue
		}
		if f.ID == n.Finding {
			return f
		}
		if place(f.ID) == place(n.Finding) && d < least {
			nearest, least = f, d
		}
	}
	return nearest
}

// Tally is how often the crew agreed, over one match or many.
type Tally struct {
	Agreed int // findings of which it was said that they happened
	Judged int // findings of which anything was said
}

// Count is the tally of one match.
func Count(judged map[string]string) Tally {
	t := Tally{Judged: len(judged)}
	for _, h := range judged {
		if h == Happened {
			t.Agreed++
		}
	}
	return t
}

// Add is the tally of both.
func (t Tally) Add(o Tally) Tally { return Tally{t.Agreed + o.Agreed, t.Judged + o.Judged} }
