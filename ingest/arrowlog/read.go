// Package arrowlog reads logs from Arrow IPC files and streams (Apache Arrow Columnar Format,
// "Serialization and Interprocess Communication"), in the forms that package table takes.
//
// It takes the bytes apart itself and does not hand them to the Arrow library, whose reader
// trusts what a file says of itself: one wrong length asks for hundreds of gigabytes, and
// recover does not stop that. Here every length and offset is compared with the bytes that
// are there before it is used, and memory is taken for bytes that came, not for claims.
//
// message.go reads the messages of a file or stream, meta.go their metadata, body.go finds
// and unpacks buffers, decode.go makes columns of them.
package arrowlog

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/table"
)

// Magic begins and ends a file, Continuation begins each message of a stream.
const (
	Magic        = "ARROW1"
	Continuation = "\xff\xff\xff\xff"
)

// Limits bound what a file may ask for. A field that is 0 has its default.
type Limits struct {
	Body     int64 // bytes of one message, unpacked; 2 GiB
	Unpacked int64 // bytes of all of them, unpacked; 64 GiB
}

func (l Limits) orDefault() Limits {
	if l.Body == 0 {
		l.Body = 2 << 30
	}
	if l.Unpacked == 0 {
		l.Unpacked = 64 << 30
	}
	return l
}

// mostMeta is the longest metadata of a message, in bytes: some hundred thousand columns.
const mostMeta = 64 << 20

// damage is what is wrong with the bytes.
type damage struct{ what string }

func (d *damage) Error() string { return d.what }

func damaged(format string, a ...any) error { return &damage{fmt.Sprintf(format, a...)} }

// reader is one file or stream on its way into a builder.
type reader struct {
	file   string
	b      *columns.Builder
	limits Limits
	left   int64 // bytes that may still be unpacked

	schema *schema
	taker  *table.Taker
	dicts  map[int64]*dictionary
	unpack unpacker
	cols   []table.Column
	room   []scratch
	window int // rows that are decoded at once
}

// ReadStream feeds the rows of a stream to b, under the name file in errors. ignored are the
// names of columns of a long table that mean nothing, the first few.
//
// The error is a *columns.BadRow for what is wrong with the rows, else it says that the
// bytes are damaged, or wraps the one of in. A stream that is cut short
// (io.ErrUnexpectedEOF) counts as a bad row at its end.
func ReadStream(in io.Reader, file string, b *columns.Builder, limits Limits) (ignored []string, err error) {
	r := newReader(file, b, limits)
	m := &stream{r: in}
	if err := r.guard(func() error { return r.stream(m, true) }, m.position); err != nil {
		return nil, err
	}
	return r.end()
}

// ReadFile is ReadStream for a file of size bytes. One without its end is read as the stream
// that it then is.
func ReadFile(in io.ReaderAt, size int64, file string, b *columns.Builder, limits Limits) (ignored []string, err error) {
	r := newReader(file, b, limits)
	f := &blocks{r: in, size: size}
	whole, err := f.whole()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if !whole {
		m := &stream{r: io.NewSectionReader(in, int64(headLen), max(size-int64(headLen), 0)), at: int64(headLen)}
		err = r.guard(func() error {
			err := r.stream(m, false)
			if err == nil { // it has its end, and the footer is missing
				err = io.ErrUnexpectedEOF
			}
			return err
		}, m.position)
	} else {
		err = r.guard(func() error { return r.blocks(f) }, func() int64 { return f.at })
	}
	if err != nil {
		return nil, err
	}
	return r.end()
}

func newReader(file string, b *columns.Builder, limits Limits) *reader {
	limits = limits.orDefault()
	return &reader{file: file, b: b, limits: limits, left: limits.Unpacked, dicts: map[int64]*dictionary{}}
}

func (r *reader) end() ([]string, error) {
	if err := r.taker.Close(); err != nil {
		return nil, err
	}
	return r.taker.Ignored(), nil
}

// guard words the errors of read. Flatbuffers are read by what their bytes say: an index out
// of range is damage.
func (r *reader) guard(read func() error, at func() int64) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = r.damage(at(), fmt.Sprint(p))
		}
	}()
	err = read()
	var d *damage
	var bad *columns.BadRow
	switch {
	case err == nil, errors.As(err, &bad):
		return err
	case errors.As(err, &d):
		return r.damage(at(), d.what)
	case errors.Is(err, io.ErrUnexpectedEOF) && r.taker == nil:
		r.b.OpenTable(r.file)
		return r.b.RejectTable(&columns.Fault{What: "the file is cut short before its first row", Advice: "copy it again from where it was recorded", Final: true})
	case errors.Is(err, io.ErrUnexpectedEOF):
		return r.taker.CutShort()
	default:
		return fmt.Errorf("%s, about byte %d: %w", r.file, at(), err)
	}
}

func (r *reader) damage(at int64, what string) error {
	return fmt.Errorf("%s: the Arrow data are damaged near byte %d (%s); copy the file again from where it was recorded", r.file, at, what)
}

