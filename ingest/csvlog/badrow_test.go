package csvlog_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

var nan = math.NaN()

const skipAdvice = ", or skip such rows with --skip-bad-rows"

func TestBadRows(t *testing.T) {
	const long, typed = "time_s,signal,value\n1,power/voltage,12.5\n", "time_s,signal,value,type\n1,power/voltage,12.5,float64\n"
	for name, c := range map[string]struct{ text, want string }{
		"decimal comma":      {long + "2,power/voltage,\"12,1\"\n", `1.csv line 3, column 3 (value): "12,1" is not a number (signal power/voltage holds numbers since line 2); use a point for decimals`},
		"hexadecimal":        {long + "2,power/voltage,0x1F\n", `1.csv line 3, column 3 (value): "0x1F" is not a number (signal power/voltage holds numbers since line 2); write it in decimal`},
		"underscore":         {long + "2,power/voltage,1_0\n", `1.csv line 3, column 3 (value): "1_0" is not a number (signal power/voltage holds numbers since line 2); write the digits without _`},
		"too large":          {long + "2,power/voltage,1e400\n", `1.csv line 3, column 3 (value): "1e400" is not a number (signal power/voltage holds numbers since line 2); the largest float64 is about 1.8e308; write inf if that is meant`},
		"infinity spelled":   {long + "2,power/voltage,-Infinity\n", `1.csv line 3, column 3 (value): "-Infinity" is not a number (signal power/voltage holds numbers since line 2); write nan, inf or -inf`},
		"bool for a number":  {long + "2,power/voltage,true\n", `1.csv line 3, column 3 (value): "true" is not a number (signal power/voltage holds numbers since line 2); write a decimal number, or nan where there was no reading`},
		"number for a bool":  {"time_s,a,b\n1,true,5\n2,1,6\n", `1.csv line 3, column 2 (a): "1" is not true or false (signal a holds true and false since line 2); write true or false`},
		"in a later line":    {"time_s,a,b\n5,1,\"x\ny\"\n\n6,x,\n", `1.csv line 5, column 2 (a): "x" is not a number (signal a holds numbers since line 2); write a decimal number, or nan where there was no reading`},
		"fields missing":     {long + "2,power/voltage\n", `1.csv line 3: the row has 2 fields where the header has 3; mend the row; a field that holds a comma needs quotation marks around it`},
		"fields too many":    {long + "2,power/voltage,12,1\n", `1.csv line 3: the row has 4 fields where the header has 3; mend the row; a field that holds a comma needs quotation marks around it`},
		"time is nan":        {long + "nan,power/voltage,12\n", `1.csv line 3, column 1 (time_s): "nan" is not a time; write decimal seconds such as 12.345678`},
		"time is missing":    {long + ",power/voltage,12\n", `1.csv line 3, column 1 (time_s): "" is not a time; write decimal seconds such as 12.345678`},
		"time too large":     {long + "-9.1e12,power/voltage,12\n", `1.csv line 3, column 1 (time_s): "-9.1e12" is beyond 9e12 s; check that time_s is in the unit its name says`},
		"half a microsecond": {"time_us,a\n1.5,1\n", `1.csv line 2, column 1 (time_us): "1.5" is not a time; write whole microseconds such as 12345678`},
		"no name":            {long + "2,,12\n", `1.csv line 3, column 2 (signal): the name of the signal is empty; give it a name`},
		"blank name":         {long + "2, ,12\n", `1.csv line 3, column 2 (signal): the name of the signal is empty; give it a name`},
		"name not UTF-8":     {long + "2,\xff,12\n", `1.csv line 3, column 2 (signal): the name of the signal is not UTF-8; write the file in UTF-8`},
		"name too long":      {long + "2," + strings.Repeat("é", 129) + ",12\n", `1.csv line 3, column 2 (signal): the name of the signal, "` + strings.Repeat("é", 30) + `…", is longer than 256 bytes; shorten it`},
		"text not UTF-8":     {long + "2,m,a\xff\n", `1.csv line 3, column 3 (value): the value, "a\xff", is not UTF-8; write the file in UTF-8`},
		"runaway quote":      {long + "2,m,\"a\n3,m,b\n", `1.csv line 3, column 3 (value): a quotation mark is not closed before the end of the file; close it, and write a quotation mark inside a quoted field as ""`},
		"quote in a field":   {long + "2,m,a\"b\n", `1.csv line 3, column 3 (value): a quotation mark stands inside "a\"b", a field that does not begin with one; put the field in quotation marks and write those inside it as ""`},
		"unknown type":       {typed + "2,m,a,string\n", `1.csv line 3, column 4 (type): "string" is not a type; write float64, int64, bool or text, or nothing`},
		"against its row":    {typed + "2,m,a,float64\n", `1.csv line 3, column 3 (value): "a" is not a number (its row declares float64); write a decimal number, or nan where there was no reading`},
		"against another":    {typed + "2,power/voltage,12,int64\n", `1.csv line 3, column 4 (type): type int64 contradicts an earlier one (signal power/voltage is declared float64 in line 2); declare a signal the same everywhere`},
		"float in int64":     {typed + "2,m,1.5,int64\n", `1.csv line 3, column 3 (value): "1.5" is not an integer from -2^63 to 2^63-1 (its row declares int64); declare the signal float64`},
		"another unit":       {long + "2,power/voltage [V],12\n3,power/voltage [mV],12000\n", `1.csv line 4, column 2 (signal): unit "mV" contradicts an earlier one (signal power/voltage is in V since line 3); write a signal in one unit`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := read(columns.Options{}, c.text)
			require.EqualError(t, err, c.want+skipAdvice)
			require.NotContains(t, err.Error(), "\n")
			var row *columns.BadRow
			require.ErrorAs(t, err, &row)
			assert.Equal(t, "1.csv", row.File)

			in, err := read(columns.Options{SkipBadRows: true}, c.text, "time_s,other\n0,1\n")
			require.NoError(t, err)
			assert.Equal(t, 1, in.bad)
			assert.Equal(t, row, in.first[0], "skipping reports the same row")
		})
	}
}

