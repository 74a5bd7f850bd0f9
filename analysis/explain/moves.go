package explain

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// moves explains the moves a finding speaks of.
func (in Input) moves(f schemas.Finding) []schemas.Reasoning {
	switch {
	case strings.Contains(f.Title, "past its target"):
		return []schemas.Reasoning{in.together(f, swingRule)}
	case strings.Contains(f.Title, "slower"):
		return []schemas.Reasoning{in.together(f, slowRule)}
	}
	return in.shortMoves(f)
}

// together explains moves that are told together.
func (in Input) together(f schemas.Finding, r schemas.Reasoning) schemas.Reasoning {
	r.Title, r.StartS, r.EndS, r.Seen, r.Numbers = strings.TrimSuffix(f.Title, "."), f.StartS, f.EndS, in.seen(f.Evidence), f.Numbers
	r.Observed = []string{f.Because}
	for _, m := range in.Report.Moves {
		for _, s := range f.Spans {
			if m.StartS == s.StartS && m.EndS == s.EndS && m.SettleS != nil && strings.Contains(f.Title, m.Name) {
				said := fmt.Sprintf("At %s, %.3f to %.3f: settled after %.2f s, %.3f past it at most", in.at(m.StartS), m.From, m.To, *m.SettleS, m.Overshoot)
				if m.UsualSettleS != nil {
					said += fmt.Sprintf("; usually %.2f s", *m.UsualSettleS)
				}
				r.Observed = append(r.Observed, said+".")
			}
		}
	}
	return r
}

var swingRule = schemas.Reasoning{
	Rule: "A damped swing, one of constant size and none are fitted to the position from where it came near its target, and the Bayesian information criterion chooses, as for the balance loop. Told are mechanisms that on at least three moves, and a third of all, went two tolerances past and swung with a damping ratio under 0.4 or without end, or of which no damped swing tells (the command at its limit, gravity, a stop) and that went a quarter of the way past: so far goes a loop of damping ratio 0.4.",
	Alternatives: []schemas.Alternative{
		{What: "one overshoot and a clean return", Because: "the damping ratio of that is higher"},
		{What: "a move cut in on another", Because: "it begins at speed: without a swing that is told it does not count"},
		{What: "noise of the position", Because: "swings within the tolerance count for nothing"},
	},
	Change: []string{"The same moves with more rate gain."},
}

var slowRule = schemas.Reasoning{
	Rule: "Moves from about the same place to about the same place are alike (15 % of the way). With six or more of them in earlier matches those are the usual, else the others of this match. A move is slow when chance makes one so slow less often than 1 in 10 of those called slow allow, and it took 0.3 s and a quarter longer; a match, when all its moves together lie outside of where 95 % of matches like the earlier ones lie, and took 15 % longer.",
	Alternatives: []schemas.Alternative{
		{What: "a longer way", Because: "only moves of about the same way are compared"},
		{What: "a move cut in on another", Because: "those are left out: they begin at speed"},
		{What: "a weak supply", Because: "the log may show it: look at the voltage at that time"},
	},
	Change: []string{"More earlier matches: the usual rests on their median."},
}

// shortMoves explains each move that stopped short.
func (in Input) shortMoves(f schemas.Finding) []schemas.Reasoning {
	var out []schemas.Reasoning
	for _, m := range in.Report.Moves {
		for _, s := range f.Spans {
			if m.Outcome != "short" || m.StartS != s.StartS || m.EndS != s.EndS || !strings.Contains(f.Title, m.Name) {
				continue
			}
			within := ""
			for _, p := range in.Profile.Moves {
				if p.Name == m.Name {
					within = fmt.Sprintf(" within %g", p.Within)
				}
			}
			var seen []schemas.Evidence
			for _, e := range f.Evidence {
				if e.StartS == m.StartS && e.EndS == m.EndS {
					seen = append(seen, e)
				}
			}
			out = append(out, schemas.Reasoning{
				Title: fmt.Sprintf("The move of the %s at %s", m.Name, in.at(m.StartS)), StartS: m.StartS, EndS: m.EndS, Seen: in.seen(seen),
				Rule:     "A move is settled once the position has come" + within + " of its target and stayed there for half a second; short when it came to rest elsewhere, or never came before the log ended.",
				Observed: []string{fmt.Sprintf("It was sent from %.3f to %.3f and had not come to stay when it was given up %.2f s later.", m.From, m.To, m.EndS-m.StartS)},
				Numbers: []schemas.Number{
					number("sent to", schemas.Some(m.To), "", nil), number("past it by at most", schemas.Some(m.Overshoot), "", nil), number("largest current", m.PeakA, "A", nil),
				},
				Alternatives: []schemas.Alternative{
					{What: "sent elsewhere on its way", Because: "the position had come to rest, or the target did not change again: else it is superseded, and not told"},
					{What: "swinging around its target", Because: "swings within the tolerance count as there"},
					{What: "a spike of the sensor", Because: "one or two odd samples count for nothing"},
				},
				Change: []string{"A wider tolerance (within) in the profile, if the robot works that far off."},
			})
		}
	}
	return out
}
