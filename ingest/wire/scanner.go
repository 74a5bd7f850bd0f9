package wire

import (
	"encoding/json"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
)

// scanner reads JSON (RFC 8259) from bytes without building anything. Its methods skip blanks
// before what they read.
type scanner struct {
	data  []byte
	at    int
	depth int
}

// deepest bounds how deep what is skipped may nest.
const deepest = 64

// peek is the next byte that is no blank, 0 at the end.
func (s *scanner) peek() byte {
	for s.at < len(s.data) {
		c := s.data[s.at]
		if c > ' ' || c != ' ' && c != '\t' && c != '\n' && c != '\r' {
			return c
		}
		s.at++
	}
	return 0
}

// take passes c if it is next.
func (s *scanner) take(c byte) bool {
	if s.at < len(s.data) && s.data[s.at] == c { // most often there is no blank
		s.at++
		return true
	}
	if s.peek() != c || s.at >= len(s.data) {
		return false
	}
	s.at++
	return true
}

func (s *scanner) wanted(what string) *Fault {
	if s.peek() == 0 && s.at >= len(s.data) {
		return Faultf(BadMessage, "the message ends at byte %d where %s should stand", s.at, what)
	}
	end := min(len(s.data), s.at+20)
	return Faultf(BadMessage, "byte %d: %q where %s should stand", s.at, s.data[s.at:end], what)
}

// end makes sure that nothing follows.
func (s *scanner) end() *Fault {
	if s.peek(); s.at < len(s.data) {
		return s.wanted("the end")
	}
	return nil
}

// object calls member with each key, standing before the value, which member reads.
func (s *scanner) object(member func(key []byte) *Fault) *Fault {
	if !s.take('{') {
		return s.wanted("{")
	}
	if s.take('}') {
		return nil
	}
	for {
		key, f := s.str()
		if f != nil {
			return f
		}
		if !s.take(':') {
			return s.wanted("a colon")
		}
		if f := member(key); f != nil {
			return f
		}
		if s.take('}') {
			return nil
		}
		if !s.take(',') {
			return s.wanted("a comma or }")
		}
	}
}

// array calls element for each element, which it reads.
func (s *scanner) array(element func(i int) *Fault) *Fault {
	if !s.take('[') {
		return s.wanted("[")
	}
	if s.take(']') {
		return nil
	}
	for i := 0; ; i++ {
		if f := element(i); f != nil {
			return f
		}
		if s.take(']') {
			return nil
		}
		if !s.take(',') {
			return s.wanted("a comma or ]")
		}
	}
}

// str is the next string. It shares memory with the message unless it holds an escape.
func (s *scanner) str() ([]byte, *Fault) {
	if !s.take('"') {
		return nil, s.wanted("a string")
	}
	start := s.at
	for i := start; i < len(s.data); i++ {
		switch c := s.data[i]; {
		case c == '"':
			s.at = i + 1
			return s.data[start:i], nil
		case c == '\\':
			return s.escaped(start - 1)
		case c < ' ':
			s.at = i
			return nil, s.wanted("a string without control characters")
		}
	}
	s.at = len(s.data)
	return nil, s.wanted("the end of a string")
}

// escaped is the string that opens at byte start, and holds an escape.
func (s *scanner) escaped(start int) ([]byte, *Fault) {
	for i := start + 1; i < len(s.data); i++ {
		switch s.data[i] {
		case '\\':
			i++
		case '"':
			var out string
			if err := json.Unmarshal(s.data[start:i+1], &out); err != nil || !utf8.ValidString(out) {
				s.at = start
				return nil, s.wanted("a JSON string")
			}
			s.at = i + 1
			return []byte(out), nil
		}
	}
	s.at = len(s.data)
	return nil, s.wanted("the end of a string")
}

// digits is the next number as it is written, by the grammar of RFC 8259, section 6.
func (s *scanner) digits() ([]byte, *Fault) {
	s.peek()
	d, start := s.data, s.at
	i := start
	some := func() bool {
		from := i
		for i < len(d) && d[i]-'0' <= 9 {
			i++
		}
		return i > from
	}
	if i < len(d) && d[i] == '-' {
		i++
	}
	whole := i
	if !some() || d[whole] == '0' && i > whole+1 {
		return nil, s.wanted("a JSON number")
	}
	if i < len(d) && d[i] == '.' {
		i++
		if !some() {
			return nil, s.wanted("a JSON number")
		}
	}
	if i < len(d) && d[i]|0x20 == 'e' {
		i++
		if i < len(d) && (d[i] == '+' || d[i] == '-') {
			i++
		}
		if !some() {
			return nil, s.wanted("a JSON number")
		}
	}
	s.at = i
	return d[start:i], nil
}

