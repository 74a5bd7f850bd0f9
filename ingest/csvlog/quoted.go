package csvlog

import (
	"bytes"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/columns"
)

// quotedRecord is the record at pos, whose first line has n bytes and holds a quotation mark.
// Line ends inside quotation marks belong to the field as they are, CR LF included.
//
// After a fault the next record begins on the next line, not behind the place where a
// runaway quotation mark happens to be closed: one stray mark costs one row.
func (s *scanner) quotedRecord(n int) (fields [][]byte, column int, err error) {
	first, lines := n, 1
	for inside := odd(s.buf[s.pos : s.pos+n]); inside; lines++ {
		if s.pos+n == s.end {
			return s.runaway(first, "before the end of the file")
		}
		more, ok := s.lineLength(n + 1)
		if more > s.most {
			return s.runaway(first, fmt.Sprintf("within %d bytes", s.most))
		}
		if !ok && s.err != io.EOF {
			return nil, 0, s.err
		}
		inside = !odd(s.buf[s.pos+n : s.pos+more])
		n = more
	}
	column, fault := s.unquote(withoutCR(s.buf[s.pos : s.pos+n]))
	if fault != nil {
		s.advance(first, 1)
		return nil, column, fault
	}
	s.next = min(s.pos+first+1, s.end)
	s.advance(n, lines)
	return s.fields, 0, nil
}

// runaway is the fault of a record that ends inside quotation marks, whose first line has n
// bytes. That line may show a better reason than the end that was never found.
func (s *scanner) runaway(n int, where string) ([][]byte, int, error) {
	column, fault := s.unquote(withoutCR(s.buf[s.pos : s.pos+n]))
	if fault == nil || fault.What == unclosed(endOfRow).What {
		fault = unclosed(where)
	}
	s.advance(n, 1)
	return nil, column, fault
}

// odd reports whether text holds an odd number of quotation marks, that is, whether it ends
// on the other side of them than it began. A doubled mark inside changes nothing.
func odd(text []byte) bool { return bytes.Count(text, []byte{'"'})%2 == 1 }

// unquote cuts a whole record at the commas outside quotation marks and takes the marks off.
func (s *scanner) unquote(line []byte) (column int, fault *columns.Fault) {
	s.fields, s.unescaped = s.fields[:0], s.unescaped[:0]
	for {
		column++
		var field []byte
		if len(line) > 0 && line[0] == '"' {
			var closed bool
			if field, line, closed = s.quotedField(line[1:]); !closed {
				return column, unclosed(endOfRow)
			}
			if len(line) > 0 && line[0] != ',' {
				return column, &columns.Fault{
					What:   fmt.Sprintf("the field goes on behind its closing quotation mark with %s", columns.Quote(line[:1])),
					Advice: `write a quotation mark inside a quoted field as ""`,
				}
			}
		} else {
			i := bytes.IndexByte(line, ',')
			if i < 0 {
				i = len(line)
			}
			field, line = line[:i], line[i:]
			if bytes.IndexByte(field, '"') >= 0 {
				return column, &columns.Fault{
					What:   fmt.Sprintf("a quotation mark stands inside %s, a field that does not begin with one", columns.Quote(field)),
					Advice: `put the field in quotation marks and write those inside it as ""`,
				}
			}
		}
		s.fields = append(s.fields, field)
		if len(line) == 0 {
			return 0, nil
		}
		line = line[1:] // the comma
	}
}

// quotedField is the content of the field that begins at text, behind its opening mark, and
// what follows its closing mark.
func (s *scanner) quotedField(text []byte) (field, rest []byte, closed bool) {
	begin := len(s.unescaped)
	for {
		i := bytes.IndexByte(text, '"')
		switch {
		case i < 0:
			return nil, nil, false
		case i+1 < len(text) && text[i+1] == '"':
			s.unescaped = append(s.unescaped, text[:i+1]...)
			text = text[i+2:]
		case len(s.unescaped) == begin:
			return text[:i], text[i+1:], true
		default:
			s.unescaped = append(s.unescaped, text[:i]...)
			return s.unescaped[begin:], text[i+1:], true
		}
	}
}

const endOfRow = "before the end of the row"

func unclosed(where string) *columns.Fault {
	return &columns.Fault{
		What:   "a quotation mark is not closed " + where,
		Advice: `close it, and write a quotation mark inside a quoted field as ""`,
	}
}
