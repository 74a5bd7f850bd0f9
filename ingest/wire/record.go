package wire

import (
	"encoding/binary"
	"hash/crc32"
	"math/bits"
	"unicode/utf8"

	"github.com/apache/arrow/go/v15/arrow"
	flatbuffers "github.com/google/flatbuffers/go"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// RecordSchema is the schema of the record batches on the wire: a row a sample, of the value
// columns the one of the signal's kind is not null. The collector holds it, so it is never
// sent.
func RecordSchema() *arrow.Schema {
	return arrow.NewSchema([]arrow.Field{
		{Name: "signal", Type: arrow.PrimitiveTypes.Uint32},
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
		{Name: "value", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "value_int", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "value_bool", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
		{Name: "value_text", Type: arrow.BinaryTypes.String, Nullable: true},
	}, nil)
}

// RecordHeader is the size of what stands before the Arrow message of a binary message: seq
// u64 and the CRC-32C of the rest u32, both little-endian.
const RecordHeader = 12

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// Record reads a binary message into the batch. numbers[i] is the signal of the power-up that
// the connection calls i. The result is valid until the next call; on a fault nothing of it
// counts.
//
// The Arrow message is read here and not by the Arrow library, because its reader trusts the
// lengths it is told: one wrong length ends the process, or asks for all the memory there
// is. Every length is compared here with the bytes that came, nothing is allocated by what
// a message says of itself, and the columns are used where they lie.
func (r *Reader) Record(data []byte, numbers []uint32) (*Batch, *Fault) {
	r.batch.Reset()
	if len(data) < RecordHeader {
		return nil, Faultf(BadMessage, "a binary message of %d bytes is shorter than its header, %d", len(data), RecordHeader)
	}
	message := data[RecordHeader:]
	if sum := crc32.Checksum(message, castagnoli); sum != binary.LittleEndian.Uint32(data[8:]) {
		return nil, Faultf(BadMessage, "the CRC-32C of the message is %08x, its header says %08x", sum, binary.LittleEndian.Uint32(data[8:]))
	}
	r.batch.Seq = binary.LittleEndian.Uint64(data)
	cols, fault := readColumns(message)
	if fault != nil {
		return nil, fault
	}
	if fault := r.rows(cols, numbers); fault != nil {
		return nil, fault
	}
	return &r.batch, nil
}

// rows takes the samples out of the columns.
func (r *Reader) rows(c *columns, numbers []uint32) *Fault {
	valid := 0
	for k := range c.valid {
		valid += c.valid[k].count(c.length)
	}
	if valid != c.length {
		return Faultf(BadMessage, "%d rows have %d values; each has one", c.length, valid)
	}
	entries := r.Names.Entries
	le := binary.LittleEndian
	for i := range c.length {
		n := le.Uint32(c.signal[4*i:])
		if int64(n) >= int64(len(numbers)) {
			return Faultf(BadMessage, "row %d: signal %d was not numbered in this connection", i, n)
		}
		signal := numbers[n]
		t := int64(le.Uint64(c.time[8*i:]))
		if t > cell.MaxTime || t < -cell.MaxTime {
			return Faultf(BadMessage, "row %d: time %d is beyond 9e12 s", i, t)
		}
		kind := entries[signal].Kind
		if !c.valid[kind].at(i) {
			return Faultf(BadMessage, "row %d: the value of signal %q is not in the column of %s", i, entries[signal].Name, kind)
		}
		switch kind {
		case schemas.Float64:
			r.batch.add(signal, t, le.Uint64(c.float[8*i:]))
		case schemas.Int64:
			r.batch.add(signal, t, le.Uint64(c.int[8*i:]))
		case schemas.Bool:
			r.batch.add(signal, t, uint64(c.bool[i/8]>>(i%8)&1))
		default:
			text, ok := c.textAt(i)
			if !ok {
				return Faultf(BadMessage, "row %d: the text lies outside of its column", i)
			}
			if len(text) > MaxText {
				return Faultf(TooLarge, "row %d: the text is longer than %d bytes", i, MaxText)
			}
			if !utf8.Valid(text) {
				return Faultf(BadMessage, "row %d: the text is not UTF-8", i)
			}
			r.batch.addText(signal, t, text)
		}
	}
	return nil
}

// columns are the buffers of a record batch. Buffers of a column without a value may be
// shorter than its rows need; they are not read then.
type columns struct {
	length  int
	signal  []byte
	time    []byte
	valid   [4]bitmap // by schemas.Kind
	float   []byte
	int     []byte
	bool    []byte
	offsets []byte
	text    []byte
}

func (c *columns) textAt(i int) ([]byte, bool) {
	from := int32(binary.LittleEndian.Uint32(c.offsets[4*i:]))
	to := int32(binary.LittleEndian.Uint32(c.offsets[4*i+4:]))
	if from < 0 || to < from || int(to) > len(c.text) {
		return nil, false
	}
	return c.text[from:to], true
}

// bitmap says which rows have a value: all, none, or those whose bit is set.
type bitmap struct {
	all  bool
	bits []byte
}

func (b bitmap) at(i int) bool {
	return b.all || b.bits != nil && b.bits[i/8]>>(i%8)&1 == 1
}

func (b bitmap) count(n int) int {
	switch {
	case b.all:
		return n
	case b.bits == nil:
		return 0
	}
	sum := 0
	for i := range n / 8 {
		sum += bits.OnesCount8(b.bits[i])
	}
	if rest := n % 8; rest > 0 {
		sum += bits.OnesCount8(b.bits[n/8] << (8 - rest))
	}
	return sum
}

// The fields of Arrow's format that are read here, by their slots in the tables of
// Message.fbs and Schema.fbs (Apache Arrow columnar format, "Serialization and Interprocess
// Communication").
const (
	slotHeaderType  = 6 // of Message
	slotHeader      = 8
	slotLength      = 4 // of RecordBatch
	slotNodes       = 6
	slotBuffers     = 8
	slotCompression = 10

	headerRecordBatch = 3 // of the union MessageHeader

	nodes   = 6 // fields of the schema, one node each
	buffers = 13
)

// readColumns takes an encapsulated message apart: continuation marker, length, metadata,
// padding, body.
func readColumns(message []byte) (c *columns, fault *Fault) {
	defer func() { // flatbuffers indexes by what the bytes say
		if p := recover(); p != nil {
			c, fault = nil, Faultf(BadMessage, "the Arrow message is damaged")
		}
	}()
	if len(message) < 8 || binary.LittleEndian.Uint32(message) != 0xffffffff {
		return nil, Faultf(BadMessage, "an Arrow IPC message begins with ff ff ff ff and its length")
	}
	size := int64(binary.LittleEndian.Uint32(message[4:]))
	if size > int64(len(message)-8) || size < 8 {
		return nil, Faultf(BadMessage, "the metadata of the Arrow message has %d bytes, the message %d", size, len(message))
	}
	meta, body := message[8:8+size], message[8+size:]
	root := flatbuffers.Table{Bytes: meta, Pos: flatbuffers.GetUOffsetT(meta)}
	if o := root.Offset(slotHeaderType); o == 0 || root.GetByte(root.Pos+flatbuffers.UOffsetT(o)) != headerRecordBatch {
		return nil, Faultf(BadMessage, "only record batches are taken, no schema or dictionary")
	}
	batch := flatbuffers.Table{}
	o := root.Offset(slotHeader)
	if o == 0 {
		return nil, Faultf(BadMessage, "the Arrow message has no header")
	}
	root.Union(&batch, flatbuffers.UOffsetT(o))
	if batch.Offset(slotCompression) != 0 {
		return nil, Faultf(BadMessage, "compressed record batches are not taken; the wire may compress instead")
	}
	return layout(batch, body)
}

// layout finds the buffers of the fixed schema in the body.
func layout(batch flatbuffers.Table, body []byte) (*columns, *Fault) {
	length := int64(0)
	if o := batch.Offset(slotLength); o != 0 {
		length = batch.GetInt64(batch.Pos + flatbuffers.UOffsetT(o))
	}
	nulls, bufs := make([]int64, nodes), make([][]byte, buffers)
	at, n := vector(batch, slotNodes)
	if n != nodes {
		return nil, Faultf(BadMessage, "the record batch has %d columns, not the %d of the schema", n, nodes)
	}
	if length < 0 || length > int64(len(body)) {
		return nil, Faultf(BadMessage, "a record batch of %d rows in %d bytes", length, len(body))
	}
	for i := range nulls {
		if l := batch.GetInt64(at + flatbuffers.UOffsetT(16*i)); l != length {
			return nil, Faultf(BadMessage, "column %d has %d rows, the record batch %d", i, l, length)
		}
		nulls[i] = batch.GetInt64(at + flatbuffers.UOffsetT(16*i+8))
	}
	at, n = vector(batch, slotBuffers)
	if n != buffers {
		return nil, Faultf(BadMessage, "the record batch has %d buffers, not the %d of the schema", n, buffers)
	}
	for i := range bufs {
		from := batch.GetInt64(at + flatbuffers.UOffsetT(16*i))
		size := batch.GetInt64(at + flatbuffers.UOffsetT(16*i+8))
		if from < 0 || size < 0 || from > int64(len(body)) || size > int64(len(body))-from {
			return nil, Faultf(BadMessage, "buffer %d lies outside of the message", i)
		}
		bufs[i] = body[from : from+size]
	}
	return fit(int(length), nulls, bufs)
}

func vector(t flatbuffers.Table, slot flatbuffers.VOffsetT) (flatbuffers.UOffsetT, int) {
	o := t.Offset(slot)
	if o == 0 {
		return 0, 0
	}
	return t.Vector(flatbuffers.UOffsetT(o)), t.VectorLen(flatbuffers.UOffsetT(o))
}

// fit makes sure that each buffer is as long as the rows need.
func fit(n int, nulls []int64, bufs [][]byte) (*columns, *Fault) {
	if nulls[0] != 0 || nulls[1] != 0 {
		return nil, Faultf(BadMessage, "signal and time_us have no nulls")
	}
	c := &columns{
		length: n, signal: bufs[1], time: bufs[3], float: bufs[5], int: bufs[7], bool: bufs[9],
		offsets: bufs[11], text: bufs[12],
	}
	if len(c.signal) < 4*n || len(c.time) < 8*n {
		return nil, Faultf(BadMessage, "the buffers of signal and time_us are too short for %d rows", n)
	}
	need := [...]int{schemas.Float64: 8 * n, schemas.Int64: 8 * n, schemas.Bool: (n + 7) / 8, schemas.Text: 4 * (n + 1)}
	for kind, data := range [...][]byte{c.float, c.int, c.bool, c.offsets} {
		field := 2 + kind
		marks := bufs[2*field]
		switch {
		case nulls[field] == int64(n) && n > 0:
			continue // no value at all
		case nulls[field] == 0 && len(marks) == 0:
			c.valid[kind].all = n > 0
		case len(marks) >= (n+7)/8:
			c.valid[kind].bits = marks
		default:
			return nil, Faultf(BadMessage, "the validity of column %d is too short for %d rows", field, n)
		}
		if n > 0 && len(data) < need[kind] {
			return nil, Faultf(BadMessage, "the values of column %d are too short for %d rows", field, n)
		}
	}
	return c, nil
}

// isSchema reports whether the metadata of a message, which we made ourselves, is a schema's.
func isSchema(meta []byte) bool {
	root := flatbuffers.Table{Bytes: meta, Pos: flatbuffers.GetUOffsetT(meta)}
	o := root.Offset(slotHeaderType)
	return o == 0 || root.GetByte(root.Pos+flatbuffers.UOffsetT(o)) != headerRecordBatch
}
