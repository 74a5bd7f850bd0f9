package csvlog

import (
	"bytes"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/columns"
)

// scanner cuts text into the records of RFC 4180, section 2, with these liberties: lines
// may end in LF alone, the last needs no end, and empty lines are no records.
//
// A record is cut out of one buffer that is filled in large pieces. Nearly all records hold
// no quotation mark and are found with two searches, one for the end of the line and one for
// each comma; the others take the slower way of quoted.go.
type scanner struct {
	r    io.Reader
	most int // longest record in bytes

	buf       []byte
	pos, end  int   // buf[pos:end] is read and not yet used
	quote     int   // index of the first quotation mark at or after pos, end if there is none
	err       error // of the last read; what is in buf comes first
	line      int   // number of the line that begins at pos, from 1
	recordAt  int   // number of the line where the record last returned begins
	next      int   // index of the line after that one
	fields    [][]byte
	unescaped []byte // of the current record: quoted fields that held quotation marks
}

const (
	firstBuffer   = 256 << 10
	byteOrderMark = "\ufeff"
)

func newScanner(r io.Reader, most int) *scanner {
	return &scanner{r: r, most: most, buf: make([]byte, firstBuffer), line: 1}
}

// record is the next record's fields, valid until the next call. At the end it returns
// io.EOF. A *columns.Fault concerns this record alone, and the next call goes on behind it; column
// is where in the record the fault is, 0 if not in one field.
func (s *scanner) record() (fields [][]byte, column int, err error) {
	if s.recordAt == 0 {
		s.skipMark()
	}
	for {
		n, ok := s.lineLength(0)
		if n > s.most {
			return nil, 0, s.skipLong(n, ok)
		}
		if !ok && s.err != io.EOF {
			s.recordAt = s.line
			return nil, 0, s.err // what is left of a file cut short is no whole line
		}
		if !ok && n == 0 {
			return nil, 0, io.EOF
		}
		s.recordAt = s.line
		if s.quote < s.pos+n {
			return s.quotedRecord(n)
		}
		line := withoutCR(s.buf[s.pos : s.pos+n])
		s.advance(n, 1)
		s.next = s.pos
		if len(line) > 0 {
			return s.split(line), 0, nil
		}
	}
}

// skipMark goes behind the byte order mark that some programs put in front of UTF-8.
func (s *scanner) skipMark() {
	for s.end < len(byteOrderMark) && s.fill() {
	}
	if bytes.HasPrefix(s.buf[:s.end], []byte(byteOrderMark)) {
		s.pos = len(byteOrderMark)
	}
}

// lineLength is the number of bytes from pos to the end of the line that holds pos+from,
// without its LF, filling the buffer as far as needed. ok is false when no LF comes: the
// text ends (s.err says how), or the line is too long to keep on looking.
func (s *scanner) lineLength(from int) (n int, ok bool) {
	for {
		if i := bytes.IndexByte(s.buf[s.pos+from:s.end], '\n'); i >= 0 {
			return from + i, true
		}
		from = s.end - s.pos
		if from > s.most || !s.fill() {
			return from, false
		}
	}
}

// advance goes on behind a record of n bytes in that many lines.
func (s *scanner) advance(n, lines int) {
	s.pos = min(s.pos+n+1, s.end)
	s.line += lines
	if s.quote < s.pos {
		s.findQuote(s.pos)
	}
}

// giveUp makes the record last returned end with its first line. What does not fit the header
// and has several lines is probably several rows between two stray quotation marks.
func (s *scanner) giveUp() {
	if s.next < s.pos {
		s.pos, s.line = s.next, s.recordAt+1
		s.findQuote(s.pos)
	}
}

func (s *scanner) findQuote(from int) {
	s.quote = s.end
	if i := bytes.IndexByte(s.buf[from:s.end], '"'); i >= 0 {
		s.quote = from + i
	}
}

// fill reads more text behind end, moving what is unused to the front of the buffer first.
// It reports whether there was any.
func (s *scanner) fill() bool {
	if s.err != nil {
		return false
	}
	if s.pos > 0 {
		copy(s.buf, s.buf[s.pos:s.end])
		s.quote -= s.pos
		s.end -= s.pos
		s.pos = 0
	}
	if s.end == len(s.buf) {
		s.buf = append(s.buf, make([]byte, len(s.buf))...)
	}
	known := s.end
	for tries := 0; s.end == known && s.err == nil; tries++ {
		var n int
		n, s.err = s.r.Read(s.buf[s.end:])
		s.end += n
		if n == 0 && s.err == nil && tries == 100 {
			s.err = io.ErrNoProgress
		}
	}
	if s.quote >= known {
		s.findQuote(known)
	}
	return s.end > known
}

// split cuts a record without quotation marks at its commas.
func (s *scanner) split(line []byte) [][]byte {
	f := s.fields[:0]
	for {
		i := bytes.IndexByte(line, ',')
		if i < 0 {
			s.fields = append(f, line)
			return s.fields
		}
		f = append(f, line[:i])
		line = line[i+1:]
	}
}

// skipLong goes to the next line when the current one, of which n bytes are known, is too
// long.
func (s *scanner) skipLong(n int, ended bool) error {
	s.recordAt = s.line
	for !ended {
		s.pos += n
		s.quote = max(s.quote, s.pos)
		if n, ended = s.lineLength(0); n == 0 && !ended {
			break
		}
	}
	if !ended && s.err != io.EOF {
		return s.err
	}
	s.advance(n, 1)
	return &columns.Fault{
		What:   fmt.Sprintf("the row is longer than %d bytes", s.most),
		Advice: "check that it is not binary data",
	}
}

func withoutCR(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		return line[:n-1]
	}
	return line
}
