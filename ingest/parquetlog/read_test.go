package parquetlog

import (
	"bytes"
	"math"
	"testing"
	"time"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

func matchFile(t require.TestingT, log *schemas.Log) []byte {
	var b bytes.Buffer
	_, err := matchfile.Write(&b, log, map[string]string{"seal": "1"})
	require.NoError(t, err)
	return b.Bytes()
}

// A match file, which is what export writes, is read back bit for bit: payloads of NaN,
// power-ups, types and units too.
func TestMatchFiles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := anylog.Any.Draw(t, "log")
		want := anylog.DescribeBits(log)
		in, err := readAll(columns.Options{}, Limits{}, matchFile(t, log))
		require.NoError(t, err)
		require.False(t, in.Twice)
		require.Equal(t, want, anylog.DescribeBits(in.Log))
	})
}

// the columns of signals.parquet, as another program writes them anew
type row struct {
	Signal string   `parquet:"signal,dict"`
	Boot   int32    `parquet:"boot"`
	Time   int64    `parquet:"time_us,delta"`
	Value  *float64 `parquet:"value,optional"`
	Int    *int64   `parquet:"value_int,optional"`
	Text   *string  `parquet:"value_text,optional"`
}

// anew is a match file as another program writes it: the same rows in its own pages, with the
// metadata or without.
func anew(t require.TestingT, file []byte, keep bool) []byte {
	rows, err := parquet.Read[row](bytes.NewReader(file), int64(len(file)))
	require.NoError(t, err)
	var o []parquet.WriterOption
	if keep {
		f, err := parquet.OpenFile(bytes.NewReader(file), int64(len(file)))
		require.NoError(t, err)
		for _, kv := range f.Metadata().KeyValueMetadata {
			o = append(o, parquet.KeyValueMetadata(kv.Key, kv.Value))
		}
	}
	return fileOf(t, rows, o...)
}

// Written anew by another program that keeps the metadata, a match file loses nothing but
// power-ups of a signal without; without the metadata, bools are numbers and units are gone.
func TestMatchFilesWrittenAnew(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "bus [V]", Unit: "", Kind: schemas.Float64, Time: []int64{1}, Float: []float64{2}},
		{Name: "count", Kind: schemas.Int64, Time: []int64{-1, 2}, Boot: []int32{0, 3}, Int: []int64{math.MinInt64, 1<<53 + 1}},
		{Name: "ok", Kind: schemas.Bool, Time: []int64{1, 2}, Bool: []bool{true, false}},
		{Name: "robot/mode", Kind: schemas.Text, Time: []int64{1}, Text: []string{"nan"}},
		{Name: "v", Unit: "V", Kind: schemas.Float64, Time: []int64{1, 2, 3}, Float: []float64{math.Copysign(0, -1), math.Float64frombits(0x7ff8dead0000beef), 5}},
	}}
	file := matchFile(t, log)
	assert.Equal(t, anylog.DescribeBits(log), anylog.DescribeBits(mustRead(t, anew(t, file, true))))

	plain := mustRead(t, anew(t, file, false))
	assert.Equal(t, []float64{1, 0}, plain.Find("ok").Float)
	assert.Equal(t, "V", plain.Find("bus").Unit, "what stands in a name is all there is")
	assert.Equal(t, log.Signals[1].Int, plain.Find("count").Int)
	assert.Equal(t, log.Signals[1].Boot, plain.Find("count").Boot)
	assert.Equal(t, []string{"nan"}, plain.Find("robot/mode").Text)
	assert.Equal(t, math.Float64bits(log.Signals[4].Float[1]), math.Float64bits(plain.Find("v").Float[1]))
}

