package sheet

import (
	"bufio"
	"fmt"
	"io"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/viewer/draw"
)

// leastWidth is the narrowest text that is still laid out; a smaller width counts as this.
const leastWidth = 40

// Text writes the facts of a sheet for a terminal of width columns: verdict, findings with
// cautions and checks, what is followed from earlier matches, figures, jams, brownouts, cycles,
// balance, what is unknown, and what the crew said. Times are match time. Severities are told
// by word and shape; color adds the terminal's own colours and changes no letter.
func Text(w io.Writer, r *schemas.Report, said crew.Said, width int, color bool) error {
	if r == nil {
		return fmt.Errorf("match sheet: there is no report to show")
	}
	t := &text{
		out: bufio.NewWriter(w), width: max(width, leastWidth), color: color,
		scene: draw.NewScene(r, nil, nil), names: namesOf(r), said: said,
	}
	t.verdict()
	t.mended()
	t.findings()
	t.notes()
	t.figures()
	t.jams()
	t.brownouts()
	t.standby()
	t.cycles()
	t.balances()
	t.unknowns()
	t.line("")
	t.wrap("", "", "This sheet informs. It does not say that a robot is safe.")
	return t.out.Flush()
}

type text struct {
	out   *bufio.Writer
	width int
	color bool
	scene *draw.Scene
	names names
	said  crew.Said
}

// Terminal attributes: bold, faint and red of the reader's own palette.
const (
	bold  = "1"
	faint = "2"
	red   = "31"
)

func (t *text) paint(s string, codes ...string) string {
	if !t.color || s == "" {
		return s
	}
	return "\x1b[" + strings.Join(codes, ";") + "m" + s + "\x1b[0m"
}

func (t *text) line(s string) { t.out.WriteString(strings.TrimRight(s, " ") + "\n") }

func (t *text) heading(s string) {
	t.line("")
	t.line(t.paint(s, bold))
}

// shape is a severity's shape in letters.
func shape(severity string) string {
	switch severity {
	case schemas.SeverityStop:
		return "■"
	case schemas.SeverityFix:
		return "▼"
	case schemas.SeverityWatch:
		return "○"
	default:
		return "—"
	}
}

func severityCodes(severity string) []string {
	if severity == schemas.SeverityStop || severity == schemas.SeverityFix {
		return []string{bold, red}
	}
	return []string{bold}
}

func (t *text) verdict() {
	r := t.scene.Report
	head := r.Match.Match + " " + r.Match.Robot
	if r.Match.Event != "" {
		head += ", " + r.Match.Event
	}
	if under := (&view{in: Input{Report: r}}).underNames(); under != "" {
		head += ", " + under
	}
	t.wrap("", "", head, faint)
	words := r.Verdict.Text
	if w := draw.SeverityWord(r.Verdict.Severity); w != "" {
		words = w + " " + words
	}
	t.wrap(shape(r.Verdict.Severity)+" ", "  ", words, severityCodes(r.Verdict.Severity)...)
	if r.Verdict.Detail != "" {
		t.wrap("  ", "  ", r.Verdict.Detail)
	}
}

func (t *text) findings() {
	r := t.scene.Report
	t.heading("Before the next match")
	if len(r.Findings) == 0 {
		t.wrap("  ", "  ", "The log asks for nothing. Do your own usual round.")
		return
	}
	for i, f := range r.Findings {
		lead := fmt.Sprintf("%s%2d ", shape(f.Severity), i+1)
		t.wrap(lead, "    ", strings.TrimSpace(draw.SeverityWord(f.Severity)+" "+f.Title), severityCodes(f.Severity)...)
		for _, c := range f.Caution {
			t.wrap("    ! ", "      ", c)
		}
		for _, c := range f.Check {
			t.wrap("    [ ] ", "        ", c)
		}
		if len(f.Check) == 0 && f.Because != "" {
			t.wrap("    ", "    ", f.Because)
		}
		lost := "unknown"
		if f.CostS != nil {
			lost = number(*f.CostS, 1) + " s"
		}
		t.wrap("    ", "    ", when(t.scene, spansOf(f))+"; scoring lost: "+lost+"; sure "+sure(f.Confidence), faint)
	}
}

func (t *text) mended() {
	rows, more := mendedRows(t.scene.Report, t.said)
	if len(rows) == 0 {
		return
	}
	t.heading("Is it mended?")
	for _, m := range rows {
		head := m.What
		if m.Last != "" {
			head += ", " + m.Last
		}
		t.wrap("  ", "  ", head+". "+m.Text)
		for _, s := range m.Said {
			t.wrap("    ", "    ", s, faint)
		}
	}
	if more > 0 {
		t.wrap("  ", "  ", fmt.Sprintf("and %d more in the report", more))
	}
}

func (t *text) notes() {
	if len(t.said.Remarks) == 0 {
		return
	}
	t.heading("Notes")
	for _, n := range t.said.Remarks {
		t.wrap("  ", "  ", n.Text)
	}
}

