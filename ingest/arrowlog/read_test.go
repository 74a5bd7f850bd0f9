package arrowlog

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
	out "github.com/afterbell/afterbell/schemas/arrowlog"
)

func recordFromJSON(schema *arrow.Schema, rows string) (arrow.Record, int64, error) {
	return array.RecordFromJSON(memory.DefaultAllocator, schema, strings.NewReader(rows))
}

// What this program exports it reads back bit for bit, payloads of NaN and power-ups too.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := anylog.Any.Draw(t, "log")
		for _, write := range []func(*bytes.Buffer) error{
			func(b *bytes.Buffer) error { return out.Write(b, log) },
			func(b *bytes.Buffer) error { return out.WriteStream(b, log) },
		} {
			var b bytes.Buffer
			require.NoError(t, write(&b))
			in, err := readAll(columns.Options{}, Limits{}, b.Bytes())
			require.NoError(t, err)
			require.False(t, in.Twice)
			require.Empty(t, in.Ignored)
			require.Equal(t, anylog.DescribeBits(log), anylog.DescribeBits(in.Log))
		}
	})
}

// Every type that can hold a value, made by the library, with the values that are at its
// ends.
func TestEveryTypeOfAValue(t *testing.T) {
	dictionary := func(index arrow.DataType, value arrow.DataType) arrow.DataType {
		return &arrow.DictionaryType{IndexType: index, ValueType: value}
	}
	for name, c := range map[string]struct {
		of   arrow.DataType
		rows string // of a and its time, 1 to 3 s
		want schemas.Signal
	}{
		"int8":                   {arrow.PrimitiveTypes.Int8, `[-128, null, 127]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{-128, 127}}},
		"int16":                  {arrow.PrimitiveTypes.Int16, `[-32768, null, 32767]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{-32768, 32767}}},
		"int32":                  {arrow.PrimitiveTypes.Int32, `[-2147483648, null, 2147483647]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{math.MinInt32, math.MaxInt32}}},
		"int64":                  {arrow.PrimitiveTypes.Int64, `[-9223372036854775808, null, 9223372036854775807]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{math.MinInt64, math.MaxInt64}}},
		"uint8":                  {arrow.PrimitiveTypes.Uint8, `[0, null, 255]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{0, 255}}},
		"uint16":                 {arrow.PrimitiveTypes.Uint16, `[0, null, 65535]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{0, 65535}}},
		"uint32":                 {arrow.PrimitiveTypes.Uint32, `[0, null, 4294967295]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{0, math.MaxUint32}}},
		"uint64":                 {arrow.PrimitiveTypes.Uint64, `[1, null, 9223372036854775807]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{1, math.MaxInt64}}},
		"uint64 large":           {arrow.PrimitiveTypes.Uint64, `[1, null, 18446744073709551615]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{1, math.MaxUint64}}},
		"float16":                {arrow.FixedWidthTypes.Float16, `[0.5, null, -2]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{0.5, -2}}},
		"float32":                {arrow.PrimitiveTypes.Float32, `[0.1, null, -2]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{float64(float32(0.1)), -2}}},
		"float64":                {arrow.PrimitiveTypes.Float64, `[0.1, null, 5]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{0.1, 5}}},
		"decimal":                {&arrow.Decimal128Type{Precision: 20, Scale: 3}, `["-12.345", null, "0.100"]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{-12.345, 0.1}}},
		"decimal 256":            {&arrow.Decimal256Type{Precision: 40, Scale: 2}, `["-1.25", null, "99999999999999999999.99"]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{-1.25, 1e20}}},
		"bool":                   {arrow.FixedWidthTypes.Boolean, `[true, null, false]`, schemas.Signal{Kind: schemas.Bool, Bool: []bool{true, false}}},
		"utf8":                   {arrow.BinaryTypes.String, `["", null, "nan"]`, schemas.Signal{Kind: schemas.Text, Text: []string{"", "nan"}}},
		"large utf8":             {arrow.BinaryTypes.LargeString, `["Ω", null, "12"]`, schemas.Signal{Kind: schemas.Text, Text: []string{"Ω", "12"}}},
		"binary":                 {arrow.BinaryTypes.Binary, `["b24=", null, "b2Zm"]`, schemas.Signal{Kind: schemas.Text, Text: []string{"on", "off"}}},
		"dictionary":             {dictionary(arrow.PrimitiveTypes.Int8, arrow.BinaryTypes.String), `["on", null, "off"]`, schemas.Signal{Kind: schemas.Text, Text: []string{"on", "off"}}},
		"dictionary of numbers":  {dictionary(arrow.PrimitiveTypes.Uint32, arrow.PrimitiveTypes.Float64), `[2.5, null, 2.5]`, schemas.Signal{Kind: schemas.Float64, Float: []float64{2.5, 2.5}}},
		"dictionary of integers": {dictionary(arrow.PrimitiveTypes.Int64, arrow.PrimitiveTypes.Int16), `[7, null, -7]`, schemas.Signal{Kind: schemas.Int64, Int: []int64{7, -7}}},
	} {
		t.Run(name, func(t *testing.T) {
			schema := arrow.NewSchema([]arrow.Field{
				{Name: "time_s", Type: arrow.PrimitiveTypes.Float64},
				{Name: "left out", Type: arrow.Null, Nullable: true},
				{Name: "a [V]", Type: c.of, Nullable: true},
			}, nil)
			values, _, err := array.FromJSON(memory.DefaultAllocator, c.of, strings.NewReader(c.rows), array.WithUseNumber())
			require.NoError(t, err)
			times, _, err := array.FromJSON(memory.DefaultAllocator, arrow.PrimitiveTypes.Float64, strings.NewReader(`[1, 2, 3]`))
			require.NoError(t, err)
			r := array.NewRecord(schema, []arrow.Array{times, array.NewNull(3), values}, 3)
			c.want.Name, c.want.Unit, c.want.Time = "a", "V", []int64{1_000_000, 3_000_000}
			each(t, schema, []arrow.Record{r}, func(t *testing.T, file []byte) {
				assert.Equal(t, &schemas.Log{Signals: []*schemas.Signal{&c.want}}, mustRead(t, file))
			})
		})
	}
}

