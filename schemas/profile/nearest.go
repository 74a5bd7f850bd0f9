package profile

import (
	"fmt"
	"strings"
)

// suggest names the known key that was probably meant, or all of them when none is near.
func suggest(key string, known []string) string {
	key = strings.ToLower(key)
	best, least := "", len(key)
	for _, k := range known {
		d := distance(key, k)
		if len(key) > 2 && strings.HasPrefix(k, key) {
			d = 1 // volt for voltage, hold for hold_s
		}
		if d < least {
			best, least = k, d
		}
	}
	// A third of the letters wrong is still a slip; two letters may be wrong in a short word.
	if best != "" && least <= max(2, len(key)/3) && least < len(best) {
		return fmt.Sprintf("nearest known key is %q", best)
	}
	return "known keys are " + strings.Join(known, ", ")
}

// distance is the number of letters to insert, remove, replace or swap with their
// neighbour to turn a into b (optimal string alignment).
func distance(a, b string) int {
	if len(a) > 64 {
		return len(a) // no key is so long
	}
	s, t := []rune(a), []rune(b)
	before, row := make([]int, len(t)+1), make([]int, len(t)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(s); i++ {
		next := make([]int, len(t)+1)
		next[0] = i
		for j := 1; j <= len(t); j++ {
			cost := 1
			if s[i-1] == t[j-1] {
				cost = 0
			}
			next[j] = min(row[j]+1, next[j-1]+1, row[j-1]+cost)
			if i > 1 && j > 1 && s[i-1] == t[j-2] && s[i-2] == t[j-1] {
				next[j] = min(next[j], before[j-2]+1)
			}
		}
		before, row = row, next
	}
	return row[len(t)]
}
