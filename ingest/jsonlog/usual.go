package jsonlog

import (
	"bytes"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
)

// This file takes lines apart that hold nothing unusual: no escapes in strings, no nested
// values, numbers as most programs write them. It builds nothing and reads each byte about
// once, where encoding/json takes ten times as long. Whatever it does not know for certain
// it leaves to the general way; both find the same members, and tests hold them against
// each other.

// usualLine finds the members of line, if it is of the usual shape.
func (r *reader) usualLine(line []byte) bool {
	r.members = r.members[:0]
	at := blanks(line, 0)
	if at == len(line) || line[at] != '{' {
		return false
	}
	for {
		if at = blanks(line, at+1); at == len(line) || line[at] != '"' {
			return false // an empty object too
		}
		key, end := plainString(line, at)
		if key == nil {
			return false
		}
		if at = blanks(line, end); at == len(line) || line[at] != ':' {
			return false
		}
		at = blanks(line, at+1)
		if r.members = r.room(); len(r.members) > mostMembers {
			return false
		}
		m := &r.members[len(r.members)-1]
		m.key, m.at, m.isTime = key, at, false
		if at = m.usualValue(line, at); at < 0 {
			return false
		}
		m.end = at
		if at = blanks(line, at); at == len(line) {
			return false
		}
		switch line[at] {
		case ',':
		case '}':
			return blanks(line, at+1) == len(line)
		default:
			return false
		}
	}
}

// mostMembers bounds one object; the limit of signals ends a log long before.
const mostMembers = 1 << 18

// room is members with one more at its end, whose memory is used again.
func (r *reader) room() []member {
	if n := len(r.members); n < cap(r.members) {
		return r.members[:n+1]
	}
	return append(r.members, member{})
}

func blanks(line []byte, at int) int {
	for at < len(line) && (line[at] == ' ' || line[at] == '\t' || line[at] == '\r') {
		at++
	}
	return at
}

// plainString is the content of the string whose opening mark is at line[at], and where the
// line goes on behind it; nil if there is an escape or a control character in it, no UTF-8, or no end.
func plainString(line []byte, at int) (s []byte, end int) {
	seen := byte(0)
	for i := at + 1; i < len(line); i++ {
		c := line[i]
		if c == '"' {
			s = line[at+1 : i]
			if seen >= 0x80 && !utf8.Valid(s) {
				return nil, 0
			}
			return s, i + 1
		}
		if c == '\\' || c < ' ' {
			return nil, 0
		}
		seen |= c
	}
	return nil, 0
}

// usualValue reads the value at line[at] and returns where the line goes on, -1 if it is none
// of the usual ones.
func (m *member) usualValue(line []byte, at int) int {
	if at == len(line) {
		return -1
	}
	switch c := line[at]; {
	case c == '"':
		s, end := plainString(line, at)
		if s == nil {
			return -1
		}
		m.shape = isString
		m.value.ReadString(s)
		return end
	case c == 't' && bytes.HasPrefix(line[at:], []byte("true")):
		m.shape = isBool
		m.value = cell.Value{Class: cell.Bool, Int: 1, Raw: line[at : at+4]}
		return at + 4
	case c == 'f' && bytes.HasPrefix(line[at:], []byte("false")):
		m.shape = isBool
		m.value = cell.Value{Class: cell.Bool, Raw: line[at : at+5]}
		return at + 5
	case c == 'n' && bytes.HasPrefix(line[at:], []byte("null")):
		m.shape = isNull
		return at + 4
	}
	n := m.value.ScanNumber(line[at:])
	if n == 0 || !isUsualNumber(line[at:at+n]) {
		return -1
	}
	m.shape = isNumber
	if m.value.Class == cell.Int {
		m.value.Class = cell.Whole
	}
	return at + n
}

// isUsualNumber reports whether a number is one of RFC 8259, section 6, without exponent: no
// plus sign, digits on both sides of the point, no zero before another digit.
func isUsualNumber(s []byte) bool {
	if s[0] == '-' {
		s = s[1:]
	}
	if len(s) == 0 || s[0]-'0' > 9 || s[0] == '0' && len(s) > 1 && s[1] != '.' {
		return false
	}
	for _, c := range s {
		if c != '.' && c-'0' > 9 {
			return false
		}
	}
	return s[len(s)-1] != '.'
}