// Times in every type that can hold one, rounded to the microsecond, halves away from zero.
func TestEveryTypeOfATime(t *testing.T) {
	for name, c := range map[string]struct {
		column string
		of     arrow.DataType
		rows   string
		want   []int64
	}{
		"seconds":              {"time_s", arrow.PrimitiveTypes.Float64, `[-1.0000005, 0.0000004, 1.25]`, []int64{-1_000_001, 0, 1_250_000}},
		"whole seconds":        {"time_s", arrow.PrimitiveTypes.Int32, `[-1, 0, 2]`, []int64{-1e6, 0, 2e6}},
		"seconds as text":      {"time_s", arrow.BinaryTypes.String, `["-1.0000005", "1e-7", "2"]`, []int64{-1_000_001, 0, 2e6}},
		"microseconds":         {"time_us", arrow.PrimitiveTypes.Int64, `[-5, 0, 7]`, []int64{-5, 0, 7}},
		"microseconds, floats": {"time_us", arrow.PrimitiveTypes.Float64, `[-5, 0, 7]`, []int64{-5, 0, 7}},
		"microseconds as text": {"time_us", arrow.BinaryTypes.String, `["-5", "0", "7"]`, []int64{-5, 0, 7}},
		"durations in ms":      {"time_s", arrow.FixedWidthTypes.Duration_ms, `[-5, 0, 7]`, []int64{-5000, 0, 7000}},
		"durations in ns":      {"time_us", arrow.FixedWidthTypes.Duration_ns, `[-1500, 499, 1500]`, []int64{-2, 0, 2}},
		"timestamps in s":      {"time_s", arrow.FixedWidthTypes.Timestamp_s, `["1970-01-01 00:00:01", "1970-01-01 00:00:02", "1970-01-01 00:00:03"]`, []int64{1e6, 2e6, 3e6}},
		"timestamps in us":     {"time_us", arrow.FixedWidthTypes.Timestamp_us, `["1970-01-01 00:00:01", "1970-01-01 00:00:02", "1970-01-01 00:00:03"]`, []int64{1e6, 2e6, 3e6}},
	} {
		t.Run(name, func(t *testing.T) {
			schema := arrow.NewSchema([]arrow.Field{{Name: "a", Type: arrow.PrimitiveTypes.Float64}, {Name: c.column, Type: c.of}}, nil)
			times, _, err := array.FromJSON(memory.DefaultAllocator, c.of, strings.NewReader(c.rows), array.WithUseNumber())
			require.NoError(t, err)
			values, _, err := array.FromJSON(memory.DefaultAllocator, arrow.PrimitiveTypes.Float64, strings.NewReader(`[1, 2, 3]`))
			require.NoError(t, err)
			file := fileOf(t, schema, nil, array.NewRecord(schema, []arrow.Array{values, times}, 3))
			assert.Equal(t, c.want, mustRead(t, file).Find("a").Time)
		})
	}
}

