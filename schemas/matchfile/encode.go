package matchfile

import (
	"encoding/binary"
	"math"
	"slices"

	"github.com/parquet-go/parquet-go/encoding/delta"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/schemas"
)

// Limits of one row group, which is held in memory whole: rows, and bytes of text after
// which the next row opens another group.
const (
	maxRows      = 1 << 20
	maxGroupText = 16 << 20
)

// cuts are the rows at which row groups of s begin, and its length.
func cuts(s *schemas.Signal) []int {
	out := []int{0}
	text := 0
	for i := range s.Text {
		text += len(s.Text[i])
		if text > maxGroupText || i-out[len(out)-1] == maxRows {
			out, text = append(out, i), len(s.Text[i])
		}
	}
	if s.Kind != schemas.Text {
		for i := maxRows; i < s.Len(); i += maxRows {
			out = append(out, i)
		}
	}
	if s.Len() == 0 {
		return out
	}
	return append(out, s.Len())
}

// encoder turns signals into row groups. Its buffers are used again for each.
type encoder struct {
	written spares
	pages   pageWriter
	delta   delta.BinaryPackedEncoding
	numbers []float64
	values  dictionary
	dict    []byte
	body    []byte
	runs    []byte
}

func newEncoder(written spares) *encoder {
	return &encoder{written: written, pages: newPageWriter()}
}

// rowGroup encodes s, which is at most one row group long and not empty.
func (e *encoder) rowGroup(s *schemas.Signal) (rowGroup, error) {
	g := rowGroup{raw: e.written.get(), meta: format.RowGroup{NumRows: int64(s.Len()), SortingColumns: sorting}}
	for _, encode := range []func(*schemas.Signal) (chunk, error){
		e.signal, e.boot, e.time, e.value, e.valueInt, e.valueText,
	} {
		c, err := encode(s)
		if err != nil {
			return rowGroup{}, err
		}
		c.column, c.rows = len(g.meta.Columns), s.Len()
		if err := e.pages.add(&g, c); err != nil {
			return rowGroup{}, err
		}
	}
	return g, nil
}

func (e *encoder) signal(s *schemas.Signal) (chunk, error) {
	e.dict = appendText(e.dict[:0], s.Name)
	return e.constant(s.Len(), e.dict, []byte(s.Name)), nil
}

func (e *encoder) boot(s *schemas.Signal) (chunk, error) {
	lo, hi := s.BootAt(0), s.BootAt(s.Len()-1) // they are sorted
	e.dict = binary.LittleEndian.AppendUint32(e.dict[:0], uint32(lo))
	if lo == hi {
		return e.constant(s.Len(), e.dict, slices.Clone(e.dict)), nil
	}
	body, err := e.delta.EncodeInt32(e.body, s.Boot)
	e.body = body
	return chunk{
		encoding: format.DeltaBinaryPacked, body: body,
		min: slices.Clone(e.dict), max: binary.LittleEndian.AppendUint32(nil, uint32(hi)),
	}, err
}

// constant is a column of one and the same value, plain in dict.
func (e *encoder) constant(rows int, dict, bound []byte) chunk {
	e.body = binary.AppendUvarint(append(e.body[:0], 0), uint64(rows)<<1)
	return chunk{dict: dict, entries: 1, encoding: format.RLEDictionary, body: e.body, min: bound, max: bound}
}

func (e *encoder) time(s *schemas.Signal) (chunk, error) { return e.int64s(s.Time) }

func (e *encoder) valueInt(s *schemas.Signal) (chunk, error) {
	if s.Kind != schemas.Int64 {
		return chunk{null: true}, nil
	}
	return e.int64s(s.Int)
}

func (e *encoder) int64s(values []int64) (chunk, error) {
	body, err := e.delta.EncodeInt64(e.body, values)
	e.body = body
	lo, hi := bounds(values)
	return chunk{
		encoding: format.DeltaBinaryPacked, body: body,
		min: plain64(uint64(lo)), max: plain64(uint64(hi)),
	}, err
}

// bounds are the least and the greatest of values, which is not empty.
func bounds(values []int64) (lo, hi int64) {
	lo, hi = values[0], values[0]
	for _, v := range values {
		lo, hi = min(lo, v), max(hi, v)
	}
	return lo, hi
}

func (e *encoder) value(s *schemas.Signal) (chunk, error) {
	if s.Kind == schemas.Text {
		return chunk{null: true}, nil
	}
	values := s.Float
	if s.Kind != schemas.Float64 {
		e.numbers = s.Numbers(e.numbers[:0])
		values = e.numbers
	}
	var c chunk
	if e.values.index(values) {
		e.dict = e.dict[:0]
		for _, b := range e.values.entries {
			e.dict = binary.LittleEndian.AppendUint64(e.dict, b)
			c.widen(math.Float64frombits(b))
		}
		if err := e.appendIDs(e.values.ids, len(e.values.entries)); err != nil {
			return chunk{}, err
		}
		c.dict, c.entries, c.encoding = e.dict, len(e.values.entries), format.RLEDictionary
	} else {
		e.body = appendWords(e.body[:0], values)
		for _, v := range values {
			c.widen(v)
		}
		c.encoding = format.Plain
	}
	c.body = e.body
	return c, nil
}

func (e *encoder) valueText(s *schemas.Signal) (chunk, error) {
	if s.Kind != schemas.Text {
		return chunk{null: true}, nil
	}
	e.dict, e.body = e.dict[:0], e.body[:0]
	numbers := map[string]int32{}
	ids := make([]int32, 0, s.Len())
	for _, v := range s.Text {
		id, ok := numbers[v]
		if !ok {
			if !pays(len(numbers)+1, len(ids), s.Len()) {
				break
			}
			id = int32(len(numbers))
			numbers[v] = id
			e.dict = appendText(e.dict, v)
		}
		ids = append(ids, id)
	}
	if len(ids) == s.Len() {
		err := e.appendIDs(ids, len(numbers))
		return chunk{dict: e.dict, entries: len(numbers), encoding: format.RLEDictionary, body: e.body}, err
	}
	for _, v := range s.Text {
		e.body = appendText(e.body, v)
	}
	return chunk{encoding: format.Plain, body: e.body}, nil
}

// appendText appends s as PLAIN holds it.
func appendText(dst []byte, s string) []byte {
	return append(binary.LittleEndian.AppendUint32(dst, uint32(len(s))), s...)
}

func plain64(v uint64) []byte { return binary.LittleEndian.AppendUint64(nil, v) }
