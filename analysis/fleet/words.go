package fleet

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// note says in a sentence or two what can be told of a measure.
func note(m *schemas.FleetMeasure, few, missing []string) string {
	var said []string
	n := len(m.Robots)
	switch {
	case len(few) == n:
		said = append(said, fmt.Sprintf("too few matches to say: it takes %d of a robot", fewest))
		few = nil
	case n == 1:
		said = append(said, "one robot: nothing to compare it with")
	case m.Apart == 0:
		said = append(said, fmt.Sprintf("no two of these %d robots can be told apart", n))
	case m.Apart == m.Pairs:
		said = append(said, "all robots can be told apart")
	default:
		said = append(said, fmt.Sprintf("%d of %d pairs of robots can be told apart", m.Apart, m.Pairs))
	}
	if len(few) > 0 {
		said = append(said, "too few matches to say of "+list(few))
	}
	if len(missing) > 0 {
		said = append(said, "not known of "+list(missing))
	}
	return strings.Join(said, "; ")
}

// list joins names; of many the first and how many more.
func list(names []string) string {
	const most = 4
	if len(names) > most+1 {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	if n := len(names); n > 1 {
		return strings.Join(names[:n-1], ", ") + " and " + names[n-1]
	}
	return names[0]
}

// headline says who surely lies in the worse half of a measure, and what that rests on.
func headline(f *schemas.Fleet) (saying, detail string) {
	detail = fmt.Sprintf("%s, %s.", count(len(f.Robots), "robot", "robots"), count(f.Matches, "match sheet", "match sheets"))
	if len(f.Robots) > 1 {
		detail += " The places of a measure hold for all its robots together, 19 times in 20."
	}
	apart := 0
	behind := map[string][]string{}
	for _, m := range f.Measures {
		apart += m.Apart
		for _, e := range m.Robots {
			if 2*e.Best > len(m.Robots)+1 {
				behind[e.Robot] = append(behind[e.Robot], strings.ToLower(m.Title))
			}
		}
	}
	switch {
	case len(f.Measures) == 0:
		return "Nothing can be compared: no match of this event tells a measure.", detail
	case len(f.Robots) == 1:
		return "One robot: there is nothing to compare it with.", detail
	case apart == 0:
		return "These robots cannot be told apart.", detail
	case len(behind) == 0:
		return "No robot is surely in the worse half by any measure.", detail
	}
	var said []string
	for _, r := range f.Robots {
		if by := behind[r.Robot]; len(by) > 0 {
			said = append(said, r.Robot+" by "+list(by))
		}
	}
	return "Surely in the worse half: " + shorter(said) + ".", detail
}

// shorter joins what is said of robots; of many the first and how many more.
func shorter(said []string) string {
	const most = 3
	if len(said) > most+1 {
		return fmt.Sprintf("%s; and %d more", strings.Join(said[:most], "; "), len(said)-most)
	}
	return strings.Join(said, "; ")
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