// Every type that can hold a value, and a time in each that can hold one.
func TestEveryType(t *testing.T) {
	type wide struct {
		Time    float64  `parquet:"time_s"`
		Int8    *int8    `parquet:"int8,optional"`
		Int16   *int16   `parquet:"int16,optional"`
		Int32   int32    `parquet:"int32,delta"`
		Int64   int64    `parquet:"int64 [A],delta"`
		Uint8   uint8    `parquet:"uint8"`
		Uint32  uint32   `parquet:"uint32,dict"`
		Uint64  uint64   `parquet:"uint64"`
		Large   *uint64  `parquet:"large,optional"`
		Float32 float32  `parquet:"float32,split"`
		Float64 *float64 `parquet:"float64,optional,dict"`
		Bool    *bool    `parquet:"bool,optional"`
		Text    *string  `parquet:"text,optional"`
		Delta   string   `parquet:"delta,delta"`
		Dict    *string  `parquet:"dict,optional,dict"`
		Bytes   []byte   `parquet:"bytes"`
		Dec32   int32    `parquet:"dec32,decimal(2:9)"`
		Dec64   int64    `parquet:"dec64,decimal(3:18)"`
		DecFix  [16]byte `parquet:"decfix,decimal(1:38)"`
		Never   *float64 `parquet:"never,optional"`
	}
	i8, i16, u64, f, yes, text := int8(-128), int16(-32768), uint64(math.MaxUint64), 0.1, true, "on"
	minusFive := [16]byte{}
	for i := range minusFive {
		minusFive[i] = 0xff
	}
	minusFive[15] = 0xfb // -5 in two's complement, big-endian
	rows := []wide{
		{Time: 1, Int8: &i8, Int16: &i16, Int32: math.MinInt32, Int64: math.MinInt64, Uint8: 255, Uint32: math.MaxUint32, Uint64: math.MaxInt64, Large: &u64, Float32: 0.1, Float64: &f, Bool: &yes, Text: &text, Delta: "a", Dict: &text, Bytes: []byte("x"), Dec32: -1234, Dec64: 100, DecFix: minusFive},
		{Time: 2.0000005, Int32: math.MaxInt32, Int64: math.MaxInt64, Uint64: 1, Delta: "ab", Bytes: []byte("y")},
		{Time: -3, Delta: "b", Bytes: []byte("Ω")},
	}
	for name, o := range map[string][]parquet.WriterOption{
		"plain": nil, "version 1": {parquet.DataPageVersion(1)}, "snappy": {parquet.Compression(&parquet.Snappy)}, "gzip": {parquet.Compression(&parquet.Gzip)},
		"zstd": {parquet.Compression(&parquet.Zstd)}, "lz4": {parquet.Compression(&parquet.Lz4Raw)}, "brotli": {parquet.Compression(&parquet.Brotli)}, "small pages": {parquet.PageBufferSize(8)},
	} {
		t.Run(name, func(t *testing.T) {
			log := mustRead(t, fileOf(t, rows, o...))
			times := []int64{-3_000_000, 1_000_000, 2_000_001}
			first := times[1:2]
			for _, want := range []schemas.Signal{
				{Name: "int8", Kind: schemas.Int64, Time: first, Int: []int64{-128}},
				{Name: "int16", Kind: schemas.Int64, Time: first, Int: []int64{-32768}},
				{Name: "int32", Kind: schemas.Int64, Time: times, Int: []int64{0, math.MinInt32, math.MaxInt32}},
				{Name: "int64", Unit: "A", Kind: schemas.Int64, Time: times, Int: []int64{0, math.MinInt64, math.MaxInt64}},
				{Name: "uint8", Kind: schemas.Int64, Time: times, Int: []int64{0, 255, 0}},
				{Name: "uint32", Kind: schemas.Int64, Time: times, Int: []int64{0, math.MaxUint32, 0}},
				{Name: "uint64", Kind: schemas.Int64, Time: times, Int: []int64{0, math.MaxInt64, 1}},
				{Name: "large", Kind: schemas.Float64, Time: first, Float: []float64{math.MaxUint64}},
				{Name: "float32", Kind: schemas.Float64, Time: times, Float: []float64{0, float64(float32(0.1)), 0}},
				{Name: "float64", Kind: schemas.Float64, Time: first, Float: []float64{0.1}},
				{Name: "bool", Kind: schemas.Bool, Time: first, Bool: []bool{true}},
				{Name: "text", Kind: schemas.Text, Time: first, Text: []string{"on"}},
				{Name: "delta", Kind: schemas.Text, Time: times, Text: []string{"b", "a", "ab"}},
				{Name: "dict", Kind: schemas.Text, Time: first, Text: []string{"on"}},
				{Name: "bytes", Kind: schemas.Text, Time: times, Text: []string{"Ω", "x", "y"}},
				{Name: "dec32", Kind: schemas.Float64, Time: times, Float: []float64{0, -12.34, 0}},
				{Name: "dec64", Kind: schemas.Float64, Time: times, Float: []float64{0, 0.1, 0}},
				{Name: "decfix", Kind: schemas.Float64, Time: times, Float: []float64{0, -0.5, 0}},
			} {
				assert.Equal(t, &want, log.Find(want.Name))
			}
			assert.Nil(t, log.Find("never"))
			assert.Len(t, log.Signals, 18)
		})
	}
}

