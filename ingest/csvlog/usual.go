package csvlog

import (
	"bytes"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// This file reads rows of the usual shape in one go, straight from the buffer: a time, a
// signal that was seen before, a number, no blanks, nothing quoted but the signal. That spares finding the
// ends of line and fields first, which is half the work of reading a long file. Whatever
// is not quite usual is left to the general way, which decides what it is; both ways give
// the same samples, and a test holds them against each other.

// usualLong reads into s the row of a long file that begins at the scanner's position, if it
// is of the usual shape. s still holds the sample before.
func (r *reader) usualLong(s *sample) bool {
	if r.boots {
		return false
	}
	text := r.buf[r.pos:r.end]
	t, at := r.scanTime(text)
	if at == 0 || !comma(text, at) {
		return false
	}
	at++
	end := byte(',')
	if at < len(text) && text[at] == '"' {
		end = '"' // some programs quote all names
		at++
	}
	lane, n := r.b.Known(text[at:], end, s.lane)
	if n == 0 {
		return false
	}
	at += n
	if end == '"' {
		at++
	}
	if !comma(text, at) {
		return false
	}
	at++
	if n = s.value.ScanNumber(text[at:]); n == 0 {
		return false
	}
	at += n
	s.declared = false
	if r.typed {
		if !comma(text, at) {
			return false
		}
		at++
		s.kind, n = typeAt(text[at:])
		s.declared = n > 0
		at += n
	}
	if !r.endRow(text, at) {
		return false
	}
	s.lane, s.t = lane, t
	return true
}

// usualWide reads into cells the row of a wide file that begins at the scanner's position, if
// its cells are numbers or empty.
func (r *reader) usualWide(cells []cell.Value) (t int64, ok bool) {
	text := r.buf[r.pos:r.end]
	t, at := r.scanTime(text)
	if at == 0 {
		return 0, false
	}
	for i := range cells {
		if !comma(text, at) {
			return 0, false
		}
		at++
		n := cells[i].ScanNumber(text[at:])
		if n == 0 {
			cells[i].Read(nil) // empty, or the comma or end of row that must follow will be missed
		}
		at += n
	}
	return t, r.endRow(text, at)
}

func comma(text []byte, at int) bool { return at < len(text) && text[at] == ',' }

// endRow goes behind the row at the scanner's position if it ends at text[at].
func (r *reader) endRow(text []byte, at int) bool {
	end := at
	if end < len(text) && text[end] == '\r' {
		end++
	}
	if end >= len(text) || text[end] != '\n' || end > r.most {
		return false
	}
	r.recordAt = r.line
	r.advance(end, 1)
	return true
}

// typeAt is the type of numbers at the start of text, and its length.
func typeAt(text []byte) (schemas.Kind, int) {
	switch {
	case bytes.HasPrefix(text, []byte("float64")):
		return schemas.Float64, len("float64")
	case bytes.HasPrefix(text, []byte("int64")):
		return schemas.Int64, len("int64")
	default:
		return 0, 0
	}
}
