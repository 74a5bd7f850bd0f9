package wire

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"github.com/afterbell/afterbell/schemas"
)

// Encoder writes batches as binary messages with the Arrow library. It keeps memory from one
// to the next and is used by one goroutine.
type Encoder struct {
	schema *arrow.Schema
	out    bytes.Buffer
	value  [4][]byte // by kind; of Text the offsets
	valid  [4][]byte
}

// NewEncoder is an encoder.
func NewEncoder() *Encoder { return &Encoder{schema: RecordSchema()} }

// Encode is the binary message of a batch, valid until the next call. The numbers of its
// signals are those of the connection, kinds[i] is the kind of signal i.
func (e *Encoder) Encode(b *Batch, kinds []schemas.Kind) ([]byte, error) {
	record := e.record(b, kinds)
	defer record.Release()
	e.out.Reset()
	e.out.Write(make([]byte, RecordHeader))
	w := ipc.NewWriterWithPayloadWriter(&payloads{out: &e.out}, ipc.WithSchema(e.schema))
	if err := w.Write(record); err != nil {
		return nil, fmt.Errorf("encoding a record batch: %w", err)
	}
	data := e.out.Bytes()
	binary.LittleEndian.PutUint64(data, b.Seq)
	binary.LittleEndian.PutUint32(data[8:], crc32.Checksum(data[RecordHeader:], castagnoli))
	return data, nil
}

// record lays the batch out as Arrow wants it: for each kind a column as long as the batch.
func (e *Encoder) record(b *Batch, kinds []schemas.Kind) arrow.Record {
	n := b.Len()
	widths := [...]int{schemas.Float64: 8 * n, schemas.Int64: 8 * n, schemas.Bool: (n + 7) / 8, schemas.Text: 4 * (n + 1)}
	counts := [4]int{}
	for k, w := range widths {
		e.value[k] = cleared(e.value[k], w)
		e.valid[k] = cleared(e.valid[k], (n+7)/8)
	}
	le := binary.LittleEndian
	var text []byte
	for i, signal := range b.Signal {
		k, v := kinds[signal], b.Value[i]
		counts[k]++
		e.valid[k][i/8] |= 1 << (i % 8)
		switch k {
		case schemas.Float64, schemas.Int64:
			le.PutUint64(e.value[k][8*i:], v)
		case schemas.Bool:
			e.value[k][i/8] |= byte(v) << (i % 8)
		default:
			text = append(text, b.TextAt(v)...)
		}
		le.PutUint32(e.value[schemas.Text][4*i+4:], uint32(len(text)))
	}
	buffer := memory.NewBufferBytes
	columns := []arrow.Array{
		array.MakeFromData(array.NewData(e.schema.Field(0).Type, n, []*memory.Buffer{nil, buffer(arrow.Uint32Traits.CastToBytes(b.Signal))}, nil, 0, 0)),
		array.MakeFromData(array.NewData(e.schema.Field(1).Type, n, []*memory.Buffer{nil, buffer(arrow.Int64Traits.CastToBytes(b.Time))}, nil, 0, 0)),
	}
	for k := range e.value {
		bufs := []*memory.Buffer{buffer(e.valid[k]), buffer(e.value[k])}
		if k == int(schemas.Text) {
			bufs = append(bufs, buffer(text))
		}
		columns = append(columns, array.MakeFromData(array.NewData(e.schema.Field(2+k).Type, n, bufs, nil, n-counts[k], 0)))
	}
	return array.NewRecord(e.schema, columns, int64(n))
}

func cleared(b []byte, n int) []byte {
	if cap(b) < n {
		return make([]byte, n)
	}
	b = b[:n]
	clear(b)
	return b
}

// payloads takes from the Arrow writer the messages that are not the schema.
type payloads struct{ out *bytes.Buffer }

func (p *payloads) Start() error { return nil }
func (p *payloads) Close() error { return nil }

func (p *payloads) WritePayload(payload ipc.Payload) error {
	meta := payload.Meta()
	defer meta.Release()
	if isSchema(meta.Bytes()) {
		return nil
	}
	padded := (len(meta.Bytes()) + 7) / 8 * 8
	var head [8]byte
	binary.LittleEndian.PutUint32(head[:], 0xffffffff)
	binary.LittleEndian.PutUint32(head[4:], uint32(padded))
	p.out.Write(head[:])
	p.out.Write(meta.Bytes())
	p.out.Write(make([]byte, padded-len(meta.Bytes())))
	return payload.SerializeBody(p.out)
}
