package arrowlog

import (
	flatbuffers "github.com/google/flatbuffers/go"

	"github.com/afterbell/afterbell/ingest/table"
)

// Types of columns, the union Type of Schema.fbs.
const (
	typeNull          = 1
	typeInt           = 2
	typeFloat         = 3
	typeBinary        = 4
	typeUtf8          = 5
	typeBool          = 6
	typeDecimal       = 7
	typeDate          = 8
	typeTime          = 9
	typeTimestamp     = 10
	typeInterval      = 11
	typeList          = 12
	typeStruct        = 13
	typeUnion         = 14
	typeFixedBinary   = 15
	typeFixedList     = 16
	typeMap           = 17
	typeDuration      = 18
	typeLargeBinary   = 19
	typeLargeUtf8     = 20
	typeLargeList     = 21
	typeRunEnd        = 22
	typeBinaryView    = 23
	typeUtf8View      = 24
	typeListView      = 25
	typeLargeListView = 26
)

// version5 is the version of the metadata from which on a union has no validity.
const version5 = 4

// schema is the columns of a table.
type schema struct {
	fields       []field
	dictionaries map[int64]*field // the values of each
	bigEndian    bool
	version      int16
}

// field is a column, or part of one.
type field struct {
	name     string
	kind     byte // one of the types
	bits     int  // of an integer, float or decimal
	signed   bool
	scale    int   // of a decimal
	ticks    int64 // a second, of a timestamp or duration
	dense    bool  // of a union
	children []field
	dict     *int64 // its values are in this dictionary, of which the integers are indices
	unusable string // why its values cannot be read
	of       *field // the values of its dictionary
}

const (
	mostFields = 50_000 // nested ones too
	mostDepth  = 32
)

func readSchema(t flatbuffers.Table, version int16) (*schema, error) {
	s := &schema{dictionaries: map[int64]*field{}, bigEndian: getInt16(t, 4, 0) != 0, version: version}
	w := walker{s: s}
	var err error
	s.fields, err = w.fields(t, 6, 0)
	return s, err
}

// walker reads the fields of a schema. Offsets in flatbuffers may lead to the same place
// again and again, so it counts.
type walker struct {
	s     *schema
	seen  int // fields
	names int // bytes of their names
}

func (w *walker) fields(t flatbuffers.Table, slot flatbuffers.VOffsetT, depth int) ([]field, error) {
	at, n, err := vector(t, slot, 4)
	if err != nil {
		return nil, err
	}
	if w.seen += n; w.seen > mostFields || depth > mostDepth {
		return nil, damaged("more than %d columns, or nested deeper than %d", mostFields, mostDepth)
	}
	out := make([]field, n)
	for i := range out {
		f := child(t, at+flatbuffers.UOffsetT(4*i))
		if err := w.field(f, &out[i], depth); err != nil {
			return nil, err
		}
	}
	return out, nil
}

func (w *walker) field(t flatbuffers.Table, f *field, depth int) (err error) {
	if o := t.Offset(4); o != 0 {
		name := t.ByteVector(t.Pos + flatbuffers.UOffsetT(o))
		if w.names += len(name); w.names > len(t.Bytes) {
			return damaged("names of %d bytes in metadata of %d", w.names, len(t.Bytes))
		}
		f.name = string(name)
	}
	f.kind = getByte(t, 8)
	var of flatbuffers.Table
	if o := t.Offset(10); o != 0 {
		t.Union(&of, flatbuffers.UOffsetT(o))
	} else {
		return damaged("column %q has no type", f.name)
	}
	if f.children, err = w.fields(t, 14, depth+1); err != nil {
		return err
	}
	if err := f.typed(of); err != nil {
		return err
	}
	if o := t.Offset(12); o != 0 {
		return w.encoded(child(t, t.Pos+flatbuffers.UOffsetT(o)), f)
	}
	return nil
}

// encoded makes f a column of indices into a dictionary.
func (w *walker) encoded(t flatbuffers.Table, f *field) error {
	id := getInt64(t, 4)
	values := *f
	known := w.s.dictionaries[id]
	if known != nil && known.kind != values.kind {
		return damaged("two columns of different types use dictionary %d", id)
	}
	if known == nil {
		known = &values
		w.s.dictionaries[id] = known
	}
	*f = field{name: values.name, kind: typeInt, bits: 32, signed: true, dict: &id, of: known, unusable: values.unusable}
	if o := t.Offset(6); o != 0 {
		index := child(t, t.Pos+flatbuffers.UOffsetT(o))
		f.bits, f.signed = int(getInt32(index, 4, 0)), getByte(index, 6) != 0
	}
	return f.checkBits()
}

func (f *field) checkBits() error {
	switch f.bits {
	case 8, 16, 32, 64:
		return nil
	}
	return damaged("integers of %d bits", f.bits)
}

var ticks = [...]int64{1, 1_000, 1_000_000, 1_000_000_000}

