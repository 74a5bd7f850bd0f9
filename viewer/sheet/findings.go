package sheet

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// finding is one row of the list.
type finding struct {
	Anchor, ID     string
	Rank           int
	Severity, Word string
	Title, Because string
	Mark           template.HTML
	Cautions       []caution
	Checks         []check
	Evidence       template.HTML
	Caption        string
	When, Href     string
	At             string // match time of its begin, on a page
	Lost           string // empty when unknown
	Sure           string
	SureBoxes      template.HTML
	SmallOnPaper   bool   // one line there
	Judged         string // what the crew said, in words; empty when nothing
	Answers        []answer
}

// answer is a button by which the crew says whether a finding was right.
type answer struct{ Word, Value string }

// judgedWords is what the crew said of a finding, and the buttons to say something else.
func judgedWords(happened string) (words string, answers []answer) {
	yes, no := answer{"That happened", crew.Happened}, answer{"It did not", crew.DidNot}
	back := answer{"Take back", crew.Unsaid}
	switch happened {
	case crew.Happened:
		return "The crew says: that happened.", []answer{no, back}
	case crew.DidNot:
		return "The crew says: it did not happen.", []answer{yes, back}
	default:
		return "", []answer{yes, no}
	}
}

// caution is a warning with the words before its colon set off.
type caution struct{ Head, Text string }

type check struct{ ID, Tick, Text string }

func (v *view) findings() []finding {
	var out []finding
	for i, f := range v.in.Report.Findings {
		rank := i + 1
		q := finding{
			Anchor: fmt.Sprintf("finding-%d", rank), ID: f.ID, Rank: rank, Severity: f.Severity, Word: draw.SeverityWord(f.Severity),
			Title: f.Title, Because: f.Because,
			Mark: page.Small(draw.SeverityMark(f.Severity, rank, 11), "", ""),
			When: when(v.scene, spansOf(f)), Sure: "sure " + sure(f.Confidence),
			SureBoxes: page.Small(draw.SureBoxes(f.Confidence), "", ""),
			Caption:   captionOf(f),
		}
		q.Judged, q.Answers = judgedWords(v.in.Judged[f.ID])
		for _, c := range f.Caution {
			q.Cautions = append(q.Cautions, cautionOf(c))
		}
		for k, c := range f.Check {
			q.Checks = append(q.Checks, check{ID: fmt.Sprintf("tick-%d-%d", rank, k+1), Tick: f.ID + "/" + strconv.Itoa(k+1), Text: c})
		}
		if p, ok := draw.Evidence(v.scene, f); ok {
			q.Evidence = page.Small(p, fmt.Sprintf("evidence-%d", rank), "")
		}
		if f.CostS != nil {
			q.Lost = number(*f.CostS, 1)
		}
		q.Href = v.stretch(around(f))
		if v.in.Mode == Page {
			q.At = fmt.Sprintf("%.3f", v.scene.T(spansOf(f)[0].StartS))
		}
		out = append(out, q)
	}
	return out
}

// captionOf says what the evidence picture shows: the first note of the evidence, else what
// the finding rests on.
func captionOf(f schemas.Finding) string {
	for _, e := range f.Evidence {
		if e.Note != "" {
			return e.Note
		}
	}
	return ""
}

func cautionOf(text string) caution {
	if head, rest, ok := strings.Cut(text, ":"); ok && len(head) <= 40 {
		return caution{Head: head + ":", Text: rest}
	}
	return caution{Text: text}
}

// spansOf are the stretches of a finding, at least its own.
func spansOf(f schemas.Finding) []schemas.Span {
	if len(f.Spans) > 0 {
		return f.Spans
	}
	return []schemas.Span{{StartS: f.StartS, EndS: f.EndS}}
}

// around is the stretch of a finding's evidence with the signals that show it.
func around(f schemas.Finding) (fromS, toS float64, signals []string) {
	span := spansOf(f)[0]
	fromS, toS = span.StartS, span.EndS
	for i, e := range f.Evidence {
		if i == 0 {
			fromS, toS = e.StartS, e.EndS
		}
		if e.Signal != "" && !slices.Contains(signals, e.Signal) {
			signals = append(signals, e.Signal)
		}
	}
	return fromS, toS, signals
}

// stretch is the address on the bench with some room at both sides; empty without a bench.
func (v *view) stretch(fromS, toS float64, signals []string) string {
	if v.in.Mode != Page || v.in.Stretch == nil {
		return ""
	}
	pad := max(0.1*(toS-fromS), 0.5)
	return v.in.Stretch(fromS-pad, toS+pad, signals...)
}

func (v *view) findingsNote() string {
	n := len(v.in.Report.Findings)
	if n == 0 {
		return ""
	}
	text := counted(n, "finding", "findings")
	if n > 1 {
		text += ", worst first"
	}
	if v.in.Mode == Page {
		text += ". Tick what is done; ticks stay on this device"
	}
	return text + "."
}

// nothing is the sentence of an empty list and whether something was not looked at.
func (v *view) nothing() string {
	for _, a := range v.in.Report.Analyses {
		if !a.Ran {
			return "What was not looked at can still be broken."
		}
	}
	return "What no signal shows can still be broken."
}

// underNames is the small print below match and robot.
func (v *view) underNames() string {
	r := v.in.Report
	var parts []string
	if r.Match.At != nil {
		parts = append(parts, clock(*r.Match.At))
	}
	if r.Battery.ID != "" {
		parts = append(parts, "battery "+r.Battery.ID)
	} else if r.Quality.Signals > 0 {
		parts = append(parts, counted(r.Quality.Signals, "signal", "signals"))
	}
	return strings.Join(parts, ", ")
}

func (v *view) ribbonNotes() []ribbonNote {
	r := v.in.Report
	var out []ribbonNote
	if len(r.Findings) > 0 {
		out = append(out, ribbonNote{"Findings", "pins, numbered as in the list"})
	}
	if u := r.Usual.CycleS; u != nil && len(r.Cycles) > 0 {
		usual := "the usual " + number(*u, 1) + " s"
		if r.Usual.Source != "matches" {
			usual = "this match’s own median, " + number(*u, 1) + " s"
		}
		out = append(out, ribbonNote{"Cycles", "height: length against " + usual + " (dashed)"})
	}
	if v.scene.Voltage != nil {
		text := "thickness: volts above 6"
		switch {
		case len(r.Brownouts) > 0:
			text += "; parted at the dots: brownout"
		case v.scene.CutOff() != nil:
			text += "; dotted: cut-off " + short(*v.scene.CutOff(), 2) + " V"
		}
		out = append(out, ribbonNote{"Supply", text})
	}
	return out
}
