package findings

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// jams makes one finding for each stage that jammed: a crew mends a stage, not an event.
// A piece still inside stops the robot; a jam that was cleared is to be mended; one short
// stand is watched.
func jams(in Input) []drafted {
	var out []drafted
	stages := stagesOf(in.Report.Jams)
	for _, stage := range stages {
		here := jamsAt(in.Report.Jams, stage)
		last := here[len(here)-1]
		stand := 0.0
		for _, j := range here {
			stand += j.EndS - j.StartS
		}
		severity := schemas.SeverityFix
		switch {
		case !last.Cleared:
			severity = schemas.SeverityStop
		case len(here) == 1 && stand < 1:
			severity = schemas.SeverityWatch
		}
		title, clause := in.jamWords(stage, here, stand)
		d := drafted{clause: clause}
		d.Finding = schemas.Finding{
			ID: id("jam", stage, 1), Kind: "jam", Severity: severity,
			StartS: here[0].StartS, EndS: last.EndS,
			Title: title, Short: "jam", Because: in.whyJam(here) + in.aroundJams(here),
			CostS: jamCost(here), CostPoints: jamPoints(here), Confidence: surest(here),
			Spans:   spansOf(here),
			Numbers: []schemas.Number{number("standing", stand, "s"), number("jams", float64(len(here)), "")},
			Caution: []string{cautionHands},
			Check:   in.jamChecks(stage, here),
		}
		for _, s := range in.Report.Stages {
			if s.Stage == stage && s.Passes > 0 {
				d.Numbers = append(d.Numbers, number("passes that entered the stage", float64(s.Passes), ""))
			}
		}
		for _, j := range here {
			if j.PeakA != nil {
				d.Numbers = append(d.Numbers, number("largest current", *j.PeakA, "A"))
			}
			d.Evidence = append(d.Evidence, in.jamEvidence(j)...)
		}
		d.Numbers = append(d.Numbers, aroundNumbers(here)...)
		if d.CostS != nil && *d.CostS >= 0.05 {
			where := ""
			if len(stages) > 1 {
				where = " in the " + stage
			}
			d.aside = fmt.Sprintf("%s %s%s cost %.1f s of scoring.", upperFirst(numberWord(len(here))),
				plural(len(here), "jam", "jams"), where, *d.CostS)
		}
		out = append(out, d)
	}
	return out
}

// jamWords are the title of a stage's jams and their clause in the verdict.
func (in Input) jamWords(stage string, here []schemas.Jam, stand float64) (title, clause string) {
	n, piece := len(here), in.Report.Match.Game.Piece
	if cleared := here[n-1].Cleared; cleared && n == 1 {
		return fmt.Sprintf("A %s jammed in the %s for %.1f s.", piece, stage, stand), fmt.Sprintf("one jam in the %s, since cleared", stage)
	} else if cleared {
		return fmt.Sprintf("The %s jammed %s, %.1f s in all.", stage, times(n), stand),
			fmt.Sprintf("%s jams in the %s, %s cleared", numberWord(n), stage, bothAll(n))
	}
	title = fmt.Sprintf("The %s jammed %s and still holds a %s.", stage, times(n), piece)
	if n == 1 {
		title = fmt.Sprintf("A %s jammed in the %s and is still there.", piece, stage)
	}
	return title, fmt.Sprintf("a %s is still stuck in the %s", piece, stage)
}

// suspectedJams are said apart, as a question.
func suspectedJams(in Input) []drafted {
	var out []drafted
	for _, stage := range stagesOf(in.Report.SuspectedJams) {
		here := jamsAt(in.Report.SuspectedJams, stage)
		title := fmt.Sprintf("A %s may have stood in the %s", in.Report.Match.Game.Piece, stage)
		if len(here) > 1 {
			title += " " + times(len(here))
		}
		d := drafted{clause: lowerFirst(title)}
		d.Finding = schemas.Finding{
			ID: id("jam", stage+"_suspected", 1), Kind: "jam", Severity: schemas.SeverityWatch,
			StartS: here[0].StartS, EndS: here[len(here)-1].EndS,
			Title: title + ".", Short: "jam?", Because: in.whyJam(here) + forAndAgainst(here), Confidence: surest(here), Spans: spansOf(here),
			Caution: []string{cautionHands},
			Check:   []string{fmt.Sprintf("Feed one %s by hand through the %s and watch where it slows.", in.Report.Match.Game.Piece, stage)},
		}
		for _, j := range here {
			d.Evidence = append(d.Evidence, in.jamEvidence(j)...)
		}
		out = append(out, d)
	}
	return out
}

// soon is how long after a piece stopped its roller did; a tenth of a second is at once.
func soon(s float64) string {
	if s < 0.1 {
		return "at once"
	}
	return fmt.Sprintf("%.2f s later", s)
}

