package crew

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Believed is a report without what the crew denied, for counting over a season: the denied
// findings and the jams, brownouts, balance attempts and slow cycles they speak of. A cycle
// stays and is slow no more, for it took as long as it took; a pass stays and jammed no
// more. The report itself is not changed, and is returned as it is when nothing was denied.
func Believed(r *schemas.Report, judged map[string]string) *schemas.Report {
	var denied []schemas.Finding
	for _, f := range r.Findings {
		if judged[f.ID] == DidNot {
			denied = append(denied, f)
		}
	}
	if len(denied) == 0 {
		return r
	}
	out := *r
	out.Findings = slices.DeleteFunc(slices.Clone(r.Findings), func(f schemas.Finding) bool { return judged[f.ID] == DidNot })
	said := func(kind string, startS, endS float64) bool { return speaks(denied, kind, startS, endS) }

	out.Jams = slices.DeleteFunc(slices.Clone(r.Jams), func(j schemas.Jam) bool { return said("jam", j.StartS, j.EndS) })
	out.Stages = slices.Clone(r.Stages)
	out.Passes = slices.Clone(r.Passes)
	for _, j := range r.Jams {
		if !said("jam", j.StartS, j.EndS) {
			continue
		}
		for i := range out.Stages {
			if out.Stages[i].Stage == j.Stage && out.Stages[i].Jams > 0 {
				out.Stages[i].Jams--
				break
			}
		}
		for i := range out.Passes {
			if j.Piece != nil && out.Passes[i].Piece == *j.Piece && out.Passes[i].Outcome == schemas.PassJammed {
				out.Passes[i].Outcome = schemas.PassHeld
			}
		}
	}
	out.Brownouts = slices.DeleteFunc(slices.Clone(r.Brownouts), func(b schemas.Brownout) bool {
		end := r.Match.EndS
		if b.EndS != nil {
			end = *b.EndS
		}
		return said("brownout", b.StartS, end)
	})
	out.Balances = slices.DeleteFunc(slices.Clone(r.Balances), func(b schemas.Balance) bool { return said("balance", b.StartS, b.EndS) })
	out.Cycles = slices.Clone(r.Cycles)
	for i, c := range r.Cycles {
		if c.Slow && said("slow_cycle", c.StartS, c.EndS) {
			out.Cycles[i].Slow, out.Cycles[i].Why = false, nil
		}
	}
	return &out
}

// speaks says whether a denied finding of that kind tells of the stretch: one of its
// occurrences begins where the stretch does, or they share more than half of the shorter.
func speaks(denied []schemas.Finding, kind string, startS, endS float64) bool {
	for _, f := range denied {
		if f.Kind != kind {
			continue
		}
		spans := f.Spans
		if len(spans) == 0 {
			spans = []schemas.Span{{StartS: f.StartS, EndS: f.EndS}}
		}
		for _, s := range spans {
			common := min(endS, s.EndS) - max(startS, s.StartS)
			if math.Abs(s.StartS-startS) < 1e-3 || common > 0.5*min(endS-startS, s.EndS-s.StartS) {
				return true
			}
		}
	}
	return false
}
