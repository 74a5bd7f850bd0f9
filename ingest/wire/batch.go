package wire

import (
	"encoding/binary"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// MaxText is the longest text value in bytes.
const MaxText = 64 << 10

// Batch is the samples of one message, column-wise; the columns are equally long.
type Batch struct {
	Seq    uint64
	Signal []uint32 // number in the power-up's Names
	Time   []int64  // microseconds of robot time
	// Value is, by the kind of the signal, the bits of a float64, an int64, 0 or 1, or where a
	// text stands in Text: offset in the upper, length in the lower 32 bits.
	Value []uint64
	Text  []byte
}

// Reset empties the batch and keeps its memory.
func (b *Batch) Reset() {
	b.Seq = 0
	b.Signal, b.Time, b.Value, b.Text = b.Signal[:0], b.Time[:0], b.Value[:0], b.Text[:0]
}

// Len is the number of samples.
func (b *Batch) Len() int { return len(b.Signal) }

func (b *Batch) add(signal uint32, t int64, value uint64) {
	b.Signal = append(b.Signal, signal)
	b.Time = append(b.Time, t)
	b.Value = append(b.Value, value)
}

func (b *Batch) addText(signal uint32, t int64, s []byte) {
	b.add(signal, t, uint64(len(b.Text))<<32|uint64(len(s)))
	b.Text = append(b.Text, s...)
}

// TextAt is the text of a value of a text signal.
func (b *Batch) TextAt(value uint64) []byte {
	at := value >> 32
	return b.Text[at : at+value&math.MaxUint32]
}

// RowsHeader is the size of what stands before the columns of a batch in the journal.
const RowsHeader = 40

// Stored is a batch as the journal keeps it, all integers little-endian:
//
//	boot     u32   number of the power-up in this journal
//	samples  u32
//	seq      u64
//	arrived  i64   collector time in microseconds
//	newest   i64   greatest time of a sample
//	text     u32   bytes of Text
//	zero     u32
//	signal   u32 each
//	time     i64 each
//	value    u64 each
//	text
type Stored struct {
	Boot    uint32
	Seq     uint64
	Arrived int64
	Newest  int64
	Samples int
	signal  []byte
	time    []byte
	value   []byte
	text    []byte
}

// AppendStored appends b to dst in the form of Stored.
func AppendStored(dst []byte, boot uint32, arrived int64, b *Batch) []byte {
	newest := int64(math.MinInt64)
	for _, t := range b.Time {
		newest = max(newest, t)
	}
	le := binary.LittleEndian
	dst = le.AppendUint32(dst, boot)
	dst = le.AppendUint32(dst, uint32(b.Len()))
	dst = le.AppendUint64(dst, b.Seq)
	dst = le.AppendUint64(dst, uint64(arrived))
	dst = le.AppendUint64(dst, uint64(newest))
	dst = le.AppendUint32(dst, uint32(len(b.Text)))
	dst = le.AppendUint32(dst, 0)
	for _, s := range b.Signal {
		dst = le.AppendUint32(dst, s)
	}
	for _, t := range b.Time {
		dst = le.AppendUint64(dst, uint64(t))
	}
	for _, v := range b.Value {
		dst = le.AppendUint64(dst, v)
	}
	return append(dst, b.Text...)
}

// StoredBoot is the boot of a stored batch of which data holds at least the first 4 bytes.
func StoredBoot(data []byte) uint32 { return binary.LittleEndian.Uint32(data) }

// ParseStored reads a stored batch, which shares memory with data; ok is false when data is
// none.
func ParseStored(data []byte) (s Stored, ok bool) {
	if len(data) < RowsHeader {
		return s, false
	}
	le := binary.LittleEndian
	n, text := int(le.Uint32(data[4:])), int(le.Uint32(data[32:]))
	if len(data) != RowsHeader+20*n+text {
		return s, false
	}
	s = Stored{
		Boot: le.Uint32(data), Samples: n, Seq: le.Uint64(data[8:]),
		Arrived: int64(le.Uint64(data[16:])), Newest: int64(le.Uint64(data[24:])),
	}
	data = data[RowsHeader:]
	s.signal, data = data[:4*n], data[4*n:]
	s.time, data = data[:8*n], data[8*n:]
	s.value, s.text = data[:8*n], data[8*n:]
	return s, true
}

// SignalAt is the number of the signal of sample i.
func (s *Stored) SignalAt(i int) uint32 { return binary.LittleEndian.Uint32(s.signal[4*i:]) }

// TimeAt is the time of sample i.
func (s *Stored) TimeAt(i int) int64 { return int64(binary.LittleEndian.Uint64(s.time[8*i:])) }

// ValueAt is the value of sample i, as in Batch.
func (s *Stored) ValueAt(i int) uint64 { return binary.LittleEndian.Uint64(s.value[8*i:]) }

// TextAt is the text of a value, empty when the value does not stand in the text.
func (s *Stored) TextAt(value uint64) []byte {
	at, n := value>>32, value&math.MaxUint32
	if at+n > uint64(len(s.text)) {
		return nil
	}
	return s.text[at : at+n]
}

// AddSample appends a sample to b, for tests and senders: value is a float64, int64, bool or
// string and fits the kind of the signal.
func (b *Batch) AddSample(signal uint32, t int64, value any) {
	switch v := value.(type) {
	case float64:
		b.add(signal, t, math.Float64bits(v))
	case int64:
		b.add(signal, t, uint64(v))
	case bool:
		b.add(signal, t, bit(v))
	case string:
		b.addText(signal, t, []byte(v))
	}
}

func bit(v bool) uint64 {
	if v {
		return 1
	}
	return 0
}

// KindOf is the kind of signal that holds value, one of the types of AddSample.
func KindOf(value any) schemas.Kind {
	switch value.(type) {
	case int64:
		return schemas.Int64
	case bool:
		return schemas.Bool
	case string:
		return schemas.Text
	default:
		return schemas.Float64
	}
}
