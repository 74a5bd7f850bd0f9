package findings

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// standbyDraws makes one finding for each branch that drew current while the robot was
// disabled. It stops the robot: hands go in because everyone believes it is off.
func standbyDraws(in Input) []drafted {
	var out []drafted
	var told []string
	for _, first := range in.Report.StandbyDraws {
		if slices.Contains(told, first.Branch) {
			continue
		}
		told = append(told, first.Branch)
		d := drafted{clause: fmt.Sprintf("the branch %s draws current while the robot is disabled", first.Branch)}
		d.Finding = schemas.Finding{
			ID: id("motor", first.Branch, 1), Kind: "motor", Severity: schemas.SeverityStop,
			Title: upperFirst(d.clause) + ".", Short: "draws when off", Confidence: 0.9,
			Because: fmt.Sprintf("It drew %.1f A from %s to %s although nothing was commanded.",
				first.MedianA, in.at(first.StartS), in.at(first.EndS)),
			Numbers: []schemas.Number{number("current while disabled", first.MedianA, "A")},
			Caution: []string{cautionHands},
			Check: []string{
				"Open the main breaker before anything else.",
				fmt.Sprintf("Look for a rubbed wire or a controller that stays on in the branch %s.", first.Branch),
				"If a clamp meter shows no current in it, the zero of its sensor is off.",
			},
		}
		for _, s := range in.Report.StandbyDraws {
			if s.Branch != first.Branch {
				continue
			}
			d.Spans = append(d.Spans, schemas.Span{StartS: s.StartS, EndS: s.EndS})
			d.Evidence = append(d.Evidence, evidence(s.Signal, s.StartS, s.EndS, "current while disabled")...)
		}
		d.StartS, d.EndS = d.Spans[0].StartS, d.Spans[len(d.Spans)-1].EndS
		out = append(out, d)
	}
	return out
}
