package parquetlog

import (
	"encoding/json"
	"errors"
	"fmt"
	"time"

	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/ingest/table"
	"github.com/afterbell/afterbell/schemas"
)

// column is one field of the table's rows.
type column struct {
	table.Field
	leaf     int // which column of the file, of one that can be used
	optional bool
	physical format.Type
	size     int // bytes of a FIXED_LEN_BYTE_ARRAY
	unsigned bool
	scale    int
	half     bool // float16
}

const (
	mostColumns = 50_000
	mostDepth   = 32
)

// columnsOf reads the schema, which stands there depth first.
func columnsOf(elements thrift.Slice[format.SchemaElement]) ([]column, error) {
	if len(elements) == 0 || len(elements) > mostColumns {
		return nil, fmt.Errorf("a schema of %d columns", len(elements))
	}
	w := schemaWalker{rest: elements[1:]}
	var out []column
	for range elements[0].NumChildren.V {
		if len(w.rest) == 0 {
			return nil, errors.New("the schema has fewer columns than it says")
		}
		c := column{Field: table.Field{Name: w.rest[0].Name}, leaf: w.leaf}
		el := w.rest[0]
		leaf, err := w.skip(0)
		if err != nil {
			return nil, err
		}
		if leaf {
			c.typed(&el)
		} else {
			c.Unusable = "several values a row"
		}
		out = append(out, c)
	}
	if len(w.rest) > 0 {
		return nil, errors.New("the schema has more columns than it says")
	}
	return out, nil
}

type schemaWalker struct {
	rest []format.SchemaElement
	leaf int // columns of the file so far
}

// skip passes one element with all below it.
func (w *schemaWalker) skip(depth int) (leaf bool, err error) {
	if len(w.rest) == 0 || depth > mostDepth {
		return false, errors.New("the schema is nested too deep, or has fewer columns than it says")
	}
	el := w.rest[0]
	w.rest = w.rest[1:]
	if !el.NumChildren.Valid || el.NumChildren.V == 0 {
		w.leaf++
		return true, nil
	}
	for range el.NumChildren.V {
		if _, err := w.skip(depth + 1); err != nil {
			return false, err
		}
	}
	return false, nil
}

// typed reads what the values of a column are.
func (c *column) typed(el *format.SchemaElement) {
	c.physical, c.size = el.Type.V, int(el.TypeLength.V)
	switch {
	case !el.Type.Valid:
		c.Unusable = "values of no type"
		return
	case el.RepetitionType.V == format.Repeated:
		c.Unusable = "lists"
		return
	}
	c.optional = el.RepetitionType.V == format.Optional
	switch c.physical {
	case format.Boolean:
		c.Type = table.Bool
	case format.Int32, format.Int64:
		c.Type = table.Int
	case format.Float, format.Double:
		c.Type = table.Float
	case format.ByteArray:
		c.Type = table.Text
	case format.Int96:
		c.Unusable = "times of 96 bits"
	default:
		c.Unusable = "binary data"
	}
	c.logical(el)
}

// logical reads what the values mean beside their physical type.
func (c *column) logical(el *format.SchemaElement) {
	switch t := el.LogicalType.Value.(type) {
	case *format.IntType:
		c.unsigned = !t.IsSigned
		return
	case *format.DecimalType:
		c.asDecimal(int(t.Scale))
		return
	case *format.TimestampType:
		c.Ticks = int64(time.Second)
		if t.Unit.Value != nil {
			c.Ticks = int64(time.Second / t.Unit.Value.Duration())
		}
		return
	case *format.TimeType:
		c.Unusable = "times of day"
		return
	case *format.DateType:
		c.Unusable = "dates"
		return
	case *format.UUIDType, *format.BsonType, *format.VariantType, *format.GeometryType, *format.GeographyType:
		c.Unusable = "binary data"
		return
	case *format.Float16Type:
		if c.physical == format.FixedLenByteArray && c.size == 2 {
			c.half, c.Type, c.Unusable = true, table.Float, ""
		}
		return
	case *format.NullType:
		c.Type = table.Null
		return
	case nil:
	default:
		return
	}
	if !el.ConvertedType.Valid { // what files had before logical types
		return
	}
	switch el.ConvertedType.V {
	case deprecated.Uint8, deprecated.Uint16, deprecated.Uint32, deprecated.Uint64:
		c.unsigned = true
	case deprecated.Decimal:
		c.asDecimal(int(el.Scale.V))
	case deprecated.TimestampMillis:
		c.Ticks = 1_000
	case deprecated.TimestampMicros:
		c.Ticks = 1_000_000
	case deprecated.TimeMillis, deprecated.TimeMicros:
		c.Unusable = "times of day"
	case deprecated.Date:
		c.Unusable = "dates"
	case deprecated.Bson, deprecated.Interval:
		c.Unusable = "binary data"
	}
}

func (c *column) asDecimal(scale int) {
	if scale < 0 || scale > 400 || c.physical == format.FixedLenByteArray && (c.size < 1 || c.size > 256) {
		c.Unusable = "decimals of an odd size"
		return
	}
	c.scale, c.Type, c.Unusable = scale, table.Float, ""
}

// described reads the list of signals that our files have in their metadata. What cannot be
// read says nothing.
func described(text string) map[string]table.Described {
	var list []struct {
		Name, Unit, Kind string
	}
	if json.Unmarshal([]byte(text), &list) != nil {
		return nil
	}
	out := map[string]table.Described{}
	for _, s := range list {
		if kind, ok := schemas.ParseKind(s.Kind); ok {
			out[s.Name] = table.Described{Unit: s.Unit, Kind: kind}
		}
	}
	return out
}
