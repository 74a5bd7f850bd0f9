package draw

import (
	"fmt"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Behind is whether a robot surely lies in the worse half of a measure.
func Behind(m *schemas.FleetMeasure, e *schemas.FleetEstimate) bool {
	return 2*e.Best > len(m.Robots)+1
}

// FleetValue is a robot's value and its interval in words.
func FleetValue(m *schemas.FleetMeasure, e *schemas.FleetEstimate) (value, interval string) {
	return SeasonAmount(e.Value, m.Unit), between(m.Unit, e.Low, e.High)
}

// between is an interval with its unit once.
func between(unit string, low, high *float64) string {
	if !finite(low) || !finite(high) {
		return "too few to say"
	}
	text, last := SeasonAmount(*low, unit), SeasonAmount(*high, unit)
	if at := strings.LastIndexByte(last, ' '); at > 0 {
		text = strings.TrimSuffix(text, last[at:])
	}
	return text + " to " + last
}

// FleetPlace is which places a robot may have.
func FleetPlace(m *schemas.FleetMeasure, e *schemas.FleetEstimate) string {
	switch {
	case len(m.Robots) == 1:
		return "nothing to compare with"
	case e.Best == e.Worst:
		return fmt.Sprintf("place %d of %d", e.Best, len(m.Robots))
	}
	return fmt.Sprintf("place %d to %d of %d", e.Best, e.Worst, len(m.Robots))
}

// FleetWeakest is the worst stage or battery of a robot, and what it cannot be told from.
func FleetWeakest(m *schemas.FleetMeasure, w *schemas.FleetWeakest) string {
	text := w.Name + " " + SeasonAmount(w.Value, m.Unit)
	switch n := len(w.NotFrom); {
	case n == 1:
		text += ", or " + w.NotFrom[0]
	case n > 1:
		text += ", or one of " + strconv.Itoa(n) + " more"
	}
	return text
}

// FleetSentence is all that is known of a robot by a measure.
func FleetSentence(m *schemas.FleetMeasure, e *schemas.FleetEstimate) string {
	value, interval := FleetValue(m, e)
	said := []string{value}
	if e.Of != nil {
		said[0] += fmt.Sprintf(" (%d of %d)", *e.Events, *e.Of)
	}
	if e.Low != nil {
		said = append(said, "95 %: "+interval, FleetPlace(m, e))
	} else {
		said = append(said, interval)
	}
	matches := "matches"
	if e.Matches == 1 {
		matches = "match"
	}
	said = append(said, fmt.Sprintf("%d %s", e.Matches, matches))
	if w := e.Weakest; w != nil {
		part := "worst stage "
		if m.Unit != "" {
			part = "worst battery "
		}
		part += w.Name + " " + SeasonAmount(w.Value, m.Unit)
		if w.Low != nil {
			part += " (" + between(m.Unit, w.Low, w.High) + ")"
		}
		if len(w.NotFrom) > 0 {
			part += ", not told from " + strings.Join(w.NotFrom, ", ")
		}
		said = append(said, part)
	}
	return strings.Join(said, "; ")
}
