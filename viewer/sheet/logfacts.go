package sheet

import (
	"fmt"
	"strconv"
)

// logFacts are what the log itself is worth.
func (v *view) logFacts() [][2]string {
	r := v.in.Report
	out := [][2]string{{"Samples, signals", grouped(r.Quality.Samples) + ", " + strconv.Itoa(r.Quality.Signals)}}
	const most = 4
	gaps := ""
	for i, g := range r.Quality.Gaps {
		if i == most {
			gaps += fmt.Sprintf(" and %d more", len(r.Quality.Gaps)-most)
			break
		}
		if i > 0 {
			gaps += "; "
		}
		name := g.Signal
		if name == "" {
			name = "all signals"
		}
		gaps += name + " " + number(v.scene.T(g.StartS), 2) + " to " + number(v.scene.T(g.EndS), 2) + " s"
	}
	if gaps == "" {
		gaps = "none seen"
	}
	out = append(out, [2]string{"Gaps", gaps})
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
