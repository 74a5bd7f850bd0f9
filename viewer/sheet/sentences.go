package sheet

import (
	"fmt"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
)

// pathSentence says how the pieces went through.
func pathSentence(r *schemas.Report, n names) string {
	total := len(r.Passes)
	if total == 0 {
		return "No " + n.piece + " entered the path."
	}
	stood := map[int]bool{}
	for _, j := range r.Jams {
		if j.Piece != nil {
			stood[*j.Piece] = true
		}
	}
	went, backed, held := 0, 0, 0
	for _, p := range r.Passes {
		switch {
		case stood[p.Piece]:
		case p.Outcome == schemas.PassReleased:
			went++
		case p.Outcome == schemas.PassBackedOut:
			backed++
		case p.Outcome == schemas.PassHeld:
			held++
		}
	}
	const how = "went straight through"
	text := capital(inWords(went)) + " of " + inWords(total) + " " + n.pieces + " " + how + "."
	if total == 1 {
		text = "The one " + n.piece + " " + how + "."
		if went == 0 {
			text = "The one " + n.piece + " did not go straight through."
		}
	} else if went == total {
		text = "All " + inWords(total) + " " + n.pieces + " " + how + "."
	}
	if s := stoodSentence(r); s != "" {
		text += " " + s
	}
	if backed > 0 {
		text += " " + capital(inWords(backed)) + " backed out."
	}
	if held > 0 {
		text += " " + capital(inWords(held)) + " " + isAre(held) + " still held."
	}
	return text
}

func isAre(n int) string {
	if n == 1 {
		return "is"
	}
	return "are"
}

// stoodSentence counts jams by stage.
func stoodSentence(r *schemas.Report) string {
	var order []string
	count := map[string]int{}
	for _, j := range r.Jams {
		if count[j.Stage] == 0 {
			order = append(order, j.Stage)
		}
		count[j.Stage]++
	}
	var parts []string
	for i, s := range order {
		verb := ""
		if i == 0 {
			verb = " stood"
		}
		parts = append(parts, inWords(count[s])+verb+" in the "+s)
	}
	if len(parts) == 0 {
		return ""
	}
	return capital(listed(parts)) + "."
}

// powerSentence says how near the supply came to its cut-off.
func powerSentence(s *draw.Scene) string {
	b := s.Report.Battery
	name := "The battery"
	if b.ID != "" {
		name = b.ID
	}
	cut := s.CutOff()
	switch {
	case b.BrownoutA != nil && b.PeakA != nil && *b.PeakA >= *b.BrownoutA:
		return fmt.Sprintf("%s browns out above %s A, and this robot asked for %s A.", name, number(*b.BrownoutA, 0), number(*b.PeakA, 0))
	case b.BrownoutA != nil && b.PeakA != nil:
		return fmt.Sprintf("%s would brown out at %s A. The most asked for was %s A.", name, number(*b.BrownoutA, 0), number(*b.PeakA, 0))
	case len(s.Report.Brownouts) > 0:
		return "The supply fell under the cut-off " + times(len(s.Report.Brownouts)) + "."
	case b.LowestV == nil:
		return "The lowest voltage is unknown."
	case cut == nil:
		return "The lowest voltage was " + number(*b.LowestV, 2) + " V."
	case *b.LowestV > *cut:
		return "The supply never came within " + number(math.Floor((*b.LowestV-*cut)*10)/10, 1) + " V of the cut-off."
	default:
		return "The lowest voltage was " + number(*b.LowestV, 2) + " V, at the cut-off."
	}
}

// balanceSentence says how one attempt went.
func balanceSentence(b schemas.Balance, n names) string {
	hz := ""
	if b.NaturalHz != nil && b.Overshoots > 1 {
		hz = " at " + number(*b.NaturalHz, 2) + " Hz"
	}
	swung := ""
	if b.Overshoots > 0 {
		swung = " swung past level " + times(b.Overshoots) + hz
	}
	switch b.Outcome {
	case schemas.BalanceLevel:
		in := ""
		if b.SettleS != nil {
			in = " in " + number(*b.SettleS, 1) + " s"
		}
		if swung != "" {
			return "The " + n.platform + swung + " and came level" + in + "."
		}
		return "The " + n.platform + " came level" + in + " without swinging past."
	case schemas.BalanceLeft:
		return "The robot drove off the " + n.platform + " after " + number(b.EndS-b.StartS, 1) + " s."
	default:
		if swung != "" {
			return "The " + n.platform + swung + " and was still not level at the end."
		}
		return "The " + n.platform + " was not level at the end, after " + number(b.EndS-b.StartS, 1) + " s."
	}
}