var long = arrow.NewSchema([]arrow.Field{
	{Name: "signal", Type: &arrow.DictionaryType{IndexType: arrow.PrimitiveTypes.Int32, ValueType: arrow.BinaryTypes.String}, Nullable: true},
	{Name: "host", Type: arrow.BinaryTypes.String, Nullable: true},
	{Name: "value", Type: arrow.BinaryTypes.String, Nullable: true},
	{Name: "time_s", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
	{Name: "type", Type: arrow.BinaryTypes.String, Nullable: true},
	{Name: "boot", Type: arrow.PrimitiveTypes.Uint8, Nullable: true},
}, nil)

// A column value of text is read as a column of CSV is.
func TestLongWithValuesAsText(t *testing.T) {
	r := record(t, long, `[
		{"time_s":1,"signal":"a [V]","value":"11.9"}, {"time_s":2,"signal":"a","value":"12"}, {"time_s":2,"signal":"n","value":"9223372036854775807"},
		{"time_s":1,"signal":"mode","value":"nan","type":"text"}, {"time_s":2,"signal":"mode","value":"","type":"text"}, {"time_s":2,"signal":"a"}, {"time_s":2,"signal":"b","value":""},
		{"time_s":3,"signal":"ok","value":"TRUE","boot":3,"host":"x"}, {"time_s":4,"signal":"f","value":"5","type":"float64"}, {}]`)
	each(t, long, []arrow.Record{r}, func(t *testing.T, file []byte) {
		in, err := readAll(columns.Options{}, Limits{}, file)
		require.NoError(t, err)
		assert.Equal(t, &schemas.Log{Signals: []*schemas.Signal{
			{Name: "a", Unit: "V", Kind: schemas.Float64, Time: []int64{1e6, 2e6}, Float: []float64{11.9, 12}},
			{Name: "f", Kind: schemas.Float64, Time: []int64{4e6}, Float: []float64{5}},
			{Name: "mode", Kind: schemas.Text, Time: []int64{1e6, 2e6}, Text: []string{"nan", ""}},
			{Name: "n", Kind: schemas.Int64, Time: []int64{2e6}, Int: []int64{math.MaxInt64}},
			{Name: "ok", Kind: schemas.Bool, Time: []int64{3e6}, Boot: []int32{3}, Bool: []bool{true}},
		}}, in.Log)
		assert.Equal(t, []string{"host"}, in.Ignored)
	})
}

// A bad row is named by file, row and column.
func TestBadRows(t *testing.T) {
	for name, c := range map[string]struct{ row, want string }{
		"no time":      {`{"signal":"a","value":"1"}`, "1.arrow row 2, column 4 (time_s): there is no time; give every row one"},
		"no name":      {`{"time_s":1,"value":"1"}`, "1.arrow row 2, column 1 (signal): there is no name of a signal; give every row one"},
		"empty name":   {`{"time_s":1,"signal":"","value":"1"}`, "1.arrow row 2, column 1 (signal): the name of the signal is empty; give it a name"},
		"other type":   {`{"time_s":1,"signal":"a","value":"x"}`, `1.arrow row 2, column 3 (value): "x" is not a number (signal a holds numbers since row 1); write a decimal number, or nan where there was no reading`},
		"unknown type": {`{"time_s":1,"signal":"a","value":"1","type":"double"}`, `1.arrow row 2, column 5 (type): "double" is not a type; write float64, int64, bool or text, or nothing`},
		"other unit":   {`{"time_s":1,"signal":"a [mV]","value":"1"}`, `1.arrow row 2, column 1 (signal): unit "mV" contradicts an earlier one (signal a is in V since row 1); write a signal in one unit`},
		"time too far": {`{"time_s":1e13,"signal":"a","value":"1"}`, `1.arrow row 2, column 4 (time_s): "1e+13" is beyond 9e12 s; check that time_s is in the unit its name says`},
	} {
		t.Run(name, func(t *testing.T) {
			file := fileOf(t, long, nil, record(t, long, `[{"time_s":0,"signal":"a [V]","value":"1"},`+c.row+`,{"time_s":2,"signal":"a [V]","value":"2"}]`))
			_, err := readAll(columns.Options{}, Limits{}, file)
			require.EqualError(t, err, c.want+", or skip such rows with --skip-bad-rows")
			in, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, file)
			require.NoError(t, err)
			assert.Equal(t, 1, in.Bad)
			assert.Equal(t, []int64{1, 2}, in.Log.Find("a").Int)
		})
	}
}