// What concerns the whole file ends with an error even where bad rows are skipped.
func TestFilesThatAreNoLogs(t *testing.T) {
	const forms = "; begin a long file with time_s,signal,value (and type if you like), a wide one with time_s,NAME,NAME"
	for name, c := range map[string]struct{ text, want string }{
		"empty":             {"", "1.csv line 1: the file is empty" + forms},
		"only empty lines":  {"\n\r\n", "1.csv line 2: the file is empty" + forms},
		"header only":       {"time_s,signal,value\n", "1.csv line 1: the file holds no samples, only a header; check that the log was recorded"},
		"no values":         {"time_s,a,b\n1,,\n", "1.csv line 2: the file holds no samples, only a header; check that the log was recorded"},
		"no header":         {"1.5,a,2\n", `1.csv line 1: the first row, "1.5,a,2", holds values where the header should be` + forms},
		"other header":      {"when,what\n", `1.csv line 1: the header "when,what" begins with neither time_s nor time_us` + forms},
		"time alone":        {"time_s\n1\n", "1.csv line 1: the header holds only time_s" + forms},
		"semicolons":        {"time_s;signal;value\n1;a;2\n", `1.csv line 1: the header "time_s;signal;value" is separated by semicolons; save the file with commas between the columns and points for decimals`},
		"tabs":              {"time_s\tsignal\tvalue\n", `1.csv line 1: the header "time_s\tsignal\tvalue" is separated by tabs; save the file with commas between the columns`},
		"CR alone":          {"time_s,signal,value\r1,a,2\r", "1.csv line 1: lines end in CR alone; save the file with LF or CR LF at the ends of lines"},
		"binary":            {"MZ\x00\x01\x02", "1.csv line 1: the file holds binary data; give a CSV file" + forms},
		"a fifth column":    {"time_s,signal,value,type,unit\n", `1.csv line 1: the header "time_s,signal,value,type,unit" holds signal and value, but is not time_s,signal,value or time_s,signal,value,type; put these columns first, in this order, and leave out others`},
		"another order":     {"time_s,value,signal\n", `1.csv line 1: the header "time_s,value,signal" holds signal and value, but is not time_s,signal,value or time_s,signal,value,type; put these columns first, in this order, and leave out others`},
		"a name twice":      {"time_s,a,b,a [V]\n1,2,3,4\n", "1.csv line 1, column 4 (a [V]): the name is that of column 2 already; give each column its own name; the unit is no part of it"},
		"a column nameless": {"time_s,a,\n1,2,\n", "1.csv line 1, column 3: the name of the signal is empty; give it a name"},
		"a quoted header":   {"time_s,\"a\n", `1.csv line 1, column 2: a quotation mark is not closed before the end of the file; close it, and write a quotation mark inside a quoted field as ""`},
	} {
		t.Run(name, func(t *testing.T) {
			for _, skip := range []bool{false, true} {
				_, err := read(columns.Options{SkipBadRows: skip}, c.text)
				require.EqualError(t, err, c.want)
			}
		})
	}
}

