package sheet

import (
	"fmt"
	"html/template"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// card is one section with a picture.
type card struct {
	ID, Name string
	Keys     []string // how to read the picture
	Open     string   // words of the link to the bench
	Href     string
	Sentence string
	Picture  template.HTML
	Halves   []template.HTML
	Table    table
	Note     string

	FirstPage   bool // stays on the first page of paper
	FoldOnPaper bool // keeps only its sentence there
}

// table is rows of facts below or beside a picture.
type table struct {
	Head []string
	Rows [][]string
}

// HTML is the table for the template, empty without rows.
func (t table) HTML() template.HTML {
	if len(t.Rows) == 0 {
		return ""
	}
	glued := draw.Table{Head: t.Head}
	for _, row := range t.Rows {
		cells := make([]string, len(row))
		for i, c := range row {
			cells[i] = Glue(c)
		}
		glued.Rows = append(glued.Rows, cells)
	}
	return template.HTML(page.Table(glued, "facts numbers"))
}

func (v *view) cards() []card {
	var out []card
	for _, make := range []func() (card, bool){v.pathCard, v.powerCard, v.balanceCard, v.cyclesCard, v.autonomousCard, v.movesCard, v.motorsCard} {
		if c, ok := make(); ok {
			out = append(out, c)
		}
	}
	return out
}

func (v *view) pathCard() (card, bool) {
	r := v.in.Report
	pic := v.figure("path", "path", func(w float64) (*draw.Picture, bool) { return draw.Path(v.scene, w) })
	if pic == "" {
		return card{}, false
	}
	c := card{
		ID: "path", Name: "Path", Picture: pic, Sentence: pathSentence(r, v.names), FirstPage: true,
		Keys: []string{"Each line is one " + v.names.piece + ", falling through the stages."},
	}
	usual := 0
	inferred := false
	for _, s := range r.Stages {
		usual = max(usual, s.UsualPasses)
		inferred = inferred || !s.Sensor
	}
	if usual > 0 {
		c.Keys = append(c.Keys, "Shaded: the middle 8 in 10 of the times of each stage, added up, of "+counted(usual, "pass", "passes")+".")
	}
	if usual == 0 {
		c.Keys = append(c.Keys, "Nothing shaded: no earlier pass says what is usual.")
	}
	if inferred {
		c.Keys = append(c.Keys, "Dotted: no beam, inferred.")
	}
	if len(r.Jams) > 0 {
		j := r.Jams[0]
		c.Open, c.Href = "Open "+stretch(v.scene, j.StartS, j.EndS), v.stretch(j.StartS-1, j.EndS, stageSignals(v.scene, j.Stage))
	}
	if n := len(r.SuspectedJams); n > 0 {
		c.Note = capital(inWords(n)) + " more " + plural(n, "stop is", "stops are") + " only suspected: "
		for i, j := range r.SuspectedJams[:min(n, 4)] {
			if i > 0 {
				c.Note += ", "
			}
			c.Note += j.Stage + " at " + number(v.scene.T(j.StartS), 1) + " s (" + sure(j.Confidence) + ")"
		}
		if n > 4 {
			c.Note += fmt.Sprintf(" and %d more", n-4)
		}
		c.Note += "."
	}
	return c, true
}

// stageSignals are the signals of one stage, for the bench.
func stageSignals(s *draw.Scene, stage string) []string {
	if s.Profile.Path == nil {
		return nil
	}
	var out []string
	for _, st := range s.Profile.Path.Stages {
		if st.Name != stage {
			continue
		}
		if st.Sensor != nil {
			out = append(out, st.Sensor.Signal)
		}
		if st.Command != nil {
			out = append(out, st.Command.Signal)
		}
		if st.Current != nil {
			out = append(out, st.Current.Signal)
		}
		if st.Speed != nil {
			out = append(out, st.Speed.Signal)
		}
	}
	return out
}

func (v *view) cyclesCard() (card, bool) {
	r := v.in.Report
	pic := v.figure("cycles", "cycles", func(w float64) (*draw.Picture, bool) { return draw.Cycles(v.scene, w) })
	if pic == "" {
		return card{}, false
	}
	c := card{ID: "cycles", Name: "Cycles", Picture: pic, Sentence: cyclesSentence(r), Note: placingSentence(r.Placing)}
	c.Keys = append(c.Keys, "Score to score, by phase.")
	if r.Usual.LowS != nil && r.Usual.HighS != nil {
		from := "this match"
		if r.Usual.Source == "matches" {
			from = counted(len(r.Usual.Matches), "earlier match", "earlier matches")
		}
		c.Keys = append(c.Keys, "Shaded: 8 in 10 of the usual, "+counted(r.Usual.Cycles, "cycle", "cycles")+" of "+from+".")
	}
	handovers := 0
	for _, q := range r.Cycles {
		if q.Kind == schemas.CycleHandover {
			handovers++
		}
	}
	if handovers > 0 {
		c.Note = joined(c.Note, counted(handovers, "hand-over", "hand-overs")+" to a partner besides.")
	}
	if i := slices.IndexFunc(r.Cycles, func(q schemas.Cycle) bool { return q.Slow }); i >= 0 {
		q := r.Cycles[i]
		c.Open, c.Href = "Open "+stretch(v.scene, q.StartS, q.EndS), v.stretch(q.StartS, q.EndS, nil)
	}
	return c, true
}