// The cells of a wide table are samples of their own, and those of one row count once.
func TestWide(t *testing.T) {
	fields := []arrow.Field{
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "a [V]", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "b", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "signal", Type: arrow.PrimitiveTypes.Int64, Nullable: true}, // may be a signal's name
	}
	schema := arrow.NewSchema(fields, nil)
	one := fileOf(t, schema, nil, record(t, schema, `[{"time_us":5,"a [V]":1.5,"b":"x"},{"time_us":6,"signal":-60},{},{"time_us":7,"b":"y","a [V]":2}]`))
	log := mustRead(t, one)
	assert.Equal(t, []float64{1.5, 2}, log.Find("a").Float)
	assert.Equal(t, []string{"x", "y"}, log.Find("b").Text)
	assert.Equal(t, []int64{-60}, log.Find("signal").Int)

	fields[1], fields[2] = arrow.Field{Name: "b", Type: arrow.PrimitiveTypes.Float64}, arrow.Field{Name: "a", Type: arrow.FixedWidthTypes.Boolean}
	other := arrow.NewSchema(fields[:3], nil)
	two := fileOf(t, other, nil, record(t, other, `[{"time_us":8,"b":1,"a":true}]`))
	in, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, one, two)
	require.NoError(t, err)
	assert.Equal(t, 1, in.Bad)
	assert.Equal(t, []string{
		`2.arrow row 1, column 2 (b): "1" is a number (signal b holds text since row 1 of 1.arrow); declare the signal's type as text in a fourth column of a long file, or skip such rows with --skip-bad-rows`,
		`2.arrow row 1, column 3 (a): "true" is not a number (signal a holds numbers since row 1 of 1.arrow); write a decimal number, or nan where there was no reading, or skip such rows with --skip-bad-rows`,
	}, in.First)
}

func TestTablesThatAreNoLogs(t *testing.T) {
	f64, text := arrow.PrimitiveTypes.Float64, arrow.BinaryTypes.String
	for want, fields := range map[string][]arrow.Field{
		"1.arrow: the table has neither time_s nor time_us (its columns are t, v); a long table": {{Name: "t", Type: f64}, {Name: "v", Type: f64}},
		"1.arrow: the table has both time_s and time_us; leave one of them out":                  {{Name: "time_s", Type: f64}, {Name: "time_us", Type: f64}},
		"1.arrow: the table holds only time_s; a long table":                                     {{Name: "time_s", Type: f64}},
		"1.arrow: column 2 (a) holds lists; leave it out, or write it as":                        {{Name: "time_s", Type: f64}, {Name: "a", Type: arrow.ListOf(f64)}},
		"1.arrow: column 1 (time_s) holds true and false, no times":                              {{Name: "time_s", Type: arrow.FixedWidthTypes.Boolean}, {Name: "a", Type: f64}},
		"1.arrow: column 3 (a [mV]): the name is that of column 2 already":                       {{Name: "time_s", Type: f64}, {Name: "a [V]", Type: f64}, {Name: "a [mV]", Type: f64}},
		"1.arrow: column 3 (value_int) holds values that are no integers":                        {{Name: "time_s", Type: f64}, {Name: "signal", Type: text}, {Name: "value_int", Type: f64}},
		"1.arrow: the table holds no samples; check that the log was recorded":                   {{Name: "time_s", Type: f64}, {Name: "a", Type: f64}},
	} {
		schema := arrow.NewSchema(fields, nil)
		b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
		_, err := readAll(columns.Options{SkipBadRows: true}, Limits{}, fileOf(t, schema, nil, b.NewRecord()))
		require.ErrorContains(t, err, want)
	}
}

// Other columns of a long table, of any type at all, are passed over.
func TestNestedColumnsArePassedOver(t *testing.T) {
	schema := arrow.NewSchema([]arrow.Field{
		{Name: "x", Type: arrow.StructOf(arrow.Field{Name: "l", Type: arrow.ListOf(arrow.BinaryTypes.String)}, arrow.Field{Name: "m", Type: arrow.MapOf(arrow.BinaryTypes.String, arrow.PrimitiveTypes.Int8)}), Nullable: true},
		{Name: "y", Type: arrow.FixedSizeListOf(2, arrow.PrimitiveTypes.Int8), Nullable: true},
		{Name: "d", Type: arrow.FixedWidthTypes.Date32, Nullable: true},
		{Name: "signal", Type: arrow.BinaryTypes.String},
		{Name: "value", Type: arrow.PrimitiveTypes.Float64},
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
	}, nil)
	r := record(t, schema, `[{"x":{"l":["a","b"],"m":[{"key":"k","value":1}]},"y":[1,2],"d":"2031-03-01","signal":"a","value":2.5,"time_us":7},{"signal":"a","value":3.5,"time_us":8}]`)
	each(t, schema, []arrow.Record{r, r}, func(t *testing.T, file []byte) {
		in, err := readAll(columns.Options{}, Limits{}, file)
		require.NoError(t, err)
		assert.Equal(t, []float64{2.5, 3.5}, in.Log.Find("a").Float)
		assert.Equal(t, []string{"x", "y", "d"}, in.Ignored)
	})
}
