package jsonlog

import (
	"bytes"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// Programs write all their lines alike. This file reads a long line that is like one before it
// but for its values: the same members in the same order with the same blanks. What stands
// between the values is compared as it is, so that no name of a member is looked at again.

// part is what a value of a line means.
type part uint8

const (
	partSeconds part = iota
	partMicros
	partSignal
	partValue
	partType
)

// pattern is what a line is like: between[i] stands before the value of parts[i], the last
// behind all of them. It is empty until a line was learned.
type pattern struct {
	between [][]byte
	parts   []part
	typ     []byte // the type of the line before, as it stands, and what it is
	kind    schemas.Kind
}

// learn takes the line in hand for the pattern of those to come, if it is a sample with no
// more than a time, a signal, a value and a type.
func (r *reader) learn() {
	p := pattern{}
	end := 0
	for i := range r.members {
		m := &r.members[i]
		switch string(m.key) {
		case "time_s":
			p.parts = append(p.parts, partSeconds)
		case "time_us":
			p.parts = append(p.parts, partMicros)
		case "signal":
			p.parts = append(p.parts, partSignal)
		case "value":
			p.parts = append(p.parts, partValue)
		case "type":
			p.parts = append(p.parts, partType)
		default:
			return
		}
		p.between = append(p.between, bytes.Clone(r.current[end:m.at]))
		end = m.end
	}
	p.between = append(p.between, bytes.Clone(r.current[end:]))
	r.patterns[0], r.patterns[1] = p, r.patterns[0]
}

// sampleAgain takes a line that is like one of the last two patterns: with a type and without.
func (r *reader) sampleAgain(line []byte) bool {
	switch {
	case r.isAgain(line, &r.patterns[0]):
		return true
	case r.isAgain(line, &r.patterns[1]):
		r.patterns[0], r.patterns[1] = r.patterns[1], r.patterns[0]
		return true
	default:
		return false
	}
}

// isAgain takes a line that is like the pattern. It does nothing with one that is not, or
// that anything is unusual about.
func (r *reader) isAgain(line []byte, p *pattern) bool {
	if len(p.parts) == 0 {
		return false
	}
	var (
		t        int64
		lane     *columns.Lane
		declared bool
	)
	value := &r.again
	at := 0
	for i, what := range p.parts {
		if !bytes.HasPrefix(line[at:], p.between[i]) {
			return false
		}
		at += len(p.between[i])
		n := 0
		switch what {
		case partSeconds:
			if t, n = cell.ScanSeconds(line[at:]); n == 0 || !isUsualNumber(line[at:at+n]) {
				return false
			}
		case partMicros:
			if t, n = cell.ScanMicros(line[at:]); n == 0 || !isUsualNumber(line[at:at+n]) {
				return false
			}
		case partSignal:
			if at == len(line) || line[at] != '"' {
				return false
			}
			if lane, n = r.b.Known(line[at+1:], '"', r.last); n == 0 || bytes.IndexByte(line[at+1:at+1+n], '\\') >= 0 {
				return false
			}
			n += 2
		case partValue:
			end := value.usualValue(line, at)
			if end < 0 || value.shape == isNull {
				return false
			}
			n = end - at
		case partType:
			if n = p.typeAgain(line[at:]); n == 0 {
				return false
			}
			declared = true
		}
		at += n
	}
	if !bytes.Equal(line[at:], p.between[len(p.parts)]) {
		return false
	}
	r.b.SetBoot(0)
	var fault *columns.Fault
	if declared {
		fault = r.b.AddDeclared(lane, r.lineAt, t, &value.value, p.kind)
	} else {
		fault = r.b.Add(lane, r.lineAt, t, &value.value)
	}
	if fault != nil {
		return false // the way that knows where everything stands will meet it again
	}
	r.last = lane
	return true
}

// typeAgain reads the type at the start of text and returns its length, 0 if it is none.
func (p *pattern) typeAgain(text []byte) int {
	if n := len(p.typ); n > 0 && bytes.HasPrefix(text, p.typ) {
		return n
	}
	if len(text) == 0 || text[0] != '"' {
		return 0
	}
	s, end := plainString(text, 0)
	kind, ok := schemas.ParseKind(string(s))
	if !ok {
		return 0
	}
	p.typ, p.kind = append(p.typ[:0], text[:end]...), kind
	return end
}
