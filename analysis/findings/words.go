package findings

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"
)

var smallNumbers = [...]string{
	"no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve",
}

// numberWord spells a count up to twelve.
func numberWord(n int) string {
	if n >= 0 && n < len(smallNumbers) {
		return smallNumbers[n]
	}
	return fmt.Sprint(n)
}

// times is "once", "twice", "three times".
func times(n int) string {
	switch n {
	case 0:
		return "not once"
	case 1:
		return "once"
	case 2:
		return "twice"
	default:
		return numberWord(n) + " times"
	}
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}

// list joins with commas and a final "and".
func list(items []string) string {
	switch len(items) {
	case 0:
		return ""
	case 1:
		return items[0]
	}
	return strings.Join(items[:len(items)-1], ", ") + " and " + items[len(items)-1]
}

func upperFirst(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	if n == 0 {
		return s
	}
	return string(unicode.ToUpper(r)) + s[n:]
}

// clean avoids "-0.0" in print.
func clean(v float64) float64 {
	if v > -0.05 && v < 0.05 {
		return 0
	}
	return v
}

// Slug is s as the middle part of a finding's id.
func Slug(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9':
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "_"):
			b.WriteByte('_')
		}
	}
	return strings.Trim(b.String(), "_")
}

func id(kind, place string, n int) string {
	p := Slug(place)
	if p == "" {
		p = "match"
	}
	return fmt.Sprintf("%s-%s-%d", kind, p, n)
}
