package sheet

import (
	"strings"
	"unicode"
)

// wrap writes words between a first and a following indent, broken at spaces to the width.
// A word longer than a line is broken hard, so that no line is ever wider.
func (t *text) wrap(first, next, words string, codes ...string) {
	room := t.width - runes(first)
	indent := first
	current := ""
	flush := func() {
		t.line(indent + t.paint(current, codes...))
		indent, room, current = next, t.width-runes(next), ""
	}
	for _, word := range unbroken(words) {
		for runes(word) > room {
			if current != "" {
				flush()
				continue
			}
			head := []rune(word)[:room]
			current, word = string(head), string([]rune(word)[room:])
			flush()
		}
		switch {
		case word == "":
		case current == "":
			current = word
		case runes(current)+1+runes(word) <= room:
			current += " " + word
		default:
			flush()
			current = word
		}
	}
	flush()
}

// unbroken cuts text into what a line must not part: words, and numbers with their units.
func unbroken(s string) []string {
	var out []string
	for _, word := range strings.Fields(plainText(s)) {
		last := len(out) - 1
		if last >= 0 && isUnit(word) && endsInDigit(out[last]) {
			out[last] += " " + word
			continue
		}
		out = append(out, word)
	}
	return out
}

func isUnit(word string) bool {
	switch strings.TrimRight(word, ",.;:)") {
	case "s", "ms", "V", "A", "Ω", "%", "m", "Hz", "Ah", "Wh":
		return true
	default:
		return false
	}
}

func endsInDigit(word string) bool {
	return word[len(word)-1] >= '0' && word[len(word)-1] <= '9'
}

func runes(s string) int { return len([]rune(s)) }

// plainText takes out what a terminal would act on: control characters and those that turn
// the order of text around. Robots name signals; none of them may drive the reader's screen.
func plainText(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\u00a0':
			return ' '
		case unicode.IsControl(r), r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
			return '\uFFFD'
		default:
			return r
		}
	}, s)
}
