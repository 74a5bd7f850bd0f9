package ingest

import (
	"bytes"
	"context"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/anylog"
)

// cellRow is a row of a long table as the text forms write it. An empty field is null where
// there are nulls.
type cellRow struct {
	us                int64
	name, value, kind string
	boot              int32
}

var anyRow = rapid.Custom(func(t *rapid.T) cellRow {
	return cellRow{
		us:   rapid.OneOf(rapid.Int64Range(-3, 9), rapid.SampledFrom([]int64{9_000_000_000_000_000_001, -5_000_000})).Draw(t, "us"),
		name: rapid.SampledFrom([]string{"a", "a", "a [V]", "a [mV]", "b", "c/d", ""}).Draw(t, "name"),
		value: rapid.SampledFrom([]string{
			"1", "-7", "2.5", "nan", "-inf", "-0", "9223372036854775808", "true", "false", "on", "", "12,1", "0x1", "1e400", "é",
		}).Draw(t, "value"),
		kind: rapid.SampledFrom([]string{"", "", "", "float64", "int64", "bool", "text", "double"}).Draw(t, "type"),
		boot: rapid.SampledFrom([]int32{0, 0, 0, 2}).Draw(t, "boot"),
	}
})

// asCSV, asArrow and asParquet are rows with the value as text, which package cell reads.
func asCSV(_ require.TestingT, rows []cellRow) []byte {
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"time_us", "signal", "value", "type", "boot"})
	for _, r := range rows {
		_ = w.Write([]string{strconv.FormatInt(r.us, 10), r.name, r.value, r.kind, strconv.Itoa(int(r.boot))})
	}
	w.Flush()
	return b.Bytes()
}

func asArrow(t require.TestingT, rows []cellRow) []byte {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "boot", Type: arrow.PrimitiveTypes.Int32},
		{Name: "value", Type: arrow.BinaryTypes.String},
		{Name: "type", Type: arrow.BinaryTypes.LargeString, Nullable: true},
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
		{Name: "signal", Type: &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int16, ValueType: arrow.BinaryTypes.String}},
	}, nil)
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	for _, r := range rows {
		b.Field(0).(*array.Int32Builder).Append(r.boot)
		b.Field(1).(*array.StringBuilder).Append(r.value)
		if r.kind == "" {
			b.Field(2).AppendNull()
		} else {
			b.Field(2).(*array.LargeStringBuilder).Append(r.kind)
		}
		b.Field(3).(*array.Int64Builder).Append(r.us)
		require.NoError(t, b.Field(4).(*array.BinaryDictionaryBuilder).AppendString(r.name))
	}
	var out bytes.Buffer
	w := ipc.NewWriter(&out, ipc.WithSchema(schema), ipc.WithLZ4())
	require.NoError(t, w.Write(b.NewRecord()))
	require.NoError(t, w.Close())
	return out.Bytes()
}

func asParquet(t require.TestingT, rows []cellRow) []byte {
	type row struct {
		Signal string  `parquet:"signal,dict"`
		Time   int64   `parquet:"time_us"`
		Value  string  `parquet:"value"`
		Kind   *string `parquet:"type,optional,dict"`
		Boot   int32   `parquet:"boot"`
	}
	var out []row
	for _, r := range rows {
		p := row{r.name, r.us, r.value, nil, r.boot}
		if r.kind != "" {
			p.Kind = &r.kind
		}
		out = append(out, p)
	}
	var b bytes.Buffer
	require.NoError(t, parquet.Write(&b, out))
	return b.Bytes()
}