// typed reads what a type says besides its name.
func (f *field) typed(t flatbuffers.Table) error {
	switch f.kind {
	case typeNull, typeBinary, typeUtf8, typeBool, typeLargeBinary, typeLargeUtf8, typeBinaryView, typeUtf8View:
	case typeInt:
		f.bits, f.signed = int(getInt32(t, 4, 0)), getByte(t, 6) != 0
		return f.checkBits()
	case typeFloat:
		precision := getInt16(t, 4, 0)
		if precision < 0 || precision > 2 {
			return damaged("floating point of precision %d", precision)
		}
		f.bits = 16 << precision
	case typeDecimal:
		f.scale, f.bits = int(getInt32(t, 6, 0)), int(getInt32(t, 8, 128))
		switch f.bits {
		case 32, 64, 128, 256:
		default:
			return damaged("decimals of %d bits", f.bits)
		}
		if f.scale < -400 || f.scale > 400 {
			return damaged("decimals of scale %d", f.scale)
		}
	case typeTimestamp, typeDuration:
		unit := getInt16(t, 4, map[byte]int16{typeTimestamp: 0, typeDuration: 1}[f.kind])
		if unit < 0 || int(unit) >= len(ticks) {
			return damaged("times of unit %d", unit)
		}
		f.bits, f.signed, f.ticks = 64, true, ticks[unit]
	case typeDate:
		f.unusable, f.bits = "dates", 64
		if getInt16(t, 4, 1) == 0 {
			f.bits = 32
		}
	case typeTime:
		f.unusable, f.bits = "times of day", int(getInt32(t, 6, 32))
	case typeInterval:
		f.unusable = "intervals"
	case typeFixedBinary:
		f.unusable = "binary data"
	case typeList, typeLargeList, typeFixedList, typeListView, typeLargeListView:
		f.unusable = "lists"
	case typeMap:
		f.unusable = "maps"
	case typeStruct:
		f.unusable = "several values a row"
	case typeUnion:
		f.unusable, f.dense = "values of several types", getInt16(t, 4, 0) == 1
	case typeRunEnd:
		f.unusable = "run-end encoded values"
	default:
		return damaged("a column of the unknown type %d", f.kind)
	}
	return nil
}

// field is f as a column of a table.
func (f *field) field() table.Field {
	out := table.Field{Name: f.name, Unusable: f.unusable}
	of := f
	if f.dict != nil {
		of = f.of
	}
	switch of.kind {
	case typeInt:
		out.Type = table.Int
	case typeFloat:
		out.Type = table.Float
	case typeDecimal:
		out.Type = table.Float
	case typeBool:
		out.Type = table.Bool
	case typeUtf8, typeLargeUtf8, typeUtf8View, typeBinary, typeLargeBinary, typeBinaryView:
		out.Type = table.Text
	case typeTimestamp, typeDuration:
		out.Type, out.Ticks = table.Int, of.ticks
	}
	return out
}

// readDictionary is a dictionary batch: which dictionary, its values as a record batch of one
// column, and whether they are added to those before.
func readDictionary(t flatbuffers.Table) (id int64, data flatbuffers.Table, delta bool) {
	o := t.Offset(6)
	return getInt64(t, 4), child(t, t.Pos+flatbuffers.UOffsetT(o)), getByte(t, 8) != 0
}

// child is the table that the offset at pos leads to.
func child(t flatbuffers.Table, pos flatbuffers.UOffsetT) flatbuffers.Table {
	return flatbuffers.Table{Bytes: t.Bytes, Pos: t.Indirect(pos)}
}

// vector is where the elements of a vector of a table lie and how many there are, all of them
// inside the bytes.
func vector(t flatbuffers.Table, slot flatbuffers.VOffsetT, size int) (flatbuffers.UOffsetT, int, error) {
	o := t.Offset(slot)
	if o == 0 {
		return 0, 0, nil
	}
	at, n := t.Vector(flatbuffers.UOffsetT(o)), t.VectorLen(flatbuffers.UOffsetT(o))
	if n < 0 || int64(at) > int64(len(t.Bytes)) || int64(n) > (int64(len(t.Bytes))-int64(at))/int64(size) {
		return 0, 0, damaged("a list of %d in %d bytes", n, len(t.Bytes))
	}
	return at, n, nil
}

func getByte(t flatbuffers.Table, slot flatbuffers.VOffsetT) byte {
	o := t.Offset(slot)
	if o == 0 {
		return 0
	}
	return t.GetByte(t.Pos + flatbuffers.UOffsetT(o))
}

func getInt16(t flatbuffers.Table, slot flatbuffers.VOffsetT, otherwise int16) int16 {
	o := t.Offset(slot)
	if o == 0 {
		return otherwise
	}
	return t.GetInt16(t.Pos + flatbuffers.UOffsetT(o))
}

func getInt32(t flatbuffers.Table, slot flatbuffers.VOffsetT, otherwise int32) int32 {
	o := t.Offset(slot)
	if o == 0 {
		return otherwise
	}
	return t.GetInt32(t.Pos + flatbuffers.UOffsetT(o))
}

func getInt64(t flatbuffers.Table, slot flatbuffers.VOffsetT) int64 {
	o := t.Offset(slot)
	if o == 0 {
		return 0
	}
	return t.GetInt64(t.Pos + flatbuffers.UOffsetT(o))
}
