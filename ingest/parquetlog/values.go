package parquetlog

import (
	"encoding/binary"
	"fmt"
	"math/big"
	"strconv"

	"github.com/apache/arrow/go/v15/arrow/float16"
	"github.com/parquet-go/parquet-go/encoding"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/ingest/table"
)

// values are the values of a page or a dictionary. The list of the column's type is in use;
// entries share memory with the page.
type values struct {
	n       int
	floats  []float64
	ints    []int64
	bools   []bool
	entries [][]byte
}

// decode takes n values.
func (v *values) decode(c *column, data *encoding.Values, n int) error {
	v.n = n
	if n == 0 {
		return nil
	}
	switch c.physical {
	case format.Boolean:
		bits := data.Boolean()
		if len(bits) < (n+7)/8 {
			return tooFew(8*len(bits), n)
		}
		v.bools = resize(v.bools, n)
		for i := range v.bools {
			v.bools[i] = bits[i>>3]>>(i&7)&1 != 0
		}
	case format.Int32:
		all := data.Int32()
		if len(all) < n {
			return tooFew(len(all), n)
		}
		v.ints = resize(v.ints, n)
		for i := range v.ints {
			if v.ints[i] = int64(all[i]); c.unsigned {
				v.ints[i] = int64(uint32(all[i]))
			}
		}
	case format.Int64:
		all := data.Int64()
		if len(all) < n {
			return tooFew(len(all), n)
		}
		v.ints = append(v.ints[:0], all[:n]...)
	case format.Float:
		all := data.Float()
		if len(all) < n {
			return tooFew(len(all), n)
		}
		v.floats = resize(v.floats, n)
		for i := range v.floats {
			v.floats[i] = float64(all[i])
		}
	case format.Double:
		all := data.Double()
		if len(all) < n {
			return tooFew(len(all), n)
		}
		v.floats = append(v.floats[:0], all[:n]...)
	case format.ByteArray:
		text, offsets := data.ByteArray()
		if len(offsets) < n+1 {
			return tooFew(len(offsets)-1, n)
		}
		v.entries = resize(v.entries, n)
		for i := range v.entries {
			v.entries[i] = text[offsets[i]:offsets[i+1]:offsets[i+1]]
		}
	default:
		text, size := data.FixedLenByteArray()
		if size < 1 || len(text) < n*size {
			return tooFew(len(text), n*max(size, 1))
		}
		v.entries = resize(v.entries, n)
		for i := range v.entries {
			v.entries[i] = text[i*size : (i+1)*size : (i+1)*size]
		}
	}
	if c.Type == table.Float && c.physical != format.Float && c.physical != format.Double {
		return v.convert(c, n)
	}
	return nil
}

func tooFew(have, need int) error { return fmt.Errorf("%d values where %d should be", have, need) }

// convert makes floats of decimals and of half floats, each rounded once.
func (v *values) convert(c *column, n int) error {
	v.floats = resize(v.floats, n)
	var whole big.Int
	for i := range v.floats {
		switch {
		case c.half:
			v.floats[i] = float64(float16.FromBits(binary.LittleEndian.Uint16(v.entries[i])).Float32())
			continue
		case c.physical == format.Int32, c.physical == format.Int64:
			whole.SetInt64(v.ints[i])
		default: // two's complement, big-endian
			b := v.entries[i]
			whole.SetBytes(b)
			if len(b) > 0 && b[0] >= 0x80 {
				whole.Sub(&whole, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
			}
		}
		f, err := strconv.ParseFloat(fmt.Sprintf("%de%d", &whole, -c.scale), 64)
		if err != nil {
			return fmt.Errorf("a decimal beyond float64")
		}
		v.floats[i] = f
	}
	return nil
}
