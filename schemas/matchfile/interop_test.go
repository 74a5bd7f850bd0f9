package matchfile

import (
	"bytes"
	"context"
	"math"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// mixedLog has all kinds, several boots, extremes, and pages of every encoding in use.
func mixedLog() *schemas.Log {
	log := smallLog()
	n := 5000
	noise, wide := make([]float64, n), make([]int64, n)
	boots := make([]int32, n)
	for i := range n {
		noise[i] = math.Sin(float64(i * i))
		wide[i] = int64(i) * math.MaxInt64 / 7 * int64(1-2*(i%2))
		boots[i] = []int32{math.MinInt32, 0, 5, math.MaxInt32}[i*4/n]
	}
	noise[7], noise[8], noise[9] = math.NaN(), math.Inf(-1), math.Copysign(0, -1)
	steps := make([]float64, n)
	for i := range steps {
		steps[i] = float64(i%1000) / 64
	}
	texts := slices.Repeat([]string{"", "driver", "autonomous", "é"}, n/4)
	log.Signals = append(log.Signals,
		&schemas.Signal{Name: "x/noise", Kind: schemas.Float64, Time: count(n), Boot: boots, Float: noise},
		&schemas.Signal{Name: "x/steps", Kind: schemas.Float64, Time: count(n), Float: steps},
		&schemas.Signal{Name: "x/text", Kind: schemas.Text, Time: count(n), Text: texts},
		&schemas.Signal{Name: "x/wide", Kind: schemas.Int64, Time: count(n), Int: wide},
		&schemas.Signal{Name: "x/words", Kind: schemas.Text, Time: count(3), Text: []string{"", "b", "c"}},
	)
	return log
}

// expectedRows is what SQL users expect in the file, written out row by row.
func expectedRows(log *schemas.Log) []row {
	var out []row
	for _, s := range log.Signals {
		out = append(out, rowsOf(s)...)
	}
	return out
}

func sameRow(a, b row) bool {
	return a.Signal == b.Signal && a.Boot == b.Boot && a.TimeUS == b.TimeUS &&
		samePointer(a.Value, b.Value, func(x, y float64) bool { return math.Float64bits(x) == math.Float64bits(y) }) &&
		samePointer(a.ValueInt, b.ValueInt, func(x, y int64) bool { return x == y }) &&
		samePointer(a.ValueText, b.ValueText, func(x, y string) bool { return x == y })
}

func samePointer[T any](a, b *T, same func(x, y T) bool) bool {
	return a == nil && b == nil || a != nil && b != nil && same(*a, *b)
}

// The Parquet library's own typed reader, which shares none of this package's page code.
func TestParquetGoReadsTheSameRows(t *testing.T) {
	log := mixedLog()
	raw := write(t, log, map[string]string{"seal": "3"})
	p, err := parquet.OpenFile(bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	seal, _ := p.Lookup("seal")
	require.Equal(t, "3", seal)
	require.EqualValues(t, log.Samples(), p.NumRows())
	require.Len(t, p.RowGroups(), len(log.Signals))
	got, err := parquet.Read[row](bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	want := expectedRows(log)
	require.Len(t, got, len(want))
	for i := range want {
		require.True(t, sameRow(want[i], got[i]), "row %d: want %+v, got %+v", i, want[i], got[i])
	}
}

// An independent implementation of the format: Apache Arrow's Parquet reader.
func TestArrowReadsTheSameRows(t *testing.T) {
	log := mixedLog()
	raw := write(t, log, nil)
	pf, err := file.NewParquetReader(bytes.NewReader(raw))
	require.NoError(t, err)
	r, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{BatchSize: 1000}, memory.DefaultAllocator)
	require.NoError(t, err)
	table, err := r.ReadTable(context.Background())
	require.NoError(t, err)
	defer table.Release()
	want := expectedRows(log)
	require.EqualValues(t, len(want), table.NumRows())
	records := array.NewTableReader(table, 1000)
	defer records.Release()
	at := 0
	for records.Next() {
		rec := records.Record()
		for i := range int(rec.NumRows()) {
			got := row{
				Signal: rec.Column(0).(*array.String).Value(i),
				Boot:   rec.Column(1).(*array.Int32).Value(i),
				TimeUS: rec.Column(2).(*array.Int64).Value(i),
			}
			if c := rec.Column(3).(*array.Float64); c.IsValid(i) {
				got.Value = ptr(c.Value(i))
			}
			if c := rec.Column(4).(*array.Int64); c.IsValid(i) {
				got.ValueInt = ptr(c.Value(i))
			}
			if c := rec.Column(5).(*array.String); c.IsValid(i) {
				got.ValueText = ptr(c.Value(i))
			}
			require.True(t, sameRow(want[at], got), "row %d: want %+v, got %+v", at, want[at], got)
			at++
		}
	}
	require.Equal(t, len(want), at)
	require.Equal(t, arrow.BinaryTypes.String, table.Schema().Field(0).Type)
}

func ptr[T any](v T) *T { return &v }

// The bounds that engines skip row groups by, against the samples themselves.
func TestBoundsHoldEverySample(t *testing.T) {
	log := mixedLog()
	raw := write(t, log, nil)
	p, err := parquet.OpenFile(bytes.NewReader(raw), int64(len(raw)))
	require.NoError(t, err)
	for i, g := range p.RowGroups() {
		s := log.Signals[i]
		bounds := func(column int) (lo, hi parquet.Value, ok bool) {
			return g.ColumnChunks()[column].(*parquet.FileColumnChunk).Bounds()
		}
		lo, hi, ok := bounds(0)
		require.True(t, ok)
		require.Equal(t, []string{s.Name, s.Name}, []string{lo.String(), hi.String()})
		lo, hi, ok = bounds(2)
		require.True(t, ok)
		require.Equal(t, []int64{slices.Min(s.Time), slices.Max(s.Time)}, []int64{lo.Int64(), hi.Int64()})
		lo, hi, ok = bounds(3)
		require.Equal(t, s.Kind != schemas.Text, ok)
		for j := 0; ok && j < s.Len(); j++ {
			if v := s.Number(j); !math.IsNaN(v) {
				require.True(t, lo.Double() <= v && v <= hi.Double())
			}
		}
	}
}
