package jsonlog

import (
	"bytes"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/columns"
)

// lines cuts text into lines that end in LF or CR LF; the last needs no end. A byte order
// mark at the start and lines of blanks are passed over.
type lines struct {
	r    io.Reader
	most int // longest line in bytes

	buf      []byte
	pos, end int   // buf[pos:end] is read and not yet used
	err      error // of the last read; what is in buf comes first
	lineAt   int   // number of the line last returned, from 1
}

const (
	firstBuffer   = 256 << 10
	byteOrderMark = "\ufeff"
)

func newLines(r io.Reader, most int) *lines {
	return &lines{r: r, most: most, buf: make([]byte, firstBuffer)}
}

// line is the next line that is not blank, without its end, valid until the next call. At the
// end it returns io.EOF. A *columns.Fault concerns this line alone, and the next call goes on
// behind it.
func (l *lines) line() ([]byte, error) {
	for {
		n, ended := l.length()
		switch {
		case n > l.most:
			return nil, l.skipLong(n, ended)
		case !ended && l.err != io.EOF:
			l.lineAt++
			return nil, l.err // what is left of a file cut short is no whole line
		case !ended && n == 0:
			return nil, io.EOF
		}
		line := l.buf[l.pos : l.pos+n]
		l.advance(n)
		if l.lineAt == 1 {
			line = bytes.TrimPrefix(line, []byte(byteOrderMark))
		}
		if len(line) > 0 && line[len(line)-1] <= ' ' {
			line = bytes.TrimRight(line, " \t\r")
		}
		if len(line) > 0 {
			return line, nil
		}
	}
}

// length is the number of bytes from pos to the end of the line, without its LF, filling the
// buffer as far as needed. ended is false when no LF comes: the text ends (l.err says how),
// or the line is too long to keep on looking.
func (l *lines) length() (n int, ended bool) {
	from := 0
	for {
		if i := bytes.IndexByte(l.buf[l.pos+from:l.end], '\n'); i >= 0 {
			return from + i, true
		}
		from = l.end - l.pos
		if from > l.most || !l.fill() {
			return from, false
		}
	}
}

func (l *lines) advance(n int) {
	l.pos = min(l.pos+n+1, l.end)
	l.lineAt++
}

// fill reads more text behind end, moving what is unused to the front of the buffer first.
// It reports whether there was any.
func (l *lines) fill() bool {
	if l.err != nil {
		return false
	}
	if l.pos > 0 {
		l.end = copy(l.buf, l.buf[l.pos:l.end])
		l.pos = 0
	}
	if l.end == len(l.buf) {
		l.buf = append(l.buf, make([]byte, len(l.buf))...)
	}
	known := l.end
	for tries := 0; l.end == known && l.err == nil; tries++ {
		var n int
		n, l.err = l.r.Read(l.buf[l.end:])
		l.end += n
		if n == 0 && l.err == nil && tries == 100 {
			l.err = io.ErrNoProgress
		}
	}
	return l.end > known
}

// skipLong goes to the next line when the current one, of which n bytes are known, is too
// long.
func (l *lines) skipLong(n int, ended bool) error {
	for !ended {
		l.pos += n
		if n, ended = l.length(); n == 0 && !ended {
			break
		}
	}
	if !ended && l.err != io.EOF {
		l.lineAt++
		return l.err
	}
	l.advance(n)
	return &columns.Fault{
		What:   fmt.Sprintf("the line is longer than %d bytes", l.most),
		Advice: "write one object a line, and check that it is not binary data",
	}
}
