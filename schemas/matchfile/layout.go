package matchfile

import (
	"encoding/binary"
	"hash/crc32"
	"math"

	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
)

const magic = "PAR1"

// guardMark stands before the CRC-32C of the footer; its last byte counts versions of
// this layout.
const guardMark = "afterbell\x00\x00\x01"

const guardLen = len(guardMark) + 4

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// columns are the file's columns in order.
var columns = [...]struct {
	name     string
	physical format.Type
	text     bool
	optional bool
}{
	{name: "signal", physical: format.ByteArray, text: true},
	{name: "boot", physical: format.Int32},
	{name: "time_us", physical: format.Int64},
	{name: "value", physical: format.Double, optional: true},
	{name: "value_int", physical: format.Int64, optional: true},
	{name: "value_text", physical: format.ByteArray, text: true, optional: true},
}

// sorting says that rows are in order of signal, boot and time.
var sorting = thrift.Slice[format.SortingColumn]{{ColumnIdx: 0}, {ColumnIdx: 1}, {ColumnIdx: 2}}

func schemaElements() thrift.Slice[format.SchemaElement] {
	root := format.SchemaElement{Name: "samples"}
	root.NumChildren.Set(int32(len(columns)))
	out := thrift.Slice[format.SchemaElement]{root}
	for _, c := range columns {
		el := format.SchemaElement{Name: c.name}
		el.Type.Set(c.physical)
		el.RepetitionType.Set(format.Required)
		if c.optional {
			el.RepetitionType.Set(format.Optional)
		}
		if c.text {
			el.ConvertedType.Set(deprecated.UTF8)
			el.LogicalType.Value = &format.StringType{}
		}
		out = append(out, el)
	}
	return out
}

func columnOrders() thrift.Slice[format.ColumnOrder] {
	out := make(thrift.Slice[format.ColumnOrder], len(columns))
	for i := range out {
		out[i].Value = &format.TypeDefinedOrder{}
	}
	return out
}

// widen takes v into the chunk's bounds. The format wants NaN left out, and zeros to
// stand as -0 in the minimum and as +0 in the maximum.
func (c *chunk) widen(v float64) {
	if math.IsNaN(v) {
		return
	}
	if c.min == nil {
		c.min, c.max = plain64(math.Float64bits(math.Inf(1))), plain64(math.Float64bits(math.Inf(-1)))
	}
	if v <= float64At(c.min) {
		lo := v
		if v == 0 {
			lo = math.Copysign(0, -1)
		}
		binary.LittleEndian.PutUint64(c.min, math.Float64bits(lo))
	}
	if v >= float64At(c.max) {
		binary.LittleEndian.PutUint64(c.max, math.Float64bits(v+0))
	}
}

func float64At(b []byte) float64 {
	return math.Float64frombits(binary.LittleEndian.Uint64(b))
}