// name passes the name that is most likely to come after signal last, if it is next.
func (s *scanner) name(names *Names, last int) (uint32, bool) {
	if last < 0 || last >= len(names.follows) || names.follows[last] == 0 {
		return 0, false
	}
	next := names.follows[last] - 1
	name := names.Entries[next].Name
	rest := s.data[s.at:]
	if n := len(name); len(rest) < n+2 || rest[0] != '"' || rest[n+1] != '"' || string(rest[1:n+1]) != name || names.Entries[next].Unit != "" {
		return 0, false
	}
	s.at += len(name) + 2
	return next, true
}

// micros is the time of sample i.
func (s *scanner) micros(i int) (int64, *Fault) {
	if rest := s.data[s.at:]; plainNumber(rest) {
		if t, n := cell.ScanMicros(rest); n > 0 && n < len(rest) && rest[n] == ',' {
			s.at += n
			return t, nil
		}
	}
	s.peek()
	at := s.at
	number, f := s.digits()
	if f != nil {
		return 0, f
	}
	t, err := cell.Micros(number)
	if err != nil {
		return 0, Faultf(BadMessage, "byte %d: time %.40q of sample %d %s; give whole microseconds", at, number, i, err)
	}
	return t, nil
}

// usual reads the number that is next, when it is written as most are: digits, a point
// between digits, no exponent, and the end of the sample behind it. What is not goes the slow
// way, which knows the whole grammar.
func (s *scanner) usual(v *cell.Value) (float64, bool) {
	rest := s.data[s.at:]
	if !plainNumber(rest) {
		return 0, false
	}
	n := v.ScanNumber(rest)
	if n <= 0 || n >= len(rest) || rest[n] != ']' || rest[n-1] == '.' {
		return 0, false
	}
	for _, c := range rest[:n] {
		if c|0x20 == 'e' || c|0x20 == 'n' { // an exponent; inf and nan are no JSON
			return 0, false
		}
	}
	s.at += n
	return v.AsFloat()
}

// plainNumber is whether text begins as a JSON number may: with a digit, behind a minus or
// not, and no zero before another digit.
func plainNumber(text []byte) bool {
	i := 0
	if len(text) > 0 && text[0] == '-' {
		i = 1
	}
	if i+1 >= len(text) || text[i]-'0' > 9 {
		return false
	}
	return text[i] != '0' || text[i+1]-'0' > 9
}

// count is the next number, which is an integer from 0 to 2^64-1.
func (s *scanner) count() (uint64, *Fault) {
	s.peek()
	at := s.at
	raw, f := s.digits()
	if f != nil {
		return 0, f
	}
	n := uint64(0)
	for _, c := range raw {
		d := uint64(c - '0')
		if d > 9 || n > (1<<64-1-d)/10 {
			s.at = at
			return 0, s.wanted("a whole number")
		}
		n = n*10 + d
	}
	return n, nil
}

func (s *scanner) boolean() (bool, *Fault) {
	s.peek()
	for _, w := range []string{"true", "false"} {
		if len(s.data)-s.at >= len(w) && string(s.data[s.at:s.at+len(w)]) == w {
			s.at += len(w)
			return w == "true", nil
		}
	}
	return false, s.wanted("true or false")
}

// skip passes any value.
func (s *scanner) skip() *Fault {
	if s.depth++; s.depth > deepest {
		return Faultf(BadMessage, "byte %d: nested deeper than %d", s.at, deepest)
	}
	defer func() { s.depth-- }()
	switch c := s.peek(); c {
	case '{':
		return s.object(func([]byte) *Fault { return s.skip() })
	case '[':
		return s.array(func(int) *Fault { return s.skip() })
	case '"':
		_, f := s.str()
		return f
	case 't', 'f':
		_, f := s.boolean()
		return f
	case 'n':
		if len(s.data)-s.at >= 4 && string(s.data[s.at:s.at+4]) == "null" {
			s.at += 4
			return nil
		}
		return s.wanted("a value")
	default:
		_, f := s.digits()
		return f
	}
}
