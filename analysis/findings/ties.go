package findings

import (
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// tellTies adds to each finding that touches what breaks a tie in this game which of the
// tie-breakers it is: seconds that cost no points may still cost a place.
func tellTies(in Input, found []drafted) {
	if in.Profile.Game == nil {
		return
	}
	for i := range found {
		f := &found[i].Finding
		for k, tie := range in.Profile.Game.Ties {
			if in.touches(*f, tie) {
				f.Because = strings.TrimSpace(f.Because + fmt.Sprintf(" It touches %s, the %s thing that breaks a tie.", tie, ordinal(k+1)))
				break // the first of them is what counts
			}
		}
	}
}

// touches is whether a finding bears on a tie-breaker, by the words that games use for them:
// the platform, the autonomous period, pieces scored. Others (fouls) no log shows.
func (in Input) touches(f schemas.Finding, tie string) bool {
	words := in.Report.Match.Game
	is := func(any ...string) bool { return slices.Contains(any, strings.ToLower(tie)) }
	switch {
	case is("platform", "balance", "level", "endgame", strings.ToLower(words.Platform)):
		return f.Kind == "balance" && (!is("endgame") || !in.within(f, schemas.PeriodAutonomous))
	case is("autonomous", "auto"):
		return f.Kind == "autonomous" || (costOf(f) > 0 || f.CostPoints != nil) && in.within(f, schemas.PeriodAutonomous)
	case is("pieces", "piece", "score", "scored", "cycles", strings.ToLower(words.Piece), strings.ToLower(words.Pieces)):
		if f.Kind == "move" {
			return f.CostPoints != nil
		}
		return slices.Contains([]string{"jam", "slow_cycle", "autonomous", "brownout"}, f.Kind) && (f.CostS == nil || *f.CostS > 0)
	}
	return false
}

// within is whether any of a finding's stretches lies in a kind of period.
func (in Input) within(f schemas.Finding, period string) bool {
	for _, p := range in.Report.Match.Periods {
		for _, s := range f.Spans {
			if p.Name == period && overlap(s.StartS, s.EndS, p.StartS, p.EndS) > 0 {
				return true
			}
		}
	}
	return false
}

// ordinal is "first", "second", up to a number nobody lists.
func ordinal(n int) string {
	words := [...]string{"first", "second", "third", "fourth", "fifth"}
	if n >= 1 && n <= len(words) {
		return words[n-1]
	}
	return fmt.Sprintf("%dth", n)
}
