// Package sheet is the match sheet: what was concluded about one match as a page, as one
// self-contained file, and as text for a terminal. It says what the report says and no
// more; sentences over figures are made from the same facts.
//
// A sheet never says that something is fine. Where nothing was found it says by how many
// analyses, and what could not be told is called unknown with the signal that would tell.
package sheet

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// Mode is where a sheet is read.
type Mode int

const (
	// Page is a sheet inside the server: linked style sheet and scripts, links to the other
	// pages, nothing inline.
	Page Mode = iota
	// File is report.html: style sheet and fonts inside, no scripts, no links to a server.
	File
)

// Input is what a sheet is made from. Only Report is required; without a log the pictures
// show what the report alone can.
type Input struct {
	Report  *schemas.Report
	Profile *profile.Profile
	Log     *schemas.Log
	Mode    Mode
	Status  string // for the header, such as "sealed 14:35:10"

	// The rest is for a Page; a File leads nowhere.
	Nav     []page.Link // the other pages
	Aside   []page.Link // what can be done with this one
	Scripts page.Scripts
	// Judged is what the crew said of findings, by id, and Verdict the address that takes
	// what it says; empty for none.
	Judged  map[string]string
	Verdict string
	// Said is what the crew noted, and NoteForm the address that takes notes; empty for none.
	Said     crew.Said
	NoteForm string
	Newest   string // see page.Frame
	// Stretch is the address of a stretch of signals on the bench, in log time; nil when
	// there is no bench.
	Stretch func(fromS, toS float64, signals ...string) string
}

//go:embed sheet.tmpl
var sheetText string

var sheetTemplate = template.Must(template.New("sheet").Funcs(template.FuncMap{"glue": Glue}).Parse(sheetText))

// Render writes the sheet as HTML. Nothing is written when it cannot be made.
func Render(w io.Writer, in Input) error {
	if in.Report == nil {
		return fmt.Errorf("match sheet: there is no report to show")
	}
	v := newView(in)
	var body bytes.Buffer
	if err := sheetTemplate.Execute(&body, v); err != nil {
		return fmt.Errorf("match sheet %s: %w", v.Name, err)
	}
	f := page.Frame{
		Title: v.DocumentTitle(), Class: "sheet", Body: template.HTML(body.String()),
		Status: in.Status, File: in.Mode == File,
	}
	if in.Mode == Page {
		f.Nav, f.Aside, f.Scripts, f.Newest = in.Nav, in.Aside, in.Scripts, in.Newest
	}
	return page.Write(w, f)
}

// view is the sheet as its template needs it: every value is text already.
type view struct {
	in    Input
	scene *draw.Scene
	names names

	Name, Robot, Event string
	Under              string // date and battery below the names
	Severity           string
	Word, Text, Detail string
	Ribbon             template.HTML
	RibbonNotes        []ribbonNote
	Figures            []figure
	Findings           []finding
	FindingsNote       string
	Nothing            string
	Cards              []card
	Unknowns           []schemas.Unknown
	LogFacts           [][2]string
	Verdict            string // address of the forms, empty for none
	Agreed             string
	Mended             []mendedRow
	MendedMore         int
	Notes              []string
	NoteForm           string // address of the form, empty for none
	NoteLetters        int    // how long a note may be
	Video              template.HTML
	Made               string
	OnePage            bool               // all of it fits one page of paper
	heights            map[string]float64 // of pictures at the middle width, by card
}

type ribbonNote struct{ Head, Text string }

func newView(in Input) *view {
	r := in.Report
	v := &view{
		in: in, scene: draw.NewScene(r, in.Profile, in.Log), names: namesOf(r),
		Name: r.Match.Match, Robot: r.Match.Robot, Event: r.Match.Event,
		Severity: r.Verdict.Severity, Word: draw.SeverityWord(r.Verdict.Severity),
		Text: r.Verdict.Text, Detail: r.Verdict.Detail,
		Unknowns: r.Unknowns, heights: map[string]float64{},
	}
	v.Under = v.underNames()
	v.Ribbon = v.figure("ribbon", "ribbon", func(width float64) (*draw.Picture, bool) {
		return draw.Ribbon(v.scene, draw.RibbonOptions{Width: width, Link: func(rank int) string { return fmt.Sprintf("#finding-%d", rank) }}), true
	})
	v.RibbonNotes = v.ribbonNotes()
	v.Figures = figuresOf(v.scene, v.names)
	v.Findings = v.findings()
	v.FindingsNote = v.findingsNote()
	v.Nothing = v.nothing()
	v.Cards = v.cards()
	v.LogFacts = v.logFacts()
	if in.Mode == Page {
		if bell := v.scene.Bell(); bell > 0 {
			v.Video = page.Video(bell)
		}
		v.Verdict, v.NoteForm, v.NoteLetters = in.Verdict, in.NoteForm, crew.MostLetters
		for _, n := range in.Said.Remarks {
			v.Notes = append(v.Notes, n.Text)
		}
	}
	v.Mended, v.MendedMore = mendedRows(r, in.Said)
	v.Agreed = agreed(in.Judged)
	v.Made = made(r)
	v.planPaper()
	return v
}

// DocumentTitle is the title of the window.
func (v *view) DocumentTitle() string {
	title := v.Name + " " + v.Robot
	if v.Event != "" {
		title += ", " + v.Event
	}
	return title + ": match sheet"
}

// agreed says how often the crew agreed with this sheet, empty while it said nothing.
func agreed(judged map[string]string) string {
	t := crew.Count(judged)
	if t.Judged == 0 {
		return ""
	}
	return fmt.Sprintf("The crew agreed with %d of the %s it judged.", t.Agreed, counted(t.Judged, "finding", "findings"))
}

// made says what the sheet was made by, so that a printed one can be told apart.
func made(r *schemas.Report) string {
	text := "How sure was tried on simulated matches."
	if r.From.Afterbell != "" {
		text += " Made by afterbell " + r.From.Afterbell
		if len(r.From.ProfileSHA256) >= 12 {
			text += ", profile " + r.From.ProfileSHA256[:12]
		}
		if len(r.From.SignalsSHA256) >= 12 {
			text += ", signals " + r.From.SignalsSHA256[:12]
		}
		text += "."
	}
	return text
}

// figureRow is the figures with the class of where they stand.
type figureRow struct {
	Class   string
	Figures []figure
}

// FigureRow is the figures for one place of the page.
func (v *view) FigureRow(class string) figureRow { return figureRow{class, v.Figures} }

// FirstPage are the cards that stay on the first page of paper.
func (v *view) FirstPage() []card { return v.cardsWhere(true) }

// OtherCards are the cards of the second page of paper.
func (v *view) OtherCards() []card { return v.cardsWhere(false) }

func (v *view) cardsWhere(first bool) []card {
	var out []card
	for _, c := range v.Cards {
		if c.FirstPage == first {
			out = append(out, c)
		}
	}
	return out
}
