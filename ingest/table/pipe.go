package table

import (
	"bufio"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"io"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// Sink takes a table: its columns once, then its rows.
type Sink interface {
	// Begin is told how many rows there will be, and says which columns are needed.
	Begin(fields []Field, rows int64, described map[string]Described) (wanted []bool, err error)
	Add(rows int, cols []Column) error
}

// Wanted reports for each column whether a table with these columns needs it. Of a table that
// will be refused none is.
func Wanted(fields []Field) []bool {
	out := make([]bool, len(fields))
	p, fault := planOf(fields)
	for i, f := range fields {
		out[i] = fault == nil && p.wanted(i) && f.Unusable == ""
	}
	return out
}

// A table goes through a pipe as frames, all integers little-endian: a byte that says what it is, its
// length as u32, and that many bytes.
//
//	'F'  the columns, as JSON
//	'R'  rows: u32 how many, then each column
//	'E'  the end: what went wrong, nothing if all is well
//
// A column is its type as a byte, u32 entries, and whether rows lack a value as a byte; if so a byte a row;
// then, by type, 8 bytes a value, or a byte for a bool. Text has u32 entries, each u32 and bytes, before
// the rows' numbers among them, u32 each.
const (
	frameFields = 'F'
	frameRows   = 'R'
	frameEnd    = 'E'

	mostFrame = 1 << 30
)

// Described in JSON.
type describedJSON struct {
	Unit string
	Kind string
}

type fieldsJSON struct {
	Fields    []Field
	Rows      int64
	Described map[string]describedJSON
}

// PipeWriter is a Sink that writes frames.
type PipeWriter struct {
	w   *bufio.Writer
	buf []byte
}

// NewPipeWriter writes to w.
func NewPipeWriter(w io.Writer) *PipeWriter { return &PipeWriter{w: bufio.NewWriterSize(w, 1<<20)} }

func (p *PipeWriter) frame(what byte, body []byte) error {
	if len(body) > mostFrame {
		return fmt.Errorf("rows of %d bytes", len(body))
	}
	var head [5]byte
	head[0] = what
	binary.LittleEndian.PutUint32(head[1:], uint32(len(body)))
	p.w.Write(head[:])
	_, err := p.w.Write(body)
	return err
}

// Begin implements Sink.
func (p *PipeWriter) Begin(fields []Field, rows int64, described map[string]Described) ([]bool, error) {
	f := fieldsJSON{Fields: fields, Rows: rows, Described: map[string]describedJSON{}}
	for name, d := range described {
		f.Described[name] = describedJSON{d.Unit, d.Kind.String()}
	}
	body, err := json.Marshal(f)
	if err != nil {
		return nil, err
	}
	return Wanted(fields), p.frame(frameFields, body)
}

// Add implements Sink.
func (p *PipeWriter) Add(rows int, cols []Column) error {
	b := binary.LittleEndian.AppendUint32(p.buf[:0], uint32(rows))
	for i := range cols {
		b = appendColumn(b, &cols[i])
	}
	p.buf = b
	return p.frame(frameRows, b)
}

// End writes the last frame.
func (p *PipeWriter) End(err error) error {
	text := ""
	if err != nil {
		text = err.Error()
	}
	if err := p.frame(frameEnd, []byte(text)); err != nil {
		return err
	}
	return p.w.Flush()
}

func appendColumn(b []byte, c *Column) []byte {
	b = append(b, byte(c.Type), bit(c.Valid != nil))
	if c.Type == Null {
		b[len(b)-1] = 0
		return b
	}
	for _, v := range c.Valid {
		b = append(b, bit(v))
	}
	switch c.Type {
	case Float:
		for _, v := range c.Floats {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
	case Int:
		for _, v := range c.Ints {
			b = binary.LittleEndian.AppendUint64(b, uint64(v))
		}
	case Bool:
		for _, v := range c.Bools {
			b = append(b, bit(v))
		}
	case Text:
		b = binary.LittleEndian.AppendUint32(b, uint32(len(c.Entries)))
		for _, e := range c.Entries {
			b = append(binary.LittleEndian.AppendUint32(b, uint32(len(e))), e...)
		}
		b = append(b, bit(c.IDs != nil))
		for _, id := range c.IDs {
			b = binary.LittleEndian.AppendUint32(b, id)
		}
	}
	return b
}

func bit(v bool) byte {
	if v {
		return 1
	}
	return 0
}

// ErrBroken is what ReadPipe returns when the pipe ends before its last frame, or holds what
// is none: the other side has died. It is io.ErrUnexpectedEOF too.
var ErrBroken = fmt.Errorf("the pipe is broken: %w", io.ErrUnexpectedEOF)

// Ended is what the last frame says when something went wrong.
type Ended struct{ What string }

func (e *Ended) Error() string { return e.What }

// ReadPipe feeds the frames of r to sink. The error is ErrBroken, an *Ended, or one of sink.
func ReadPipe(r io.Reader, sink Sink) error {
	in := bufio.NewReaderSize(r, 1<<20)
	var buf []byte
	var cols []Column
	for {
		var head [5]byte
		if _, err := io.ReadFull(in, head[:]); err != nil {
			return ErrBroken
		}
		n := int(binary.LittleEndian.Uint32(head[1:]))
		if n > mostFrame {
			return ErrBroken
		}
		buf = resize(buf, n)
		if _, err := io.ReadFull(in, buf); err != nil {
			return ErrBroken
		}
		switch head[0] {
		case frameFields:
			f, described, err := readFields(buf)
			if err != nil {
				return ErrBroken
			}
			cols = make([]Column, len(f.Fields))
			if _, err := sink.Begin(f.Fields, f.Rows, described); err != nil {
				return err
			}
		case frameRows:
			d := decoder{b: buf}
			rows := int(d.u32())
			if rows > n { // a row has a time
				return ErrBroken
			}
			for i := range cols {
				d.column(&cols[i], rows)
			}
			if d.short || len(d.b) > 0 || cols == nil {
				return ErrBroken
			}
			if err := sink.Add(rows, cols); err != nil {
				return err
			}
		case frameEnd:
			if n > 0 {
				return &Ended{string(buf)}
			}
			return nil
		default:
			return ErrBroken
		}
	}
}

func readFields(b []byte) (f fieldsJSON, _ map[string]Described, err error) {
	if err := json.Unmarshal(b, &f); err != nil {
		return f, nil, err
	}
	described := map[string]Described{}
	for name, d := range f.Described {
		kind, ok := schemas.ParseKind(d.Kind)
		if !ok {
			return f, nil, ErrBroken
		}
		described[name] = Described{d.Unit, kind}
	}
	return f, described, nil
}

// decoder reads columns out of a frame; short tells that it had too few bytes.
type decoder struct {
	b     []byte
	short bool
}

// take is the next n things of size bytes each.
func (d *decoder) take(n, size int) []byte {
	if d.short || n > len(d.b)/size {
		d.short = true
		return nil
	}
	out := d.b[:n*size]
	d.b = d.b[n*size:]
	return out
}

func (d *decoder) u32() uint32 {
	if b := d.take(1, 4); b != nil {
		return binary.LittleEndian.Uint32(b)
	}
	return 0
}

func (d *decoder) byte() byte {
	if b := d.take(1, 1); b != nil {
		return b[0]
	}
	return 0
}

func (d *decoder) column(c *Column, rows int) {
	c.Type, c.Valid = Type(d.byte()), c.Valid[:0]
	if d.byte() == 0 {
		c.Valid = nil
	} else {
		c.Valid = d.bools(c.Valid, rows)
	}
	switch c.Type {
	case Null:
	case Float:
		b := d.take(rows, 8)
		c.Floats = resize(c.Floats, len(b)/8)
		for i := range c.Floats {
			c.Floats[i] = math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:]))
		}
	case Int:
		b := d.take(rows, 8)
		c.Ints = resize(c.Ints, len(b)/8)
		for i := range c.Ints {
			c.Ints[i] = int64(binary.LittleEndian.Uint64(b[8*i:]))
		}
	case Bool:
		c.Bools = d.bools(c.Bools, rows)
	case Text:
		n := int(d.u32())
		if n > len(d.b)/4 {
			d.short = true
			return
		}
		c.Entries = resize(c.Entries, n)
		for i := range c.Entries {
			c.Entries[i] = d.take(int(d.u32()), 1)
		}
		if d.byte() == 0 {
			c.IDs = nil
			return
		}
		b := d.take(rows, 4)
		c.IDs = resize(c.IDs, len(b)/4)
		for i := range c.IDs {
			c.IDs[i] = binary.LittleEndian.Uint32(b[4*i:])
		}
	default:
		d.short = true
	}
}

func (d *decoder) bools(into []bool, rows int) []bool {
	b := d.take(rows, 1)
	into = resize(into, len(b))
	for i, v := range b {
		into[i] = v != 0
	}
	return into
}
