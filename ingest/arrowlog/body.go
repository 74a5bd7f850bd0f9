package arrowlog

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"

	flatbuffers "github.com/google/flatbuffers/go"
	"github.com/klauspost/compress/zstd"
	"github.com/pierrec/lz4/v4"
)

// Ways to pack a buffer, CompressionType of Message.fbs; notPacked is our own.
const (
	packedLZ4  = 0
	packedZstd = 1
	notPacked  = -1
)

// body is the buffers of a record batch, handed out column by column.
type body struct {
	r       *reader
	rows    int
	bytes   []byte
	t       flatbuffers.Table
	packing int
	version int16

	nodes, buffers, variadic          flatbuffers.UOffsetT // where the lists lie
	nodeCount, bufferCount, viewCount int
	node, buffer, view                int   // next of each
	size                              int64 // of the buffers handed out, unpacked
}

func (r *reader) body(t flatbuffers.Table, m *message) (b *body, err error) {
	b = &body{r: r, bytes: m.body, t: t, packing: notPacked, version: r.schema.version}
	length := getInt64(t, 4)
	if length < 0 || length > math.MaxInt32 {
		return nil, damaged("a record batch of %d rows", length)
	}
	b.rows = int(length)
	if b.nodes, b.nodeCount, err = vector(t, 6, 16); err != nil {
		return nil, err
	}
	if b.buffers, b.bufferCount, err = vector(t, 8, 16); err != nil {
		return nil, err
	}
	if b.variadic, b.viewCount, err = vector(t, 12, 8); err != nil {
		return nil, err
	}
	if o := t.Offset(10); o != 0 {
		c := child(t, t.Pos+flatbuffers.UOffsetT(o))
		if b.packing = int(getByte(c, 4)); b.packing > packedZstd || getByte(c, 6) != 0 {
			return nil, damaged("buffers packed in an unknown way")
		}
	}
	return b, nil
}

// columnData is the buffers of one column. Those of a column that is not wanted are not unpacked.
type columnData struct {
	*field
	wanted  bool
	rows    int
	valid   []byte // bits, nil when all rows have a value
	none    bool   // no row has one
	data    []byte // values, bits or characters; the views of a view
	offsets []byte
	views   [][]byte // the characters of views
}

// column is the next column, which is f.
func (b *body) column(f *field, wanted bool) (columnData, error) {
	a, err := b.next(f, wanted, 0)
	if err == nil && a.rows != b.rows {
		err = damaged("%d rows in a record batch of %d", a.rows, b.rows)
	}
	return a, err
}

func (b *body) next(f *field, wanted bool, depth int) (a columnData, err error) {
	if depth > mostDepth {
		return a, damaged("nested deeper than %d", mostDepth)
	}
	if b.node == b.nodeCount {
		return a, damaged("%d columns, fewer than the schema has", b.nodeCount)
	}
	at := b.nodes + flatbuffers.UOffsetT(16*b.node)
	rows, nulls := b.t.GetInt64(at), b.t.GetInt64(at+8)
	b.node++
	if rows < 0 || rows > math.MaxInt32 {
		return a, damaged("a column of %d rows", rows)
	}
	a = columnData{field: f, wanted: wanted, rows: int(rows)}
	children := f.children
	if f.dict != nil {
		children = nil
	}
	get := func() (raw []byte) {
		if err == nil {
			raw, err = b.take(wanted)
		}
		return raw
	}
	switch f.kind {
	case typeNull:
		a.none = true
		return a, nil
	case typeUnion:
		if b.version < version5 {
			get()
		}
		get()
		if f.dense {
			get()
		}
	case typeRunEnd:
	default:
		a.valid = get()
		switch f.kind {
		case typeStruct, typeFixedList:
		case typeBinary, typeUtf8, typeLargeBinary, typeLargeUtf8:
			a.offsets, a.data = get(), get()
		case typeListView, typeLargeListView:
			get()
			get()
		case typeBinaryView, typeUtf8View:
			a.data = get()
			if b.view == b.viewCount {
				return a, damaged("a column of views without their characters")
			}
			n := b.t.GetInt64(b.variadic + flatbuffers.UOffsetT(8*b.view))
			b.view++
			if n < 0 || n > int64(b.bufferCount-b.buffer) {
				return a, damaged("%d buffers of characters", n)
			}
			for range n {
				a.views = append(a.views, get())
			}
		default:
			a.data = get()
		}
	}
	for i := range children {
		if err == nil {
			_, err = b.next(&children[i], false, depth+1)
		}
	}
	if err == nil && wanted {
		err = a.check(nulls)
	}
	return a, err
}

