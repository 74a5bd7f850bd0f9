package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// logFacts are what the log itself is worth.
func (v *view) logFacts() [][2]string {
	r := v.in.Report
	out := [][2]string{{"Samples, signals", grouped(r.Quality.Samples) + ", " + strconv.Itoa(r.Quality.Signals)}}
	if c := r.Match.CutFrom; c != nil {
		out = append(out, v.cutFacts(c)...)
	}
	const most = 4
	out = append(out, [2]string{"Gaps", v.gaps()})
	for i, f := range r.Quality.Faults {
		if i == most {
			out = append(out, [2]string{"", fmt.Sprintf("and %d more", len(r.Quality.Faults)-most)})
			break
		}
		text := f.Kind
		if f.Note != "" {
			text += ": " + f.Note
		}
		out = append(out, [2]string{f.Signal, text})
	}
	if len(r.Quality.Missing) > 0 {
		out = append(out, [2]string{"In the profile, not in the log", listed(r.Quality.Missing)})
	}
	for _, a := range r.Analyses {
		if !a.Ran {
			_, why := ran(r, a.Name)
			out = append(out, [2]string{"Not looked at: " + a.Name, why})
		}
	}
	for i, n := range r.Quality.Notes {
		if i == most {
			out = append(out, [2]string{"", fmt.Sprintf("and %d more notes", len(r.Quality.Notes)-most)})
			break
		}
		out = append(out, [2]string{"Note", n})
	}
	return out
}

// gaps are the holes in the log: those of all signals one by one, those of a single signal
// summed up, for a camera that sees no target has one on every trip.
func (v *view) gaps() string {
	const most = 4
	var parts []string
	var order []string
	count, together := map[string]int{}, map[string]float64{}
	whole := 0
	for _, g := range v.in.Report.Quality.Gaps {
		if g.Signal != "" {
			if count[g.Signal] == 0 {
				order = append(order, g.Signal)
			}
			count[g.Signal]++
			together[g.Signal] += g.EndS - g.StartS
			continue
		}
		if whole++; whole <= most {
			parts = append(parts, "all signals "+v.between(g))
		}
	}
	if whole > most {
		parts = append(parts, fmt.Sprintf("%d more of all signals", whole-most))
	}
	for i, name := range order {
		if i == most {
			parts = append(parts, counted(len(order)-most, "more signal", "more signals"))
			break
		}
		if count[name] == 1 {
			i := slices.IndexFunc(v.in.Report.Quality.Gaps, func(g schemas.Gap) bool { return g.Signal == name })
			parts = append(parts, name+" "+v.between(v.in.Report.Quality.Gaps[i]))
			continue
		}
		parts = append(parts, fmt.Sprintf("%s %s, %s s together", name, counted(count[name], "time", "times"), number(together[name], 1)))
	}
	if len(parts) == 0 {
		return "none seen"
	}
	return strings.Join(parts, "; ")
}

func (v *view) between(g schemas.Gap) string {
	return number(v.scene.T(g.StartS), 2) + " to " + number(v.scene.T(g.EndS), 2) + " s"
}

// cutFacts say what a sheet is a stretch of, and what the sheet of the whole match said there,
// the finding it was cut for first.
func (v *view) cutFacts(c *schemas.CutFrom) [][2]string {
	out := [][2]string{{"A stretch of", fmt.Sprintf("%s at %s, %s to %s s of its log time", c.Match, c.Event, number(c.FromS, 1), number(c.ToS, 1))}}
	findings := slices.Clone(c.Findings)
	slices.SortStableFunc(findings, func(a, b schemas.Finding) int {
		return isFor(b, c.Finding) - isFor(a, c.Finding)
	})
	const most = 4
	for i, f := range findings {
		if i == most {
			out = append(out, [2]string{"", fmt.Sprintf("and %d more", len(findings)-most)})
			break
		}
		out = append(out, [2]string{"The whole match's sheet says", strings.TrimSpace(draw.SeverityWord(f.Severity) + " " + f.Title)})
	}
	return out
}

func isFor(f schemas.Finding, id string) int {
	if f.ID == id {
		return 1
	}
	return 0
}
