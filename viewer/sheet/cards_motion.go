package sheet

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

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
	if c.Picture != "" && draw.Swung(last) {
		c.Keys = append(c.Keys, "Dashed: the same start with damping 0.7, by a model fitted to this attempt (fits within ±"+number(last.Model.ErrorDeg, 1)+"°). It does not say which gains give that.")
	}
	c.Note = v.balanceNote(last)
	if len(r.Balances) > 1 {
		c.Table = table{Head: []string{"Attempt", "From", "Outcome", "Settled in", "Swings past", "Damping"}}
		for i, b := range r.Balances {
			settle, damping := "unknown", "unknown"
			if b.SettleS != nil {
				settle = number(*b.SettleS, 1) + " s"
			} else if b.Outcome != schemas.BalanceLevel {
				settle = "not"
			}
			if words := dampingWords(b); words != "" {
				damping = words
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

// balanceNote is the diagnosis of an attempt that left something to better, and the advice
// where no finding gives it already, which then has its cautions too.
func (v *view) balanceNote(b schemas.Balance) string {
	if b.Advice == "" && b.Overshoots == 0 && b.Outcome == schemas.BalanceLevel {
		return ""
	}
	advice := sentence(b.Advice)
	if b.Retune != nil {
		advice += " " + cautionNewGains
	}
	for i, f := range v.in.Report.Findings {
		for _, check := range f.Check {
			if b.Advice != "" && sentence(check) == sentence(b.Advice) {
				advice = "What to change: finding " + strconv.Itoa(i+1) + "."
			}
		}
	}
	return joined(sentence(b.Diagnosis), advice)
}

// cautionNewGains stands beside gains that nobody has tried yet.
const cautionNewGains = "New gains: by the event's rules only, on blocks first, all stand clear of the platform, a hand at the disable switch."

// dampingWords is a damping ratio with its interval, or that alone where nothing nearer is known; empty
// where neither is.
func dampingWords(b schemas.Balance) string {
	interval := ""
	if b.DampingLow != nil && b.DampingHigh != nil {
		interval = number(*b.DampingLow, 2) + " to " + number(*b.DampingHigh, 2)
	}
	switch {
	case b.DampingRatio == nil:
		return interval
	case interval == "":
		return number(*b.DampingRatio, 2)
	}
	return number(*b.DampingRatio, 2) + " (" + interval + ")"
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
	t := table{Head: []string{"Autonomous", "Today"}}
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
	if usual != "" {
		t.Head = append(t.Head, "Usual")
	} else { // no earlier match: a column with nothing in it would only ask why
		for i, row := range t.Rows {
			t.Rows[i] = row[:2]
		}
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
	c := card{ID: "moves", Name: "Moves", Sentence: movesSentence(len(moves), short)}
	c.Table = table{Head: []string{"Move", "At", "From and to", "Settled in", "Overshoot", "Outcome", "Most current"}}
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
	most := 8
	if short == 0 {
		most = 3 // all settled: the slowest stand for the rest
	}
	for _, m := range order[:min(len(order), most)] {
		settle, amps := "not", "unknown"
		if m.SettleS != nil {
			settle = number(*m.SettleS, 2) + " s"
		}
		if m.PeakA != nil {
			amps = number(*m.PeakA, 0) + " A"
		}
		c.Table.Rows = append(c.Table.Rows, []string{
			m.Name, number(v.scene.T(m.StartS), 1) + " s", number(m.From, 3) + " to " + number(m.To, 3), settle, number(m.Overshoot, 3), m.Outcome, amps,
		})
	}
	if n := len(order) - most; n > 0 {
		c.Note = "The slowest first; " + strconv.Itoa(n) + " more are in the report."
		if short > 0 {
			c.Note = "And " + strconv.Itoa(n) + " more, all in the report."
		}
	}
	for _, m := range v.in.Report.Mechanisms {
		c.Note = joined(c.Note, weightNote(m))
	}
	return c, true
}

// movesSentence counts the moves that fell short.
func movesSentence(moves, short int) string {
	switch {
	case moves == 1 && short == 0:
		return "The one move came to its target."
	case moves == 1:
		return "The one move fell short of its target."
	case short == 0:
		return "None of " + inWords(moves) + " moves fell short of the target."
	default:
		return capital(inWords(short)) + " of " + inWords(moves) + " moves fell short of the target."
	}
}

// weightNote says what a mechanism draws up and down, and what a counterbalance would spare.
func weightNote(m schemas.Mechanism) string {
	if m.UpA == nil || m.DownA == nil {
		return ""
	}
	note := capital(m.Name) + " drew " + number(*m.UpA, 1) + " A going up and " + number(*m.DownA, 1) + " A going down"
	switch {
	case m.WeightA != nil && *m.WeightLowA <= 0 && *m.WeightHighA >= 0:
		note += ": no weight to speak of"
	case m.WeightA != nil:
		note += ": " + number(*m.WeightA, 1) + " A (" + number(*m.WeightLowA, 1) + " to " + number(*m.WeightHighA, 1) + ") carry its weight, which a counterbalance would spare the motor"
	case m.Reason != "":
		note += ": what carries its weight cannot be told, as " + m.Reason
	}
	return note + "."
}

func seconds(v *float64) float64 {
	if v == nil {
		return 0
	}
	return *v
}