// take is the next buffer, unpacked if it is wanted.
func (b *body) take(wanted bool) ([]byte, error) {
	if b.buffer == b.bufferCount {
		return nil, damaged("%d buffers, fewer than the schema needs", b.bufferCount)
	}
	at := b.buffers + flatbuffers.UOffsetT(16*b.buffer)
	from, size := b.t.GetInt64(at), b.t.GetInt64(at+8)
	b.buffer++
	if from < 0 || size < 0 || from > int64(len(b.bytes)) || size > int64(len(b.bytes))-from {
		return nil, damaged("a buffer that lies outside of its message")
	}
	raw := b.bytes[from : from+size]
	if !wanted || b.packing == notPacked || size == 0 {
		b.size += size
		return raw, nil
	}
	if size < 8 {
		return nil, damaged("a packed buffer of %d bytes", size)
	}
	n := int64(u64(raw))
	raw = raw[8:]
	if n == -1 {
		b.size += int64(len(raw))
		return raw, nil
	}
	if b.size += n; n < 0 || b.size > b.r.limits.Body {
		return nil, fmt.Errorf("a record batch unpacks to more than %d bytes: %w", b.r.limits.Body, errTooLarge)
	}
	if b.r.left -= n; b.r.left < 0 {
		return nil, fmt.Errorf("the file unpacks to more than %d bytes: %w", b.r.limits.Unpacked, errTooLarge)
	}
	return b.r.unpack.unpack(b.packing, raw, n)
}

var errTooLarge = errors.New("split it")

// done makes sure that everything was handed out.
func (b *body) done() error {
	if b.node != b.nodeCount || b.buffer != b.bufferCount {
		return damaged("a record batch of more columns than the schema has")
	}
	if int64(b.rows) > 8*b.size { // a row takes a bit at least
		return damaged("%d rows in %d bytes", b.rows, b.size)
	}
	return nil
}

// check makes sure that the buffers are as long as the rows need.
func (a *columnData) check(nulls int64) error {
	if a.kind == typeNull {
		return nil
	}
	if a.rows == 0 {
		*a = columnData{field: a.field, wanted: a.wanted, none: true}
		return nil
	}
	switch {
	case len(a.valid) >= (a.rows+7)/8:
	case len(a.valid) > 0:
		return damaged("%d bytes say which of %d rows have a value", len(a.valid), a.rows)
	case nulls == int64(a.rows):
		a.none = true
		return nil
	case nulls != 0:
		return damaged("%d rows without a value, and nothing says which", nulls)
	default:
		a.valid = nil
	}
	need := func(b []byte, n int, bits int) error {
		if int64(len(b))*8 < int64(n)*int64(bits) {
			return damaged("%d bytes for %d rows", len(b), a.rows)
		}
		return nil
	}
	switch a.kind {
	case typeBool:
		return need(a.data, a.rows, 1)
	case typeUtf8, typeBinary:
		return need(a.offsets, a.rows+1, 32)
	case typeLargeUtf8, typeLargeBinary:
		return need(a.offsets, a.rows+1, 64)
	case typeUtf8View, typeBinaryView:
		return need(a.data, a.rows, 128)
	default:
		return need(a.data, a.rows, a.bits)
	}
}

// unpacker keeps what the two ways of packing need from one buffer to the next.
type unpacker struct {
	zstd *zstd.Decoder
	lz4  *lz4.Reader
}

// unpack is n bytes that were packed. What comes out is what takes memory, not n.
func (u *unpacker) unpack(packing int, raw []byte, n int64) ([]byte, error) {
	var in io.Reader
	if packing == packedLZ4 {
		if u.lz4 == nil {
			u.lz4 = lz4.NewReader(nil)
		}
		u.lz4.Reset(bytes.NewReader(raw))
		in = u.lz4
	} else {
		if u.zstd == nil {
			z, err := zstd.NewReader(nil, zstd.WithDecoderConcurrency(1), zstd.WithDecoderMaxWindow(128<<20))
			if err != nil {
				return nil, err
			}
			u.zstd = z
		}
		if err := u.zstd.Reset(bytes.NewReader(raw)); err != nil {
			return nil, damaged("%s", err)
		}
		in = u.zstd
	}
	// Eight times is more than numbers pack to; beyond, memory follows what really comes out.
	room := min(n, int64(len(raw))*8+512)
	out := bytes.NewBuffer(make([]byte, 0, room))
	got, err := io.Copy(out, io.LimitReader(in, n+1))
	if err != nil {
		return nil, damaged("a packed buffer: %s", err)
	}
	if got != n {
		return nil, damaged("a packed buffer of %d bytes that says %d", got, n)
	}
	return out.Bytes(), nil
}
