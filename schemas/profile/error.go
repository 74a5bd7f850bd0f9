package profile

import (
	"fmt"
	"strings"
	"unicode"
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

// widest keeps a line of data from filling the screen, in characters.
const widest = 100

// excerpt is the line before, the line itself and a caret, each with its line number. Of a
// long line it is the part around the column.
func excerpt(text string, line, column int) []string {
	lines := strings.SplitN(text, "\n", line+1)
	if line > len(lines) {
		return nil
	}
	var out []string
	if line > 1 && strings.TrimSpace(lines[line-2]) != "" {
		out = append(out, fmt.Sprintf("%5d | %s", line-1, clip(lines[line-2])))
	}
	at := []rune(lines[line-1])
	column = min(column-1, len(at))
	if column >= widest {
		from := column - widest/2
		at, column = append([]rune("..."), at[from:]...), widest/2+len("...")
	}
	caret := make([]rune, column, column+1)
	for i := range caret {
		caret[i] = ' '
		if at[i] == '\t' {
			caret[i] = '\t'
		}
	}
	return append(out, fmt.Sprintf("%5d | %s", line, clip(string(at))), "      | "+string(append(caret, '^')))
}

// clip cuts a line to what is worth showing and replaces control characters, which a
// terminal would obey.
func clip(s string) string {
	var out []rune
	for _, r := range s {
		if len(out) == widest {
			return string(out) + "..."
		}
		if r != '\t' && unicode.IsControl(r) {
			r = '?'
		}
		out = append(out, r)
	}
	return string(out)
}