func TestTimes(t *testing.T) {
	type millis struct {
		Time  time.Time `parquet:"time_s,timestamp(millisecond)"`
		Value float64   `parquet:"a"`
	}
	type nanos struct {
		Time  time.Time `parquet:"time_us,timestamp(nanosecond)"`
		Value float64   `parquet:"a"`
	}
	at := time.Unix(1, 500_000_500).UTC()
	assert.Equal(t, []int64{1_500_000}, mustRead(t, fileOf(t, []millis{{at, 1}})).Find("a").Time)
	assert.Equal(t, []int64{1_500_001}, mustRead(t, fileOf(t, []nanos{{at, 1}})).Find("a").Time)

	type day struct {
		Time  int32   `parquet:"time_s,date"`
		Value float64 `parquet:"a"`
	}
	_, err := readAll(columns.Options{}, Limits{}, fileOf(t, []day{{5, 1}}))
	assert.EqualError(t, err, "1.parquet: column 1 (time_s) holds dates, no times; write seconds as numbers, or a timestamp")
}

// Rows are named by their number in the file, across row groups and windows.
func TestBadRows(t *testing.T) {
	type sample struct {
		Time   float64 `parquet:"time_s"`
		Signal string  `parquet:"signal,dict"`
		Value  string  `parquet:"value,dict"`
		Host   string  `parquet:"host"`
	}
	var rows []sample
	for i := range 3*mostWindow + 5 {
		rows = append(rows, sample{Time: float64(i), Signal: "a", Value: "1"})
	}
	bad := 2*mostWindow + 7
	rows[bad].Value = "x"
	file := fileOf(t, rows, parquet.MaxRowsPerRowGroup(100_000))
	_, err := readAll(columns.Options{}, Limits{}, file)
	require.EqualError(t, err, `1.parquet row 131080, column 3 (value): "x" is not a number (signal a holds numbers since row 1); write a decimal number, or nan where there was no reading, or skip such rows with --skip-bad-rows`)
	in, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file)
	require.NoError(t, err)
	assert.Equal(t, 1, in.Bad)
	assert.Equal(t, len(rows)-1, in.Log.Samples())
	assert.Equal(t, []string{"host"}, in.Ignored)
}

// Columns that hold no single value are passed over in a long table and refused in a wide one.
func TestNested(t *testing.T) {
	type inner struct{ X, Y float64 }
	type long struct {
		Pose   inner    `parquet:"pose"`
		Names  []string `parquet:"names,list"`
		Time   int64    `parquet:"time_us"`
		Signal string   `parquet:"signal"`
		Value  float64  `parquet:"value"`
	}
	in, err := readAll(columns.Options{}, Limits{}, fileOf(t, []long{{inner{1, 2}, []string{"a", "b"}, 7, "s", 2.5}, {Time: 8, Signal: "s", Value: 3.5}}))
	require.NoError(t, err)
	assert.Equal(t, []float64{2.5, 3.5}, in.Log.Find("s").Float)
	assert.Equal(t, []int64{7, 8}, in.Log.Find("s").Time)
	assert.Equal(t, []string{"pose", "names"}, in.Ignored)
	type wide struct {
		Time int64   `parquet:"time_us"`
		Pose inner   `parquet:"pose"`
		A    float64 `parquet:"a"`
	}
	_, err = readAll(columns.Options{SkipBadRows: true}, Limits{}, fileOf(t, []wide{{}}))
	assert.EqualError(t, err, "1.parquet: column 2 (pose) holds several values a row; leave it out, or write it as numbers, true and false, or text")
}

func TestNoSamples(t *testing.T) {
	type wide struct {
		Time float64 `parquet:"time_s"`
		A    float64 `parquet:"a"`
	}
	for _, file := range [][]byte{fileOf(t, []wide{}), matchFile(t, &schemas.Log{})} {
		_, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file)
		assert.EqualError(t, err, "1.parquet: the table holds no samples; check that the log was recorded")
	}
}