// pairs writes names and values in two columns.
func (t *text) pairs(rows [][2]string) {
	first := 0
	for _, r := range rows {
		first = max(first, min(runes(r[0]), 24))
	}
	for _, r := range rows {
		name := plainText(r[0])
		if runes(name) > first {
			name = string([]rune(name)[:first-1]) + "…"
		}
		lead := "  " + name + strings.Repeat(" ", first-runes(name)+2)
		t.wrap(lead, strings.Repeat(" ", runes(lead)), r[1])
	}
}

func (t *text) figures() {
	t.heading("Figures")
	var rows [][2]string
	for _, f := range figuresOf(t.scene, t.names) {
		value := f.Value
		if f.Unit != "" {
			value += " " + f.Unit
		}
		if f.Beside != "" {
			value += " (" + f.Beside + ")"
		}
		rows = append(rows, [2]string{f.Label, value})
	}
	t.pairs(rows)
}

func (t *text) jams() {
	r := t.scene.Report
	if len(r.Stages) == 0 && len(r.Jams) == 0 {
		return
	}
	t.heading("Path")
	t.wrap("  ", "  ", pathSentence(r, t.names))
	for i, j := range r.Jams {
		words := j.Stage + " stood " + number(draw.Stood(r, j), 1) + " s from " + number(t.scene.T(j.StartS), 2) + " s"
		if how := draw.HowJamEnded(j.How); j.Cleared && how != "" {
			words += ", then " + how
		}
		if !j.Cleared {
			words += ", not cleared"
		}
		if j.PeakA != nil {
			words += ", up to " + number(*j.PeakA, 0) + " A"
		}
		t.wrap(fmt.Sprintf("  jam %d  ", i+1), "         ", words+"; sure "+sure(j.Confidence))
	}
	if n := len(r.SuspectedJams); n > 0 {
		t.wrap("  ", "  ", counted(n, "more stop is", "more stops are")+" only suspected.")
	}
}

func (t *text) brownouts() {
	r := t.scene.Report
	if ok, _ := ran(r, "power"); !ok {
		return
	}
	t.heading("Power")
	t.wrap("  ", "  ", powerSentence(t.scene))
	for _, b := range r.Brownouts {
		words := "down to " + number(b.MinV, 2) + " V for " + draw.Lasted(b)
		if b.CurrentA != nil {
			words += " at " + number(*b.CurrentA, 0) + " A"
		}
		var shares []string
		for _, s := range b.Branches {
			shares = append(shares, s.Name+" "+number(s.Share*100, 0)+" %")
		}
		if len(shares) > 0 {
			words += ": " + strings.Join(shares, ", ")
		}
		lead := fmt.Sprintf("  %8s  ", number(t.scene.T(b.StartS), 2)+" s")
		t.wrap(lead, strings.Repeat(" ", runes(lead)), words)
	}
}

// standby names branches that drew current while the robot was disabled.
func (t *text) standby() {
	for _, d := range t.scene.Report.StandbyDraws {
		t.wrap("  ", "  ", capital(d.Branch)+" drew "+number(d.MedianA, 1)+" A while the robot was disabled, from "+
			number(t.scene.T(d.StartS), 1)+" to "+number(t.scene.T(d.EndS), 1)+" s.")
	}
}

func (t *text) cycles() {
	r := t.scene.Report
	if ok, _ := ran(r, "cycles"); !ok {
		return
	}
	t.heading("Cycles")
	t.wrap("  ", "  ", joined(cyclesSentence(r), placingSentence(r.Placing)))
	n := 0
	var all []string
	for _, c := range r.Cycles {
		switch {
		case c.Kind == schemas.CycleHandover:
			all = append(all, "hand-over")
		case !c.Complete:
			all = append(all, number(c.DurationS, 1)+" cut off")
		default:
			n++
			words := number(c.DurationS, 1)
			if c.Slow {
				words += " slow (" + slowWord(c.Why) + ")"
			}
			all = append(all, words)
		}
	}
	if len(all) > 0 {
		t.wrap("  ", "  ", "In order, s: "+strings.Join(all, ", "))
	}
	if u := r.Usual; u.LowS != nil && u.HighS != nil {
		t.wrap("  ", "  ", "8 in 10 of the usual: "+number(*u.LowS, 1)+" to "+number(*u.HighS, 1)+" s, from "+counted(u.Cycles, "cycle", "cycles")+".")
	}
}

func (t *text) balances() {
	r := t.scene.Report
	if len(r.Balances) == 0 {
		return
	}
	t.heading("Balance")
	for i, b := range r.Balances {
		words := balanceSentence(b, t.names)
		if damping := dampingWords(b); damping != "" {
			words += " Damping " + damping + "."
		}
		words = joined(words, sentence(b.Diagnosis))
		lead := "  " + strconv.Itoa(i+1) + "  "
		t.wrap(lead, "     ", "At "+number(t.scene.T(b.StartS), 1)+" s. "+words)
	}
}

func (t *text) unknowns() {
	r := t.scene.Report
	t.heading("What this log cannot tell")
	for _, u := range r.Unknowns {
		words := u.What + "."
		if u.Signal != "" {
			words += " Would tell: " + u.Signal
		}
		t.wrap("  ? ", "    ", words)
	}
	v := &view{in: Input{Report: r}, scene: t.scene}
	t.pairs(v.logFacts())
}
