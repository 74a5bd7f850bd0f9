// Package cell reads what stands in one cell of a text log: a value or a time. It works on
// bytes, keeps no memory of other cells, and reading allocates nothing.
package cell

import (
	"bytes"
	"strconv"
)

// Class is what a cell looks like on its own, before anything is known about its signal.
type Class uint8

// The classes. A cell of blanks is Text, not Empty: blanks are part of a field (RFC 4180,
// section 2, rule 4).
const (
	Empty Class = iota // nothing at all: no sample
	Int                // sign and digits within int64
	Float              // point, exponent, nan, inf, or an integer int64 cannot hold
	Bool               // true or false
	Text               // everything else
)

// Classes that only JSON has, where a value's type says less than what stands in a cell.
const (
	Whole  Class = iota + Text + 1 // a number without point or exponent: float64 unless its signal is declared int64
	Word                           // a string that is nan, inf or -inf: that number, and text where text is wanted
	Digits                         // a string that is an int64: text, and that integer where one is declared
)

// Value is one cell, read. A form that has typed values makes Values itself and needs Raw
// only for Text.
type Value struct {
	Class Class
	Int   int64   // of Int, Whole and Digits, and of Bool as 0 or 1
	Float float64 // of Float and Word
	Raw   []byte  // the cell as it stood, sharing memory with the line it was read from
}

// Written is v as text: Raw, or what would be written for a value that came typed.
func (v *Value) Written() []byte {
	switch {
	case v.Raw != nil || v.Class == Text || v.Class == Empty:
		return v.Raw
	case v.Class == Bool:
		return strconv.AppendBool(nil, v.Int != 0)
	case v.Class == Int || v.Class == Whole:
		return strconv.AppendInt(nil, v.Int, 10)
	default:
		return AppendFloat(nil, v.Float)
	}
}

// Read sets v to what raw says. Blanks around a number, true or false do not count.
//
// A number is decimal: optional sign, digits with at most one point before, between or
// after them, optional exponent; or nan, inf, -inf in any case. Hexadecimal, digits grouped
// by underscores, a decimal comma and what a float64 cannot hold (1e400) are no numbers.
// Floats are rounded to the nearest float64, ties to even, as strconv does. -0 is Float,
// because an int64 has no negative zero.
func (v *Value) Read(raw []byte) {
	v.Raw = raw
	if len(raw) == 0 {
		v.Class = Empty
		return
	}
	s := raw
	if s[0] <= ' ' || s[len(s)-1] <= ' ' {
		if s = bytes.Trim(s, " \t"); len(s) == 0 {
			v.Class = Text
			return
		}
	}
	switch c := s[0]; {
	case c-'0' <= 9 || c == '-' || c == '+' || c == '.':
		if v.readNumber(s) || v.readWord(s) {
			v.Raw = raw
			return
		}
		v.Raw = raw
	case c|0x20 == 'n' || c|0x20 == 'i' || c|0x20 == 't' || c|0x20 == 'f':
		if v.readWord(s) {
			return
		}
	}
	v.Class = Text
}

// readWord reads the values that are words.
func (v *Value) readWord(s []byte) bool {
	switch {
	case is(s, "true"):
		v.Class, v.Int = Bool, 1
	case is(s, "false"):
		v.Class, v.Int = Bool, 0
	case is(s, "nan"):
		v.Class, v.Float = Float, nan
	case is(s, "inf"):
		v.Class, v.Float = Float, inf
	case is(s, "-inf"):
		v.Class, v.Float = Float, -inf
	default:
		return false
	}
	return true
}

// ReadString sets v to a JSON string: Word, Digits or Text.
func (v *Value) ReadString(s []byte) {
	v.Class, v.Raw = Text, s
	if len(s) == 0 || len(s) > len("-9223372036854775808") {
		return
	}
	switch c := s[0]; {
	case c-'0' <= 9 || c == '-':
		if i, err := strconv.ParseInt(string(s), 10, 64); err == nil {
			v.Class, v.Int = Digits, i
			return
		}
		fallthrough
	case c|0x20 == 'n' || c|0x20 == 'i':
		if v.readWord(s) {
			v.Class = Word
		}
	}
}

// is reports whether s is word (lower-case ASCII) in any case.
func is(s []byte, word string) bool {
	if len(s) != len(word) {
		return false
	}
	for i := range s {
		if c := s[i]; c != word[i] && (c < 'A' || c > 'Z' || c|0x20 != word[i]) {
			return false
		}
	}
	return true
}