func TestSkippedRowsAreCounted(t *testing.T) {
	var b strings.Builder
	b.WriteString("time_s,a,b\n")
	for range 10 {
		b.WriteString("1,x,5\n2,6\n\"\n3,7,8\n")
	}
	b.WriteString("0,1,1\n4,x,y\n")
	in, err := read(columns.Options{SkipBadRows: true}, b.String())
	require.NoError(t, err)
	assert.Equal(t, 31, in.bad, "a row with two bad cells is one, and a stray quotation mark costs only its row")
	require.Len(t, in.first, 5)
	assert.Equal(t, "1.csv line 2, column 2 (a)", in.first[0].Place())
	assert.Equal(t, "1.csv line 3", in.first[1].Place())
	assert.Equal(t, "1.csv line 4", in.first[2].Place())
	assert.Equal(t, describe(&schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Kind: schemas.Int64, Time: []int64{0, 3e6}, Int: []int64{1, 7}},
		{Name: "b", Kind: schemas.Int64, Time: []int64{0, 1e6, 3e6}, Int: []int64{1, 5, 8}},
	}}), describe(in.log), "the good cell of a wide row stays")
}

func TestLimits(t *testing.T) {
	with := func(l columns.Limits) columns.Options { return columns.Options{SkipBadRows: true, Limits: l} }
	const header = "time_s,signal,value\n"

	_, err := read(with(columns.Limits{Signals: 2}), header+"1,a,1\n1,b,1\n1,a [V],2\n")
	require.NoError(t, err)
	_, err = read(with(columns.Limits{Signals: 2}), header+"1,a,1\n1,b,1\n1,c,2\n")
	require.EqualError(t, err, "1.csv line 4, column 2 (signal): the log has more than 2 signals; split it, or check that the signal column holds names and no values")
	_, err = read(with(columns.Limits{Signals: 2}), "time_s,a,b,c\n1,2,3,4\n")
	require.ErrorContains(t, err, "1.csv line 1, column 4 (c): the log has more than 2 signals")
	_, err = read(with(columns.Limits{Signals: 1}), header+"1,a [1],1\n1,a [2],1\n1,a [3],2\n1,a [4],2\n1,a [5],2\n")
	require.ErrorContains(t, err, "1.csv line 6, column 2 (signal): the log has more than 1 signals", "spellings of one signal have a limit too")

	in, err := read(with(columns.Limits{Text: 3}), header+"1,a,abc\n2,a,abcd\n")
	require.NoError(t, err)
	require.Equal(t, 1, in.bad)
	assert.Equal(t, `1.csv line 3, column 3 (value): the value, "abcd", is longer than 3 bytes; shorten it`+skipAdvice, in.first[0].Error())

	_, err = read(with(columns.Limits{Memory: 48}), header+"1,a,1\n2,a,1\n3,a,1\n")
	require.NoError(t, err)
	_, err = read(with(columns.Limits{Memory: 47}), header+"1,a,1\n2,a,1\n3,a,1\n")
	require.EqualError(t, err, "1.csv line 4, column 3 (value): the samples up to here take more than 47 bytes of memory; split the log and import its parts one by one")

	b := columns.New(columns.Options{})
	err = csvlog.Read(strings.NewReader(header+"1,a,1\n2,a,10000000000000000000000000\n"), "1.csv", b, 20)
	require.EqualError(t, err, "1.csv line 3: the row is longer than 20 bytes; check that it is not binary data"+skipAdvice)

	b = columns.New(columns.Options{})
	err = csvlog.Read(strings.NewReader(header+"1,a,1\n2,a,1.00000000000000\n2,a,1.000000000000000\n"), "1.csv", b, 20)
	require.ErrorContains(t, err, "1.csv line 4: the row is longer than 20 bytes")

	defaults := header + "1,a," + strings.Repeat("x", 64<<10) + "\n"
	require.NotNil(t, mustRead(t, defaults).Find("a"))
	_, err = read(columns.Options{}, defaults+"2,a,"+strings.Repeat("x", 64<<10+1)+"\n")
	require.ErrorContains(t, err, "line 3, column 3 (value): the value, \""+strings.Repeat("x", 60)+"…\", is longer than 65536 bytes")
	_, err = read(columns.Options{}, defaults+"2,a,"+strings.Repeat("x", 1<<20)+"\n")
	require.ErrorContains(t, err, "line 3: the row is longer than 1048576 bytes")
}