// cyclesSentence counts slow cycles by what cost them the time.
func cyclesSentence(r *schemas.Report) string {
	complete := 0
	var causes []string
	count := map[string]int{}
	slow := 0
	for _, c := range r.Cycles {
		if c.Kind == schemas.CycleHandover || !c.Complete {
			continue
		}
		complete++
		if !c.Slow {
			continue
		}
		slow++
		why := ""
		if c.Why != nil && slowWords[*c.Why] != [2]string{} {
			why = *c.Why
		}
		if count[why] == 0 {
			causes = append(causes, why)
		}
		count[why]++
	}
	median := r.MedianCycleS()
	switch {
	case complete == 0:
		return "No cycle was completed."
	case slow > 0:
		return slowSentence(slow, causes, count)
	case r.Usual.CycleS == nil:
		return capital(inWords(complete)) + " whole " + plural(complete, "cycle", "cycles") + ", too few to call one slow."
	case median != nil && r.Usual.Source != "matches":
		return "No cycle was slow. The median was " + number(*median, 1) + " s; no earlier match says what is usual."
	case median != nil:
		return "No cycle was slow. The median was " + number(*median, 1) + " s, usual " + number(*r.Usual.CycleS, 1) + " s."
	default:
		return "No cycle was slow."
	}
}

// placingSentence says how lining up to place went, and whether it was quicker when the robot
// steered itself; empty where it was not seen.
func placingSentence(p *schemas.Placing) string {
	if p == nil || p.ArrivedM == nil || p.Corrections == nil {
		return ""
	}
	words := "To place it arrived " + number(*p.ArrivedM, 2) + " m off its aiming point"
	switch {
	case *p.Corrections < 0.05:
		words += " and hardly ever had to correct"
	case *p.Corrections < 0.75:
		words += " and corrected about once in " + inWords(max(int(math.Round(1 / *p.Corrections)), 2)) + " times"
	default:
		words += " and corrected " + number(*p.Corrections, 1) + " times on average"
	}
	words += ", over " + counted(p.Cycles, "cycle", "cycles") + "."
	switch {
	case p.Assisted == 0:
	case p.DifferenceS == nil:
		words += " Too few approaches to tell whether the assisted or the hand-driven one is quicker."
	case p.Quicker == schemas.QuickerAssisted:
		words += " The assisted approach was " + number(-*p.DifferenceS, 1) + " s quicker (" + number(-*p.HighS, 1) + " to " + number(-*p.LowS, 1) + " s)."
	case p.Quicker == schemas.QuickerByHand:
		words += " The hand-driven approach was " + number(*p.DifferenceS, 1) + " s quicker (" + number(*p.LowS, 1) + " to " + number(*p.HighS, 1) + " s)."
	default:
		words += " Whether the assisted or the hand-driven approach is quicker cannot be told yet."
	}
	return words
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// slowSentence says how many cycles were slow and what cost them the time: causes in the
// order they were met, with the count of each. An empty cause is one that was not seen.
func slowSentence(slow int, causes []string, count map[string]int) string {
	head := capital(inWords(slow)) + " slow " + plural(slow, "cycle", "cycles")
	seen := len(causes)
	var parts []string
	for _, why := range causes {
		n := count[why]
		words := slowWords[why]
		switch {
		case why == "":
			seen--
			parts = append(parts, inWords(n)+" without a cause seen")
		case n == 1:
			parts = append(parts, "one "+words[0])
		default:
			parts = append(parts, inWords(n)+" "+words[1])
		}
	}
	switch {
	case slow == 1 && seen == 0:
		return head + ", without a cause seen."
	case len(causes) == 1 && seen == 0:
		return head + ", none with a cause seen."
	case len(causes) == 1:
		return head + ": " + strings.TrimPrefix(parts[0], inWords(slow)+" ") + "."
	case seen == len(causes):
		return head + ", " + inWords(seen) + " causes: " + listed(parts) + "."
	default:
		return head + ": " + listed(parts) + "."
	}
}

// slowWords are the causes of slow cycles by their name in a report, for one and for several.
var slowWords = map[string][2]string{
	"jam":     {"jam on the way", "jams on the way"},
	"return":  {"slow way back", "slow ways back"},
	"collect": {"slow pick-up", "slow pick-ups"},
	"carry":   {"slow carry", "slow carries"},
	"place":   {"slow placing", "slow placings"},
}

// slowWord is what cost one slow cycle its time.
func slowWord(why *string) string {
	if why != nil {
		if words, ok := slowWords[*why]; ok {
			return words[0]
		}
	}
	return "without a cause seen"
}

// autonomousSentence says what came of the autonomous period.
func autonomousSentence(a schemas.Autonomous, n names) string {
	scored := ""
	if a.Pieces != nil {
		scored = capital(inWords(*a.Pieces)) + " " + plural(*a.Pieces, n.piece, n.pieces) + " scored in autonomous"
	}
	end := ""
	if a.EndErrorM != nil {
		end = "it ended " + number(*a.EndErrorM, 2) + " m from its usual end"
	}
	switch {
	case scored != "" && end != "":
		return scored + "; " + end + "."
	case scored != "":
		return scored + "."
	case end != "":
		return "Autonomous: " + end + "."
	default:
		return "What autonomous scored is unknown."
	}
}
