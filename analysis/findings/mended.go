package findings

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// MendedText says how a finding of an earlier match stands: facts first, and then how often
// chance alone would give them. It never says that something is mended.
func MendedText(m schemas.Mended) string {
	if m.Counted == "" {
		return notCountedText(m)
	}
	before := fmt.Sprintf("Before, %d in %s.", m.EventsBefore, amount(m.TrialsBefore, m.Counted))
	if m.State == schemas.MendedAgain {
		return fmt.Sprintf("Again: %d in this match, after %s without. %s", m.EventsToday, counted(len(m.Since)-1, "match", "matches"), before)
	}
	switch {
	case m.TrialsSince > 0:
	case m.Counted == "minutes": // another battery was in
		return "No match since could tell. " + before
	default:
		return "Not tried since. " + before
	}
	text := fmt.Sprintf("None in %s since. %s", amount(m.TrialsSince, m.Counted), before)
	if m.Suspected > 0 {
		text += fmt.Sprintf(" %s only suspected since.", counted(m.Suspected, "stop is", "stops are"))
	}
	if m.Chance == nil {
		return text
	}
	if m.State == schemas.MendedConvincing {
		return text + fmt.Sprintf(" If nothing had changed that would happen only %s; it is followed no further.", oneIn(*m.Chance))
	}
	return text + fmt.Sprintf(" If nothing had changed that would happen %s.", oneIn(*m.Chance))
}

func notCountedText(m schemas.Mended) string {
	switch {
	case m.State == schemas.MendedAgain:
		return fmt.Sprintf("Again in this match, after %s without.", counted(len(m.Since)-1, "match", "matches"))
	case len(m.Since) == 0:
		return "No match since could tell."
	}
	text := fmt.Sprintf("Not seen since, %s.", counted(len(m.Since), "match", "matches"))
	if m.State == schemas.MendedDone {
		text += " It is followed no further."
	}
	return text
}

// amount is so many trials in words: "9 passes", "2.5 minutes".
func amount(n float64, unit string) string {
	if unit == "minutes" {
		return fmt.Sprintf("%.1f minutes", n)
	}
	words := map[string]string{"passes": "pass", "attempts": "attempt", "moves": "move"}
	return counted(int(math.Round(n)), words[unit], unit)
}

func counted(n int, one, many string) string {
	return fmt.Sprintf("%d %s", n, plural(n, one, many))
}

// oneIn is a probability as people count: "1 time in 20", "9 times in 10".
func oneIn(p float64) string {
	switch {
	case p >= 0.95:
		return "nearly always"
	case p > 2.0/3:
		return fmt.Sprintf("%.0f times in 10", math.Min(math.Round(p*10), 9))
	case p < 1e-3:
		return "less than 1 time in 1000"
	default:
		return fmt.Sprintf("1 time in %.0f", math.Max(math.Floor(1/p+1e-9), 2))
	}
}
