package arrowlog

import (
	"bytes"
	"io"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
	out "github.com/afterbell/afterbell/schemas/arrowlog"
)

// BenchmarkRead imports 6.9 million samples beside the library's own reader, which only makes
// the record batches, each checked and unpacked, and drops them.
func BenchmarkRead(b *testing.B) {
	log := anylog.OfAMatch(150)
	var file bytes.Buffer
	require.NoError(b, out.Write(&file, log))
	b.Run("export", func(b *testing.B) { compare(b, file.Bytes(), log.Samples()) })
	file.Reset()
	require.NoError(b, out.WriteStream(&file, log))
	b.Run("stream", func(b *testing.B) { compareStream(b, file.Bytes(), log.Samples()) })
	mixed := byTime(log)
	b.Run("by time", func(b *testing.B) { compare(b, fileOf(b, mixed.Schema(), nil, mixed), int(mixed.NumRows())) })
	wide, samples := wideOf(b, log)
	for packing, o := range packings {
		file := fileOf(b, wide.Schema(), o, wide)
		b.Run("wide/"+packing, func(b *testing.B) { compare(b, file, samples) })
	}
}

func compare(b *testing.B, file []byte, samples int) {
	anylog.Compare(b, samples, anylog.Way{Name: "import", Run: func() int {
		builder := columns.New(columns.Options{})
		if _, err := ReadFile(bytes.NewReader(file), int64(len(file)), "q14.arrow", builder, Limits{}); err != nil {
			b.Fatal(err)
		}
		return builder.Log().Samples()
	}}, anylog.Way{Name: "ipc", Run: func() int {
		r, err := ipc.NewFileReader(bytes.NewReader(file))
		if err != nil {
			b.Fatal(err)
		}
		defer r.Close()
		for i := range r.NumRecords() {
			if _, err := r.Record(i); err != nil {
				b.Fatal(err)
			}
		}
		return 0
	}})
}

func compareStream(b *testing.B, file []byte, samples int) {
	anylog.Compare(b, samples, anylog.Way{Name: "import", Run: func() int {
		builder := columns.New(columns.Options{})
		if _, err := ReadStream(bytes.NewReader(file), "q14.arrow", builder, Limits{}); err != nil {
			b.Fatal(err)
		}
		return builder.Log().Samples()
	}}, anylog.Way{Name: "ipc", Run: func() int {
		r, err := ipc.NewReader(bytes.NewReader(file))
		if err != nil {
			b.Fatal(err)
		}
		defer r.Release()
		for {
			if _, err := r.Read(); err == io.EOF {
				return 0
			} else if err != nil {
				b.Fatal(err)
			}
		}
	}})
}

// byTime is the numbers of a log as a long record in which signals take turns, as a logger
// writes them: no two rows that follow one another are of one signal.
func byTime(log *schemas.Log) arrow.Record {
	rb := array.NewRecordBuilder(memory.DefaultAllocator, arrow.NewSchema([]arrow.Field{
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
		{Name: "signal", Type: &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}},
		{Name: "value", Type: arrow.PrimitiveTypes.Float64},
	}, nil))
	times, names, values := rb.Field(0).(*array.Int64Builder), rb.Field(1).(*array.BinaryDictionaryBuilder), rb.Field(2).(*array.Float64Builder)
	for i, more := 0, true; more; i++ {
		more = false
		for _, s := range log.Signals {
			if s.Kind == schemas.Float64 && i < s.Len() {
				more = true
				times.Append(s.Time[i])
				if err := names.AppendString(s.Name); err != nil {
					panic(err)
				}
				values.Append(s.Float[i])
			}
		}
	}
	return rb.NewRecord()
}

// wideOf is the signals at 50 Hz of a log as one wide record.
func wideOf(b *testing.B, log *schemas.Log) (arrow.Record, int) {
	fields := []arrow.Field{{Name: "time_us", Type: arrow.PrimitiveTypes.Int64}}
	var kept []*schemas.Signal
	for _, s := range log.Signals[:200] {
		if s.Kind == schemas.Float64 {
			kept = append(kept, s)
			fields = append(fields, arrow.Field{Name: s.Name, Type: arrow.PrimitiveTypes.Float64, Nullable: true})
		}
	}
	schema := arrow.NewSchema(fields, nil)
	rb := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	rb.Field(0).(*array.Int64Builder).AppendValues(kept[0].Time, nil)
	samples := 0
	for i, s := range kept {
		rb.Field(i+1).(*array.Float64Builder).AppendValues(s.Float, nil)
		samples += s.Len()
	}
	require.NotZero(b, samples)
	return rb.NewRecord(), samples
}
