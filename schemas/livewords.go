package schemas

import "fmt"

// Noteworthy puts into words which of the followed signals are not as they should be: those
// that never came first.
func Noteworthy(all []LiveSignal) []string {
	out := []string{}
	for _, state := range []string{LiveNever, LiveLate, LiveZero, LiveSame} {
		for _, s := range all {
			if s.State != state {
				continue
			}
			name := fmt.Sprintf("%s (%s)", s.Signal, s.Place)
			switch state {
			case LiveNever:
				out = append(out, "never came: "+name)
			case LiveLate:
				line := fmt.Sprintf("silent for %.0f s: %s", *s.AgeS, name)
				if s.EveryS != nil {
					line += fmt.Sprintf(", usually every %.3g s", *s.EveryS)
				}
				out = append(out, line)
			case LiveZero:
				out = append(out, "0 all along: "+name)
			case LiveSame:
				out = append(out, fmt.Sprintf("the same reading for %.0f s: %s", *s.SameS, name))
			}
		}
	}
	return out
}

// RoomText is how much more a disk takes, in words.
func RoomText(r LiveRoom) string {
	gb := float64(r.FreeBytes) / 1e9
	switch {
	case r.MatchBytes == 0:
		return fmt.Sprintf("%.1f GB free; no match yet to say for how many that is", gb)
	case r.Matches > 9999:
		return fmt.Sprintf("room for more than 9999 matches like the newest (%.1f GB free)", gb)
	}
	return fmt.Sprintf("room for about %d matches like the newest (%.1f GB free)", r.Matches, gb)
}
