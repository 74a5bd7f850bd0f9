package viewer

import (
	"cmp"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// trialView is the form that asks which of two versions is better, and the answer.
type trialView struct {
	Picked  string // the mark that stays picked
	Choices []string
	A, B    string // as asked, or what was most often in turns
	Wrong   string
	Answer  *trialAnswer // nil before it is asked
}

// trialAnswer shows the measure that says most, and the others as a sentence each.
type trialAnswer struct {
	Headline  string
	Sides     []trialSide
	Turns     string
	Notes     []string
	Lead      string // title of the measure
	Picture   template.HTML
	Row       seasonSide
	More, Far []trialLine // what is settled or soon may be, and the rest
}

type trialSide struct{ Letter, Text, Runs string }

type trialLine struct {
	Title, Note string
	Settled     bool
}

// trialOf is what the page of a season has of trials: nil where there are no two versions to
// compare, or nobody to compare them.
func (s *Server) trialOf(look *schemas.Season, q url.Values, robot, year string) *trialView {
	v := &trialView{Picked: q.Get("part"), A: q.Get("a"), B: q.Get("b")}
	for _, p := range look.Parts {
		if !slices.Contains(v.Choices, p.Text) {
			v.Choices = append(v.Choices, p.Text)
		}
	}
	if s.options.Trial == nil || len(v.Choices) < 2 {
		return nil
	}
	if v.A == "" && v.B == "" {
		v.A, v.B = mostInTurns(look.Parts, v.Choices)
		return v
	}
	t, err := s.options.Trial(robot, year, v.A, v.B)
	if err != nil {
		v.Wrong = err.Error()
		return v
	}
	v.Answer = answerOf(&t)
	return v
}

// mostInTurns are the two entries that came after one another most often.
func mostInTurns(all []schemas.SeasonPart, choices []string) (a, b string) {
	a, b = choices[len(choices)-2], choices[len(choices)-1]
	most := 1
	for i, first := range choices {
		for _, second := range choices[i+1:] {
			turns, last := 0, ""
			for _, p := range all {
				if p.Text != first && p.Text != second {
					continue
				}
				if last != "" && p.Text != last {
					turns++
				}
				last = p.Text
			}
			if turns > most {
				most, a, b = turns, first, second
			}
		}
	}
	return a, b
}

// soon is how many times the runs of a trial may yet be run; chosen by us.
const soon = 4

func answerOf(t *schemas.Trial) *trialAnswer {
	out := &trialAnswer{Headline: t.Headline, Turns: count(t.Turns, "change", "changes") + " from one to the other", Notes: t.Notes}
	for i, side := range []schemas.TrialSide{t.A, t.B} {
		out.Sides = append(out.Sides, trialSide{[]string{"A", "B"}[i], side.Text, count(len(side.Runs), "run", "runs")})
	}
	ordered := slices.Clone(t.Measures)
	slices.SortStableFunc(ordered, func(a, b schemas.TrialMeasure) int {
		return cmp.Or(cmp.Compare(togo(a), togo(b)), cmp.Compare(a.P, b.P))
	})
	for i := range ordered {
		m := &ordered[i]
		if i == 0 {
			out.Lead, out.Row = m.Title, trialRow(m)
			out.Picture = page.Figure("trial-runs", page.Layout{Beside: true}, func(width float64) (*draw.Picture, bool) { return draw.TrialRuns(t, m, width) })
			continue
		}
		line := trialLine{m.Title, m.Note, m.Settled}
		if togo(*m) > soon*float64(len(t.A.Runs)+len(t.B.Runs)) {
			out.Far = append(out.Far, line)
		} else {
			out.More = append(out.More, line)
		}
	}
	return out
}

// togo is how many more runs it takes to settle a measure.
func togo(m schemas.TrialMeasure) float64 {
	switch {
	case m.Settled:
		return 0
	case m.MoreRuns != nil:
		return float64(*m.MoreRuns)
	}
	return math.Inf(1)
}

// trialRow is a measure of A and of B.
func trialRow(m *schemas.TrialMeasure) seasonSide {
	s := &schemas.SeasonMeasure{Name: m.Name, Unit: m.Unit}
	out := seasonSide{
		Before: sideText(s, m.A), Since: sideText(s, m.B), Difference: draw.SeasonDifference(m.Difference, m.Unit), Hot: m.Settled,
		Line: page.Small(draw.Difference(m.Difference, m.Low, m.High, "B less", "B more", 250), "", "difference"),
	}
	out.Under = intervalText(s, schemas.SeasonEffect{Low: m.Low, High: m.High}) + ", however often you look; "
	switch {
	case m.Settled:
		out.Under += "settled"
	case m.MoreRuns != nil:
		out.Under += "not settled: about " + count(*m.MoreRuns, "more run", "more runs") + ", if it stays so"
	default:
		out.Under += "not settled, nor by any number of runs like these"
	}
	if m.Shows != nil && !m.Settled {
		out.Under += fmt.Sprintf("; as many again would show %s", draw.SeasonAmount(*m.Shows, m.Unit))
	}
	return out
}