// stream reads messages until the end of the stream. alone tells that nothing may follow it.
func (r *reader) stream(s *stream, alone bool) error {
	for {
		m, err := s.next(r.limits.Body)
		if err == io.EOF && r.schema == nil {
			return io.ErrUnexpectedEOF
		}
		if err == io.EOF {
			return nil
		}
		if err == errEnd && r.schema == nil {
			return damaged("the stream has no schema")
		}
		if err == errEnd {
			if alone && s.more() {
				return damaged("there is more behind the end of the stream")
			}
			return nil
		}
		if err == nil {
			err = r.message(m)
		}
		if err != nil {
			return err
		}
	}
}

// blocks reads the messages that a file's footer lists: first all dictionaries, which may
// stand behind the rows that use them.
func (r *reader) blocks(f *blocks) error {
	foot, err := f.footer()
	if err != nil {
		return err
	}
	if err := r.begin(foot.schema); err != nil {
		return err
	}
	for i, list := range [][]block{foot.dictionaries, foot.batches} {
		wanted := []byte{headerDictionary, headerBatch}[i]
		for _, b := range list {
			m, err := f.message(b, r.limits.Body)
			if err != nil {
				return err
			}
			if m.header != wanted {
				return damaged("a message of another kind than the footer says")
			}
			if err := r.message(m); err != nil {
				return err
			}
		}
	}
	return nil
}

// begin takes the schema.
func (r *reader) begin(s *schema) error {
	if s.bigEndian {
		return damaged("the file is big-endian, which is not read here")
	}
	r.schema = s
	fields := make([]table.Field, len(s.fields))
	for i, f := range s.fields {
		fields[i] = f.field()
	}
	var err error
	r.taker, err = table.New(r.b, r.file, fields, nil)
	r.cols = make([]table.Column, len(fields))
	r.room = make([]scratch, len(fields))
	wanted := 0
	for i := range fields {
		if r.taker != nil && r.taker.Wanted(i) {
			wanted++
		}
	}
	r.window = min(max(windowCells/max(wanted, 1), leastWindow), mostWindow)
	return err
}

// message takes one message.
func (r *reader) message(m *message) error {
	switch m.header {
	case headerSchema:
		if r.schema != nil {
			return damaged("a second schema")
		}
		s, err := readSchema(m.table, m.version)
		if err != nil {
			return err
		}
		return r.begin(s)
	case headerDictionary, headerBatch:
		if r.schema == nil {
			return damaged("data before the schema")
		}
		if m.header == headerDictionary {
			return r.dictionary(m)
		}
		return r.batch(m)
	default:
		return damaged("a message of the unknown kind %d", m.header)
	}
}

// windowCells is how many cells are decoded at once, about, and the others how many rows: a
// table of thousands of columns takes no more memory for it than one of three.
const (
	windowCells = 1 << 20
	mostWindow  = 1 << 16
	leastWindow = 1 << 8
)

// batch takes the rows of a record batch.
func (r *reader) batch(m *message) error {
	body, err := r.body(m.table, m)
	if err != nil {
		return err
	}
	arrays := make([]columnData, len(r.schema.fields))
	for i := range r.schema.fields {
		f := &r.schema.fields[i]
		if arrays[i], err = body.column(f, r.taker.Wanted(i) && f.unusable == ""); err != nil {
			return fmt.Errorf("column %d: %w", i+1, err)
		}
	}
	if err := body.done(); err != nil {
		return err
	}
	if times := &arrays[r.taker.TimeField()]; times.none && body.rows > mostWindow {
		return damaged("%d rows without a time", body.rows) // which need no bytes
	}
	for from := 0; from < body.rows; from += r.window {
		to := min(from+r.window, body.rows)
		for i := range arrays {
			r.cols[i] = table.Column{}
			if !arrays[i].wanted {
				continue
			}
			if err := r.room[i].decode(&r.cols[i], &arrays[i], from, to, r.dicts); err != nil {
				return fmt.Errorf("column %d: %w", i+1, err)
			}
		}
		if err := r.taker.Add(to-from, r.cols); err != nil {
			return err
		}
	}
	return nil
}

// mostEntries is how many values a dictionary may have.
const mostEntries = 1 << 22

// dictionary takes the values of a dictionary, or more of them.
func (r *reader) dictionary(m *message) error {
	id, data, delta := readDictionary(m.table)
	field := r.schema.dictionaries[id]
	if field == nil {
		return damaged("a dictionary %d that no column uses", id)
	}
	body, err := r.body(data, m)
	if err != nil {
		return err
	}
	a, err := body.column(field, field.unusable == "")
	if err != nil {
		return fmt.Errorf("dictionary %d: %w", id, err)
	}
	if !a.wanted {
		return nil
	}
	rows := body.rows
	if old := r.dicts[id]; delta && old != nil {
		rows += old.rows
	}
	if rows > mostEntries {
		return damaged("a dictionary of %d values", rows)
	}
	var c table.Column
	if err := new(scratch).decode(&c, &a, 0, body.rows, nil); err != nil {
		return fmt.Errorf("dictionary %d: %w", id, err)
	}
	keep(&c, body.rows)
	if old := r.dicts[id]; delta && old != nil {
		extend(&old.Column, old.rows, &c, body.rows)
		old.rows += body.rows
		return nil
	}
	r.dicts[id] = &dictionary{c, body.rows}
	return nil
}

func u32(b []byte) uint32 { return binary.LittleEndian.Uint32(b) }
func u64(b []byte) uint64 { return binary.LittleEndian.Uint64(b) }
