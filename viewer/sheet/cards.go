package sheet

import (
	"fmt"
	"html/template"
	"slices"
	"strconv"
	"strings"

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
	return template.HTML(page.Table(draw.Table(t), "facts numbers"))
}

func (v *view) cards() []card {
	var out []card
	for _, make := range []func() (card, bool){v.pathCard, v.powerCard, v.balanceCard, v.cyclesCard, v.autonomousCard, v.movesCard} {
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

func (v *view) powerCard() (card, bool) {
	r := v.in.Report
	strip := v.figure("power", "voltage", func(w float64) (*draw.Picture, bool) { return draw.VoltageStrip(v.scene, w) })
	line, lineHeight := v.half("load-line", func(w float64) (*draw.Picture, bool) { return draw.LoadLine(v.scene, w) })
	shares, sharesHeight := v.half("shares", func(w float64) (*draw.Picture, bool) { return draw.Shares(v.scene, w) })
	if strip == "" && line == "" && shares == "" {
		return card{}, false
	}
	c := card{ID: "power", Name: "Power", Picture: strip, Sentence: powerSentence(v.scene)}
	if strip != "" {
		c.Keys = append(c.Keys, "Every sample is in the strip: no dip is averaged away.")
	}
	if line != "" {
		c.Halves = append(c.Halves, line+`<p class="note">Volts against amperes, all of the match. Slope is resistance. Thin: 95 %.</p>`)
	} else if r.Battery.Reason != "" {
		c.Note = "No load line: " + r.Battery.Reason + "."
	}
	beside := template.HTML("")
	if shares != "" {
		beside = `<h3 class="sub">Who drew the current</h3>` + shares
	}
	t := batteryTable(r)
	beside += t.HTML()
	v.heights["power"] += max(lineHeight, sharesHeight+34+18*float64(len(t.Rows)))
	if beside != "" {
		c.Halves = append(c.Halves, beside)
	}
	for i, d := range r.StandbyDraws {
		if i == 4 {
			c.Note = joined(c.Note, counted(len(r.StandbyDraws)-i, "more branch does", "more branches do")+" so too.")
			break
		}
		c.Note = joined(c.Note, capital(d.Branch)+" drew "+number(d.MedianA, 1)+" A while the robot was disabled, from "+
			number(v.scene.T(d.StartS), 1)+" to "+number(v.scene.T(d.EndS), 1)+" s.")
	}
	at := r.Battery.LowestAtS
	if len(r.Brownouts) > 0 {
		at = &r.Brownouts[0].StartS
	}
	if at != nil {
		c.Open = "Open the dip at " + number(v.scene.T(*at), 1) + " s"
		c.Href = v.stretch(*at-0.7, *at+0.9, powerSignals(v.scene))
	}
	return c, true
}

func powerSignals(s *draw.Scene) []string {
	p := s.Profile.Power
	if p == nil {
		return nil
	}
	var out []string
	if p.Voltage != nil {
		out = append(out, p.Voltage.Signal)
	}
	if p.Current != nil {
		out = append(out, p.Current.Signal)
	}
	return out
}

func batteryTable(r *schemas.Report) table {
	b := r.Battery
	t := table{Head: []string{"Battery", "Open circuit", "Resistance", "Drawn"}}
	name := "today"
	if b.ID != "" {
		name = clip(b.ID) + " today"
	}
	cell := func(v *float64, decimals int, unit string) string {
		if v == nil {
			return "unknown"
		}
		return number(*v, decimals) + " " + unit
	}
	if b.OpenCircuitV == nil && b.ResistanceOhm == nil && b.ChargeAh == nil && b.RestV == nil {
		return table{}
	}
	drawn := cell(b.ChargeAh, 2, "Ah")
	if b.EnergyWh != nil {
		drawn += ", " + number(*b.EnergyWh, 1) + " Wh"
	}
	resistance := cell(b.ResistanceOhm, 3, "Ω")
	if b.ResistanceLowOhm != nil && b.ResistanceHighOhm != nil {
		resistance += " (" + number(*b.ResistanceLowOhm, 3) + " to " + number(*b.ResistanceHighOhm, 3) + ")"
	}
	t.Rows = append(t.Rows, []string{name, cell(b.OpenCircuitV, 2, "V"), resistance, drawn})
	if b.UsualResistanceOhm != nil {
		t.Rows = append(t.Rows, []string{"usual", "", cell(b.UsualResistanceOhm, 3, "Ω"), ""})
	}
	if b.RestV != nil {
		t.Rows = append(t.Rows, []string{"at rest", cell(b.RestV, 2, "V"), "", ""})
	}
	return t
}

func (v *view) balanceCard() (card, bool) {
	r := v.in.Report
	if len(r.Balances) == 0 {
		return card{}, false
	}
	last := r.Balances[len(r.Balances)-1]
	c := card{ID: "balance", Name: "Balance", Sentence: balanceSentence(last, v.names)}
	if len(r.Balances) > 1 {
		c.Sentence = fmt.Sprintf("Attempt %d of %d: ", len(r.Balances), len(r.Balances)) + c.Sentence
	}
	c.Picture = v.figure("balance", "balance", func(w float64) (*draw.Picture, bool) { return draw.Balance(v.scene, last, w) })
	if m := last.Model; m != nil && c.Picture != "" && m.ErrorDeg <= 2 && m.Zeta < 0.7 {
		c.Keys = append(c.Keys, "Dashed: the same start with damping 0.7, by a model fitted to this attempt (fits within ±"+number(m.ErrorDeg, 1)+"°).")
	}
	if last.Diagnosis != "" || last.Advice != "" {
		c.Note = joined(sentence(last.Diagnosis), sentence(last.Advice))
	}
	if len(r.Balances) > 1 {
		c.Table = table{Head: []string{"Attempt", "From", "Outcome", "Settled in", "Swings past", "Damping"}}
		for i, b := range r.Balances {
			settle, damping := "unknown", "unknown"
			if b.SettleS != nil {
				settle = number(*b.SettleS, 1) + " s"
			} else if b.Outcome != schemas.BalanceLevel {
				settle = "not"
			}
			if b.DampingRatio != nil {
				damping = number(*b.DampingRatio, 2)
			}
			c.Table.Rows = append(c.Table.Rows, []string{
				strconv.Itoa(i + 1), number(v.scene.T(b.StartS), 1) + " s", draw.OutcomeOfBalance(b.Outcome), settle, strconv.Itoa(b.Overshoots), damping,
			})
		}
	}
	var signals []string
	if p := v.scene.Profile.Balance; p != nil {
		if p.Tilt != nil {
			signals = append(signals, p.Tilt.Signal)
		}
		if p.Drive != nil {
			signals = append(signals, p.Drive.Signal)
		}
	}
	c.Open, c.Href = "Open "+stretch(v.scene, last.StartS, last.EndS), v.stretch(last.StartS, last.EndS, signals)
	return c, true
}

// sentence gives a text its capital and its full stop.
func sentence(s string) string {
	s = capital(strings.TrimSpace(s))
	if s != "" && !strings.ContainsAny(s[len(s)-1:], ".?:") {
		s += "."
	}
	return s
}

// joined puts two texts after each other as sentences.
func joined(a, b string) string {
	switch {
	case a == "":
		return b
	case b == "":
		return a
	default:
		return a + " " + b
	}
}

func (v *view) cyclesCard() (card, bool) {
	r := v.in.Report
	pic := v.figure("cycles", "cycles", func(w float64) (*draw.Picture, bool) { return draw.Cycles(v.scene, w) })
	if pic == "" {
		return card{}, false
	}
	c := card{ID: "cycles", Name: "Cycles", Picture: pic, Sentence: cyclesSentence(r)}
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
		if q.Kind == "handover" {
			handovers++
		}
	}
	if handovers > 0 {
		c.Note = counted(handovers, "hand-over", "hand-overs") + " to a partner besides."
	}
	if i := slices.IndexFunc(r.Cycles, func(q schemas.Cycle) bool { return q.Slow }); i >= 0 {
		q := r.Cycles[i]
		c.Open, c.Href = "Open "+stretch(v.scene, q.StartS, q.EndS), v.stretch(q.StartS, q.EndS, nil)
	}
	return c, true
}

func (v *view) autonomousCard() (card, bool) {
	a := v.in.Report.Autonomous
	if a.StartS == nil && a.Pieces == nil && len(a.Track) == 0 {
		return card{}, false
	}
	c := card{ID: "autonomous", Name: "Autonomous", Sentence: autonomousSentence(a, v.names)}
	pic, height := v.half("autonomous", func(w float64) (*draw.Picture, bool) { return draw.Autonomous(v.scene, w) })
	if pic != "" {
		c.Halves = append(c.Halves, pic)
		c.Keys = append(c.Keys, "Driven path; shaded: zones of the profile.")
	}
	t := table{Head: []string{"Autonomous", "Today", "Usual"}}
	pieces, usual := "unknown", ""
	if a.Pieces != nil {
		pieces = strconv.Itoa(*a.Pieces)
	}
	if a.UsualPieces != nil {
		usual = short(*a.UsualPieces, 1)
	}
	t.Rows = append(t.Rows, []string{capital(v.names.pieces) + " scored", pieces, usual})
	for i, at := range a.ScoresS[:min(len(a.ScoresS), 3)] {
		t.Rows = append(t.Rows, []string{capital(ordinal(i+1)) + " " + v.names.piece + " scored at", number(v.scene.T(at), 1) + " s", ""})
	}
	if a.EndErrorM != nil {
		t.Rows = append(t.Rows, []string{"From the usual end", number(*a.EndErrorM, 2) + " m", ""})
	}
	if a.EndX != nil && a.EndY != nil {
		t.Rows = append(t.Rows, []string{"Ended at x, y", number(*a.EndX, 2) + ", " + number(*a.EndY, 2) + " m", ""})
		heading := "unknown"
		if a.EndHeading != nil {
			heading = number(*a.EndHeading, 2) + " rad"
		}
		t.Rows = append(t.Rows, []string{"Heading at the end", heading, ""})
	}
	c.Halves = append(c.Halves, t.HTML())
	v.heights["autonomous"] = max(height, 18+18*float64(len(t.Rows)))
	if a.StartS != nil && a.EndS != nil {
		var signals []string
		if p := v.scene.Profile.Cycles; p != nil && p.Pose != nil {
			if p.Pose.X != nil {
				signals = append(signals, p.Pose.X.Signal)
			}
			if p.Pose.Y != nil {
				signals = append(signals, p.Pose.Y.Signal)
			}
		}
		c.Open, c.Href = "Open "+stretch(v.scene, *a.StartS, *a.EndS), v.stretch(*a.StartS, *a.EndS, signals)
	}
	return c, true
}

func ordinal(n int) string {
	return []string{"", "first", "second", "third"}[n]
}

func (v *view) movesCard() (card, bool) {
	moves := v.in.Report.Moves
	if len(moves) == 0 {
		return card{}, false
	}
	short := 0
	for _, m := range moves {
		if m.Outcome == "short" {
			short++
		}
	}
	c := card{ID: "moves", Name: "Moves", Sentence: counted(len(moves), "move", "moves") + ", " + strconv.Itoa(short) + " fell short of the target."}
	c.Table = table{Head: []string{"Move", "At", "From", "To", "Settled in", "Overshoot", "Outcome", "Most current"}}
	// Those that fell short first, then the slowest.
	order := slices.Clone(moves)
	slices.SortStableFunc(order, func(a, b schemas.Move) int {
		if (a.Outcome == "short") != (b.Outcome == "short") {
			if a.Outcome == "short" {
				return -1
			}
			return 1
		}
		switch x, y := seconds(a.SettleS), seconds(b.SettleS); {
		case x > y:
			return -1
		case x < y:
			return 1
		default:
			return 0
		}
	})
	const most = 8
	for _, m := range order[:min(len(order), most)] {
		settle, amps := "not", "unknown"
		if m.SettleS != nil {
			settle = number(*m.SettleS, 2) + " s"
		}
		if m.PeakA != nil {
			amps = number(*m.PeakA, 0) + " A"
		}
		c.Table.Rows = append(c.Table.Rows, []string{
			m.Name, number(v.scene.T(m.StartS), 1) + " s", number(m.From, 3), number(m.To, 3), settle, number(m.Overshoot, 3), m.Outcome, amps,
		})
	}
	if n := len(order) - most; n > 0 {
		c.Note = "and " + strconv.Itoa(n) + " more, all in the report."
	}
	return c, true
}

func seconds(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}

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