// The same rows are the same log in every form whose cells are text: the same samples, and
// as many bad rows. CSV is held to the rules by a model of its own.
func TestTheSameRowsInEveryForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(anyRow, 1, 20).Draw(t, "rows")
		read := func(file []byte) (string, int) {
			log, report, err := Read(context.Background(), []Source{source("log", file)}, Options{SkipBadRows: true})
			if err != nil { // not one good row
				require.Regexp(t, "nothing to import|no samples", err.Error())
				return "", 0
			}
			return anylog.DescribeBits(log), report.BadRows
		}
		want, bad := read(asCSV(t, rows))
		for form, write := range map[string]func(require.TestingT, []cellRow) []byte{"arrow": asArrow, "parquet": asParquet} {
			got, badHere := read(write(t, rows))
			require.Equal(t, want, got, form)
			require.Equal(t, bad, badHere, form)
		}
	})
}

// typedRow is a row whose value has a type of its own.
type typedRow struct {
	us    int64
	name  string
	float *float64
	text  *string
	yes   *bool
	kind  string
}

var anyTyped = rapid.Custom(func(t *rapid.T) typedRow {
	r := typedRow{us: rapid.Int64Range(-3, 9).Draw(t, "us"), name: rapid.SampledFrom([]string{"a", "b", "b [V]"}).Draw(t, "name")}
	switch rapid.IntRange(0, 3).Draw(t, "of") {
	case 0, 1:
		v := rapid.SampledFrom([]float64{5, -7, 2.5, 0.125}).Draw(t, "float")
		r.float = &v
	case 2:
		v := rapid.SampledFrom([]string{"on", "", "x"}).Draw(t, "text")
		r.text = &v
	default:
		v := rapid.Bool().Draw(t, "bool")
		r.yes = &v
	}
	r.kind = rapid.SampledFrom([]string{"", "", "", "float64", "bool", "text"}).Draw(t, "type")
	return r
})

// The same for forms whose values have types: JSON, and tables with a column for each type.
func TestTheSameTypedRowsInEveryForm(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		rows := rapid.SliceOfN(anyTyped, 1, 20).Draw(t, "rows")
		var lines bytes.Buffer
		schema := arrow.NewSchema([]arrow.Field{
			{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
			{Name: "signal", Type: arrow.BinaryTypes.String},
			{Name: "value", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
			{Name: "value_text", Type: arrow.BinaryTypes.String, Nullable: true},
			{Name: "value_bool", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
			{Name: "type", Type: arrow.BinaryTypes.String, Nullable: true},
		}, nil)
		b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
		for _, r := range rows {
			line := map[string]any{"time_us": r.us, "signal": r.name}
			b.Field(0).(*array.Int64Builder).Append(r.us)
			b.Field(1).(*array.StringBuilder).Append(r.name)
			if r.float != nil {
				line["value"] = *r.float
				b.Field(2).(*array.Float64Builder).Append(*r.float)
			} else {
				b.Field(2).AppendNull()
			}
			if r.text != nil {
				line["value"] = *r.text
				b.Field(3).(*array.StringBuilder).Append(*r.text)
			} else {
				b.Field(3).AppendNull()
			}
			if r.yes != nil {
				line["value"] = *r.yes
				b.Field(4).(*array.BooleanBuilder).Append(*r.yes)
			} else {
				b.Field(4).AppendNull()
			}
			if r.kind != "" {
				line["type"] = r.kind
				b.Field(5).(*array.StringBuilder).Append(r.kind)
			} else {
				b.Field(5).AppendNull()
			}
			text, err := json.Marshal(line)
			require.NoError(t, err)
			fmt.Fprintf(&lines, "%s\n", text)
		}
		var stream bytes.Buffer
		w := ipc.NewWriter(&stream, ipc.WithSchema(schema))
		require.NoError(t, w.Write(b.NewRecord()))
		require.NoError(t, w.Close())
		a, inJSON, err := Read(context.Background(), []Source{source("log", lines.Bytes())}, Options{SkipBadRows: true})
		c, inArrow, otherErr := Read(context.Background(), []Source{source("log", stream.Bytes())}, Options{SkipBadRows: true})
		require.Equal(t, err == nil, otherErr == nil)
		if err == nil {
			require.Equal(t, anylog.DescribeBits(a), anylog.DescribeBits(c))
			require.Equal(t, inJSON.BadRows, inArrow.BadRows)
		}
	})
}
