package columns

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// Part is the part of a sample that a fault is in.
type Part uint8

// The parts of a sample.
const (
	InValue Part = iota
	InName
	InType
)

// Fault is what is wrong with a row, before it is known where the row stands.
type Fault struct {
	Part   Part
	What   string // what is there and what was expected
	Advice string // what to do about it
	Final  bool   // of the whole file or log: leaving out one row cannot cure it
}

func (f *Fault) Error() string { return f.What + "; " + f.Advice }

// BadRow is a fault with its place.
type BadRow struct {
	File   string
	Line   int    // where the row begins, from 1; the number of the row in a table; 0 when all of the table is bad
	Column int    // from 1; 0 when the row as a whole is bad
	Field  string // name of the column, empty when it has none
	Fault

	row string // what a row of this file is called
}

func (r *BadRow) Error() string {
	advice := r.Advice
	if !r.Final {
		advice += ", or skip such rows with --skip-bad-rows"
	}
	return r.Place() + ": " + r.What + "; " + advice
}

// Place is where the row stands: "q14.csv line 20418, column 3 (value)", or
// "q14.parquet row 20417, column 3 (value)".
func (r *BadRow) Place() string {
	if r.Line == 0 {
		return r.File
	}
	s := fmt.Sprintf("%s %s %d", r.File, r.row, r.Line)
	if r.Column > 0 {
		s += fmt.Sprintf(", column %d", r.Column)
		if r.Field != "" {
			s += " (" + Excerpt([]byte(r.Field)) + ")"
		}
	}
	return s
}

// Excerpt is s made fit for one line of an error: printable and not too long.
func Excerpt(s []byte) string {
	q := Quote(s)
	return q[1 : len(q)-1]
}

// Quote is Excerpt in quotation marks.
func Quote(s []byte) string {
	const most = 60
	if len(s) <= most {
		return fmt.Sprintf("%q", s)
	}
	cut := most
	for cut > most-utf8.UTFMax && !utf8.RuneStart(s[cut]) {
		cut--
	}
	return strings.TrimSuffix(fmt.Sprintf("%q", s[:cut]), `"`) + `…"`
}