// whyJam says what was seen of the jams of one stage, at most three of them in words.
func (in Input) whyJam(here []schemas.Jam) string {
	text := ""
	for i, j := range here {
		if i == 3 {
			text += fmt.Sprintf(" And %s more.", numberWord(len(here)-3))
			break
		}
		end := "to the end of the log"
		if j.Cleared {
			end = fmt.Sprintf("until %s, when it %s", in.at(j.EndS), ended(j.How))
		}
		if i > 0 {
			text += " "
		}
		text += fmt.Sprintf("A %s stopped at %s and stood %.1f s %s.", in.Report.Match.Game.Piece, in.at(j.StartS), j.EndS-j.StartS, end)
		switch {
		case j.StillS != nil && j.PeakA != nil:
			text += fmt.Sprintf(" The roller stood still %s, at %.0f A.", soon(*j.StillS-j.StartS), *j.PeakA)
		case j.PeakA != nil:
			text += fmt.Sprintf(" Its motor drew up to %.0f A.", *j.PeakA)
		}
		switch j.Cause {
		case schemas.JamSlipping:
			text += " The roller turned on: it slipped on the " + in.Report.Match.Game.Piece + "."
		case schemas.JamBetweenBeams:
			text += " It stood where no beam sees it."
		}
	}
	if st := in.stage(here[0].Stage); st != nil && st.Sensor == nil {
		text += fmt.Sprintf(" Where in the %s is unknown: there is no beam.", st.Name)
	}
	return text
}

func ended(how string) string {
	switch how {
	case schemas.JamBackedOut:
		return "backed out"
	case schemas.JamTakenOut:
		return "was taken out"
	default:
		return "moved on"
	}
}

func (in Input) jamChecks(stage string, here []schemas.Jam) []string {
	piece := in.Report.Match.Game.Piece
	last := here[len(here)-1]
	var out []string
	if !last.Cleared {
		out = append(out, fmt.Sprintf("Take out the %s now standing in the %s.", piece, stage))
	}
	switch last.Cause {
	case schemas.JamSlipping:
		out = append(out, fmt.Sprintf("Press a %s into the %s: the roller turns but does not grip. Look at belt tension, compression and tread.", piece, stage))
	default:
		out = append(out, fmt.Sprintf("Turn the %s roller by hand through one full turn: look for a torn belt or a rubbed edge.", stage))
	}
	out = append(out, "If it turns freely, look at the guides"+in.neighbours(stage)+".")
	return out
}

func (in Input) neighbours(stage string) string {
	if in.Profile.Path == nil {
		return ""
	}
	st := in.Profile.Path.Stages
	i := slices.IndexFunc(st, func(s profile.Stage) bool { return s.Name == stage })
	switch {
	case i > 0:
		return fmt.Sprintf(" between %s and %s", st[i-1].Name, stage)
	case i == 0 && len(st) > 1:
		return fmt.Sprintf(" between %s and %s", stage, st[1].Name)
	}
	return ""
}

func (in Input) stage(name string) *profile.Stage {
	if in.Profile.Path == nil {
		return nil
	}
	for i := range in.Profile.Path.Stages {
		if in.Profile.Path.Stages[i].Name == name {
			return &in.Profile.Path.Stages[i]
		}
	}
	return nil
}

func (in Input) jamEvidence(j schemas.Jam) []schemas.Evidence {
	st := in.stage(j.Stage)
	if st == nil {
		return nil
	}
	var out []schemas.Evidence
	out = append(out, evidence(signal(st.Current), j.StartS, j.EndS, j.Stage+" current")...)
	out = append(out, evidence(signal(st.Speed), j.StartS, j.EndS, j.Stage+" roller speed")...)
	out = append(out, evidence(signal(st.Sensor), j.StartS, j.EndS, j.Stage+" beam")...)
	return append(out, evidence(signal(st.Command), j.StartS, j.EndS, j.Stage+" command")...)
}

func stagesOf(jams []schemas.Jam) []string {
	var out []string
	for _, j := range jams {
		if !slices.Contains(out, j.Stage) {
			out = append(out, j.Stage)
		}
	}
	return out
}

func jamsAt(jams []schemas.Jam, stage string) []schemas.Jam {
	var out []schemas.Jam
	for _, j := range jams {
		if j.Stage == stage {
			out = append(out, j)
		}
	}
	return out
}

func spansOf(jams []schemas.Jam) []schemas.Span {
	out := make([]schemas.Span, len(jams))
	for i, j := range jams {
		out[i] = schemas.Span{StartS: j.StartS, EndS: j.EndS}
	}
	return out
}

// surest is the confidence in at least the clearest of the jams; never said to be certain.
func surest(jams []schemas.Jam) float64 {
	best := 0.0
	for _, j := range jams {
		best = math.Max(best, j.Confidence)
	}
	return math.Min(best, 0.99)
}

func overlap(a0, a1, b0, b1 float64) float64 {
	return math.Max(0, math.Min(a1, b1)-math.Max(a0, b0))
}

func bothAll(n int) string {
	if n == 2 {
		return "both"
	}
	return "all"
}

func lowerFirst(s string) string {
	if s == "" {
		return s
	}
	return string(s[0]|0x20) + s[1:]
}
