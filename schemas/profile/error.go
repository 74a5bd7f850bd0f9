package profile

import (
	"fmt"
	"strings"
)

// Error is a mistake in a profile: what is wrong, where, and the text there. Line and
// Column count from 1; a column counts characters, not bytes.
type Error struct {
	File    string
	Line    int
	Column  int
	Message string
	Excerpt []string // up to four lines, the last of them a caret under the column
}

// Error is one line that is complete by itself, then the excerpt.
func (e *Error) Error() string {
	first := fmt.Sprintf("%s:%d:%d: %s", e.File, e.Line, e.Column, e.Message)
	return strings.Join(append([]string{first}, e.Excerpt...), "\n")
}

// widestExcerpt keeps a line of data from filling the screen, in characters.
const widestExcerpt = 100

// excerpt is the line before, the line itself and a caret, each with its line number.
func excerpt(text string, line, column int) []string {
	lines := strings.SplitN(text, "\n", line+1)
	if line > len(lines) {
		return nil
	}
	var out []string
	if line > 1 && strings.TrimSpace(lines[line-2]) != "" {
		out = append(out, fmt.Sprintf("%5d | %s", line-1, clip(lines[line-2])))
	}
	at := []rune(clip(lines[line-1]))
	if len(at) == 0 {
		return out
	}
	out = append(out, fmt.Sprintf("%5d | %s", line, string(at)))
	if column-1 > len(at) {
		return out // behind the part shown
	}
	caret := make([]rune, column-1)
	for i := range caret {
		caret[i] = ' '
		if at[i] == '\t' {
			caret[i] = '\t'
		}
	}
	return append(out, "      | "+string(caret)+"^")
}

// clip cuts a line to what is worth showing and replaces control characters, which a
// terminal would obey.
func clip(s string) string {
	var out []rune
	for _, r := range s {
		if len(out) == widestExcerpt {
			return string(out) + "..."
		}
		if r < ' ' && r != '\t' || r >= 0x7f && r < 0xa0 {
			r = '?'
		}
		out = append(out, r)
	}
	return string(out)
}
