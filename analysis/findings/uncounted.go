package findings

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas"
)

// letGo are the pieces that left the robot while one of these moves went on, by whether a
// score or a hand-over accounts for them. Pieces of which the log does not tell are in neither.
func (in Input) letGo(moves []schemas.Move) (counted, uncounted []schemas.Pass) {
	for _, p := range in.Report.Passes {
		if p.Counted == nil || p.LeaveS == nil {
			continue
		}
		for _, m := range moves {
			if m.StartS <= *p.LeaveS && *p.LeaveS <= m.EndS {
				if *p.Counted {
					counted = append(counted, p)
				} else {
					uncounted = append(uncounted, p)
				}
				break
			}
		}
	}
	return counted, uncounted
}

// tellUncounted adds to the finding of a mechanism that stopped short which pieces were let go
// then and never counted. Two of them, and not outnumbered by those that counted, are no bad
// luck any more: that is worth mending before the next match.
func (in Input) tellUncounted(d *drafted, short []schemas.Move) {
	counted, lost := in.letGo(short)
	n := len(lost)
	if n == 0 || n < len(counted) {
		return
	}
	d.Because += fmt.Sprintf(" %s left the robot meanwhile and never counted.", upperFirst(in.pieces(n)))
	d.Numbers = append(d.Numbers, number("not counted", float64(n), ""))
	if points := in.worth(lost); points > 0 {
		d.CostPoints = schemas.Some(points)
		d.Because += fmt.Sprintf(" That cost up to %s.", pointsWord(points))
		d.Numbers = append(d.Numbers, number("points lost", points, ""))
	}
	if n >= 2 {
		d.Severity = schemas.SeverityFix
		d.aside = fmt.Sprintf("%s left the robot and never counted.", upperFirst(in.pieces(n)))
	}
}

// pieces counts them in the game's own word.
func (in Input) pieces(n int) string {
	g := in.Report.Match.Game
	return numberWord(n) + " " + plural(n, g.Piece, g.Pieces)
}

// worth is what pieces would have scored by the profile's points, by the period they left in.
func (in Input) worth(lost []schemas.Pass) float64 {
	if in.Profile.Game == nil {
		return 0
	}
	sum := 0.0
	for _, p := range lost {
		for _, q := range in.Report.Match.Periods {
			if q.StartS <= *p.LeaveS && *p.LeaveS <= q.EndS {
				sum += in.Profile.Game.Points[q.Name+"_piece"]
				break
			}
		}
	}
	return sum
}

// neverCounted warns of a score counter that stood still though pieces left the robot: either
// none of them came to rest where it counts, or nothing counts. Under three it may be luck, and
// where a mechanism was short of its target for most of them, that says why.
func neverCounted(in Input) []drafted {
	const least = 3
	var lost []schemas.Pass
	for _, p := range in.Report.Passes {
		if p.Counted != nil && *p.Counted {
			return nil
		}
		if p.Counted != nil && p.LeaveS != nil {
			lost = append(lost, p)
		}
	}
	n := len(lost)
	var short []schemas.Move
	for _, m := range in.Report.Moves {
		if m.Outcome == "short" {
			short = append(short, m)
		}
	}
	_, told := in.letGo(short)
	if n < least || 2*len(told) > n || in.Profile.Cycles == nil {
		return nil
	}
	first, last := *lost[0].LeaveS, *lost[n-1].LeaveS
	name := signal(in.Profile.Cycles.Score)
	d := drafted{clause: fmt.Sprintf("none of %s that left the robot counted", in.pieces(n))}
	d.Finding = schemas.Finding{
		ID: id("sensor", "score", 1), Kind: "sensor", Severity: schemas.SeverityWatch,
		StartS: first, EndS: last, Short: "never counted", Confidence: 0.9,
		Title:    fmt.Sprintf("None of %s that left the robot counted.", in.pieces(n)),
		Because:  fmt.Sprintf("They left between %s and %s, and %s never rose: either none landed where it counts, or nothing counts them.", in.at(first), in.at(last), name),
		Numbers:  []schemas.Number{number("not counted", float64(n), "")},
		Evidence: evidence(name, first, last, "stood still"),
		Check:    []string{"Compare with the event's own count.", fmt.Sprintf("Look at what makes %s rise: who presses it, or which sensor.", name)},
	}
	for _, p := range lost {
		d.Spans = append(d.Spans, schemas.Span{StartS: *p.LeaveS, EndS: *p.LeaveS})
	}
	return []drafted{d}
}
