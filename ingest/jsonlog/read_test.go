package jsonlog

import (
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

func line(value string) string { return `{"time_s":1,"signal":"s","value":` + value + "}\n" }

func TestTypes(t *testing.T) {
	for text, want := range map[string]schemas.Signal{
		line("11.9"):              {Kind: schemas.Float64, Float: []float64{11.9}},
		line("5"):                 {Kind: schemas.Float64, Float: []float64{5}}, // without a point is no integer
		line("-0"):                {Kind: schemas.Float64, Float: []float64{math.Copysign(0, -1)}},
		line("1E3"):               {Kind: schemas.Float64, Float: []float64{1000}},
		line("true"):              {Kind: schemas.Bool, Bool: []bool{true}},
		line(`"on"`):              {Kind: schemas.Text, Text: []string{"on"}},
		line(`""`):                {Kind: schemas.Text, Text: []string{""}},
		line(`"inf"`):             {Kind: schemas.Float64, Float: []float64{math.Inf(1)}},
		line(`"-INF"`):            {Kind: schemas.Float64, Float: []float64{math.Inf(-1)}},
		line(`"12"`):              {Kind: schemas.Text, Text: []string{"12"}},
		line(`12,"type":"int64"`): {Kind: schemas.Int64, Int: []int64{12}},
		line(`"9223372036854775807","type":"int64"`):                                    {Kind: schemas.Int64, Int: []int64{math.MaxInt64}},
		line(`9007199254740993,"type":"int64"`):                                         {Kind: schemas.Int64, Int: []int64{1<<53 + 1}},
		line(`9007199254740993`):                                                        {Kind: schemas.Float64, Float: []float64{1 << 53}},
		line(`"nan","type":"text"`):                                                     {Kind: schemas.Text, Text: []string{"nan"}},
		line(`5,"type":"float64"`):                                                      {Kind: schemas.Float64, Float: []float64{5}},
		`{"time_us":1000000,"signal":"s","value":null,"value_int":7}`:                   {Kind: schemas.Int64, Int: []int64{7}},
		`{"time_us":1000000,"signal":"s","value":7,"value_int":"-9223372036854775808"}`: {Kind: schemas.Int64, Int: []int64{math.MinInt64}},
		`{"time_us":1000000,"signal":"s","value":1,"value_bool":true}`:                  {Kind: schemas.Bool, Bool: []bool{true}},
		`{"time_us":1000000,"signal":"s","value":null,"value_text":"nan"}`:              {Kind: schemas.Text, Text: []string{"nan"}},
		` { "value" : 2.5 , "signal" : "s" , "time_s" : 1.0 } ` + "\r\n":                {Kind: schemas.Float64, Float: []float64{2.5}},
		`{"time_s":1,"s":2.5}`:                                                          {Kind: schemas.Float64, Float: []float64{2.5}},
		`{"time_s":1,"s":4,"t":null}`:                                                   {Kind: schemas.Float64, Float: []float64{4}},
		"\ufeff" + `{"time_s":1e0,"\u0073":"\u006f\ud83d\ude00"}`:                       {Kind: schemas.Text, Text: []string{"o😀"}},
	} {
		want.Name, want.Time = "s", []int64{1_000_000}
		assert.Equal(t, &schemas.Log{Signals: []*schemas.Signal{&want}}, mustRead(t, text), text)
	}
	in, err := readAll(columns.Options{}, line(`"nan"`))
	require.NoError(t, err)
	assert.True(t, math.IsNaN(in.Log.Find("s").Float[0]))
}

// A signal that was declared int64 once takes integers without a declaration, of one that
// was not an integer is a float64, and a whole signal widens.
func TestIntegersAreThoseOfTheirSignal(t *testing.T) {
	at := func(t int, value string) string {
		return fmt.Sprintf(`{"time_s":%d,"signal":"n","value":%s}`+"\n", t, value)
	}
	s := mustRead(t, at(2, "5")+at(1, `4,"type":"int64"`)+at(3, `"9007199254740993"`)).Find("n")
	assert.Equal(t, []int64{4, 5, 1<<53 + 1}, s.Int)
	s = mustRead(t, at(1, `null,"value_int":4`)+at(2, "5")).Find("n")
	assert.Equal(t, []float64{4, 5}, s.Float)
	_, err := readAll(columns.Options{}, at(1, `4,"type":"int64"`)+at(2, "5.5"))
	assert.EqualError(t, err, `1.jsonl line 2, column 34 (value): "5.5" is not an integer from -2^63 to 2^63-1 (signal n is declared int64 in line 1); declare the signal float64, or skip such rows with --skip-bad-rows`)
}

// A string that is nan is text where its signal is text. Which it is must not depend on the
// order of lines.
func TestNanAmongTexts(t *testing.T) {
	at := func(t int, value string) string {
		return fmt.Sprintf(`{"time_s":%d,"signal":"s","value":%q}`+"\n", t, value)
	}
	a, b, c := at(1, "on"), at(2, "nan"), at(3, "off")
	for _, text := range []string{a + b + c, c + b + a, b + a + c, c + a + b} {
		assert.Equal(t, []string{"on", "nan", "off"}, mustRead(t, text).Find("s").Text, text)
	}
	assert.Equal(t, "on", mustRead(t, a+b+c).Find("s").Text[0])
	in, err := readAll(columns.Options{}, a+b+c)
	require.NoError(t, err)
	assert.False(t, in.Twice, "nothing contradicts here")

	a, b = at(1, "nan"), at(2, "on") // the first in time is a number
	for _, text := range []string{a + b, b + a} {
		in, err := readAll(columns.Options{SkipBadRows: true}, text)
		require.NoError(t, err)
		assert.Equal(t, 1, in.Log.Find("s").Len())
		assert.Len(t, in.Log.Find("s").Float, 1)
		assert.Contains(t, in.First[0], `"on" is not a number (signal s holds numbers since line`)
	}
}

func TestBadLines(t *testing.T) {
	const good = `{"time_s":1,"signal":"a","value":1}` + "\n"
	const skip = ", or skip such rows with --skip-bad-rows"
	for name, c := range map[string]struct{ line, want string }{
		"number too large":    {`{"time_s":2,"signal":"a","value":1e400}`, `, column 34 (value): "1e400" is not a float64, whose largest is about 1.8e308; write "inf" if that is meant`},
		"NaN":                 {`{"time_s":2,"signal":"a","value":NaN}`, `, column 34: the line is not JSON: invalid character 'N' looking for beginning of value; write numbers as JSON has them, and NaN and infinities as the strings "nan", "inf" and "-inf"`},
		"no time":             {`{"signal":"a","value":1}`, `: the line has neither time_s nor time_us; ` + oneObject},
		"both times":          {`{"time_s":2,"time_us":2,"a":1}`, `, column 23 (time_us): the line has both time_s and time_us; leave one out`},
		"time as a string":    {`{"time_s":"2","a":1}`, `, column 11 (time_s): "2" is not a time; write a JSON number: decimal seconds such as 12.345678`},
		"time null":           {`{"time_s":null,"a":1}`, `, column 11 (time_s): null is not a time; write a JSON number: decimal seconds such as 12.345678`},
		"time too far":        {`{"time_us":9000000000000000001,"a":1}`, `, column 12 (time_us): "9000000000000000001" is beyond 9e12 s; check that time_us is in the unit its name says`},
		"part of microsecond": {`{"time_us":1.5,"a":1}`, `, column 12 (time_us): "1.5" is not a time; write whole microseconds such as 12345678`},
		"no value":            {`{"time_s":2,"signal":"a"}`, `: the line has no value; ` + oneObject},
		"two values":          {`{"time_s":2,"signal":"a","value":1,"value_text":"x"}`, `, column 49 (value_text): the line has both value and value_text; leave one out`},
		"signal is a number":  {`{"time_s":2,"signal":5,"value":1}`, `, column 22 (signal): "5" is not the name of a signal; write a JSON string`},
		"empty name":          {`{"time_s":2,"signal":"","value":1}`, `, column 22 (signal): the name of the signal is empty; give it a name`},
		"unknown type":        {`{"time_s":2,"signal":"a","value":1,"type":"double"}`, `, column 43 (type): "double" is not a type; write float64, int64, bool or text, or leave it out`},
		"boot":                {`{"time_s":2,"signal":"a","value":1,"boot":1.5}`, `, column 43 (boot): "1.5" is not the number of a power-up; write an integer from -2^31 to 2^31-1`},
		"another type":        {`{"time_s":2,"signal":"a","value":"x"}`, `, column 34 (value): "x" is not a number (signal a holds numbers since line 3); write a decimal number, or nan where there was no reading`},
		"decimal comma":       {`{"time_s":2,"signal":"a","value":12,1}`, `, column 37: the line is not JSON: invalid character '1'`},
		"nested":              {`{"time_s":2,"a":[1,2]}`, `, column 17 (a): an array or object is not a value; write a number, a string, true or false`},
		"an array":            {`[1,2]`, `: the line is a JSON array; ` + oneObject},
		"over several lines":  {"{\n\"time_s\":2}", `: the object goes over several lines; ` + oneObject},
		"not closed":          {`{"time_s":2,"a":1`, `the line ends before its JSON object does; ` + oneObject},
		"two objects":         {`{"time_s":2,"a":1}{"time_s":3,"a":1}`, `, column 19: the line goes on behind its object with "{\"time_s\":3,\"a\":1}"; ` + oneObject},
		"not UTF-8":           {"{\"time_s\":2,\"signal\":\"b\",\"value\":\"caf\xe9\"}", ": the line is not UTF-8; write the file in UTF-8"},
		"not UTF-8, escaped":  {"{\"time_s\":2,\"signal\":\"b\",\"value\":\"\\n\xe9\"}", ": the line is not UTF-8; write the file in UTF-8"},
		"CSV":                 {`1,a,2`, `: the line is not a JSON object; ` + oneObject},
		"integer":             {`{"time_s":2,"signal":"b","value_int":1.5}`, `, column 38 (value_int): "1.5" is not an integer from -2^63 to 2^63-1; write an integer, or use value`},
		"too long":            {`{"time_s":2,"a":"` + strings.Repeat("x", DefaultMaxRow) + `"}`, `: the line is longer than 1048576 bytes; write one object a line, and check that it is not binary data`},
	} {
		t.Run(name, func(t *testing.T) {
			_, err := readAll(columns.Options{}, good+c.line+"\n"+good)
			require.ErrorContains(t, err, c.want)
			require.True(t, strings.HasPrefix(err.Error(), "1.jsonl line 2"), err.Error())
			require.True(t, strings.HasSuffix(err.Error(), skip), err.Error())
			require.NotContains(t, err.Error(), "\n")

			in, err := readAll(columns.Options{SkipBadRows: true}, good+c.line+"\n"+good)
			require.NoError(t, err)
			require.Equal(t, 1+strings.Count(c.line, "\n"), in.Bad)
			require.Equal(t, []float64{1}, in.Log.Find("a").Float)
		})
	}
}

// A bad value of a wide line leaves the others.
func TestABadMemberOfAWideLine(t *testing.T) {
	in, err := readAll(columns.Options{SkipBadRows: true}, `{"time_s":1,"a":1,"b":true}`+"\n"+`{"time_s":2,"a":"x","b":{},"c [V]":3}`+"\n")
	require.NoError(t, err)
	assert.Equal(t, 1, in.Bad, "one line")
	assert.Len(t, in.First, 2)
	assert.Equal(t, "V", in.Log.Find("c").Unit)
	assert.Equal(t, 3, in.Log.Samples())
}

// RFC 8259 leaves open which of two members of one name counts; encoding/json takes the last.
func TestDuplicateMembers(t *testing.T) {
	for _, usual := range []bool{true, false} {
		for text, want := range map[string]float64{
			`{"time_s":1,"a":1,"a":2}`:                                                2,
			`{"time_s":1,"a":"x","a":2}`:                                              2,
			`{"time_s":1,"a":2,"b":1,"b":"y","a":3}`:                                  3,
			`{"time_s":5,"signal":"b","signal":"a","value":"x","value":4,"time_s":1}`: 4,
			`{"time_s":1,"a":"x","\u0061":2}`:                                         2,
		} {
			in, err := readWay(usual, columns.Options{}, text)
			require.NoError(t, err, text)
			assert.Equal(t, []float64{want}, in.Log.Find("a").Float, text)
			assert.Equal(t, []int64{1_000_000}, in.Log.Find("a").Time)
		}
		in, err := readWay(usual, columns.Options{}, `{"time_s":1,"a":1,"b":2,"a":null}`)
		require.NoError(t, err)
		assert.Nil(t, in.Log.Find("a"), "the last says that there is none")
	}
}

func TestIgnoredMembersAreNamed(t *testing.T) {
	in, err := readAll(columns.Options{}, `{"time_s":1,"signal":"a","value":1,"seq":5,"host":"x"}`+"\n"+`{"time_s":2,"b":1}`)
	require.NoError(t, err)
	assert.Equal(t, []string{"host", "seq"}, in.Ignored)
	assert.Equal(t, []string{"a", "b"}, []string{in.Log.Signals[0].Name, in.Log.Signals[1].Name})
}

// A signal may be called signal.
func TestASignalCalledSignal(t *testing.T) {
	log := mustRead(t, `{"time_s":1,"signal":-60}`)
	assert.Equal(t, []float64{-60}, log.Find("signal").Float)
}

func TestCutShort(t *testing.T) {
	const good = `{"time_s":1,"signal":"a","value":1}` + "\n"
	for _, o := range []columns.Options{{}, {SkipBadRows: true}} {
		b := columns.New(o)
		_, err := Read(io.MultiReader(strings.NewReader(good+good[:20]), failing{io.ErrUnexpectedEOF}), "q.jsonl", b, 0)
		if !o.SkipBadRows {
			require.EqualError(t, err, "q.jsonl line 2: the file is cut short about here; copy it again from where it was recorded, or skip such rows with --skip-bad-rows")
			continue
		}
		require.NoError(t, err)
		n, _ := b.BadRows()
		assert.Equal(t, 1, n)
		assert.Equal(t, 1, b.Log().Samples())
	}
	lost := errors.New("the card is gone")
	_, err := Read(io.MultiReader(strings.NewReader(good), failing{lost}), "q.jsonl", columns.New(columns.Options{}), 0)
	require.EqualError(t, err, "q.jsonl, about line 2: the card is gone")
	_, err = readAll(columns.Options{}, "\n\n")
	require.EqualError(t, err, "1.jsonl line 2: the file holds no samples; check that the log was recorded")
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// What RFC 8259 allows and forbids, and what encoding/json of Go 1.26 makes of what it leaves
// open, which is the reference here: 1e400, NaN, 1. and a comma at the end of an array are
// errors, -0 keeps its sign, a lone surrogate is U+FFFD, the last of two members counts.
func TestRFC8259(t *testing.T) {
	for _, value := range []string{"1e400", "NaN", "1.", "[1,]", ".5", "+1", "01", "-", "1e", "0x10", "'a'", `"\x"`, "tru", "nul", "\"\t\""} {
		for _, usual := range []bool{true, false} {
			_, err := readWay(usual, columns.Options{}, line(value))
			require.Error(t, err, value)
			require.NotContains(t, err.Error(), "\n")
		}
	}
	zero := mustRead(t, line("-0")).Find("s").Float[0]
	assert.True(t, zero == 0 && math.Signbit(zero))
	assert.Equal(t, []string{"\ufffd"}, mustRead(t, line(`"\ud800"`)).Find("s").Text)
	for _, f := range []float64{math.NaN(), math.Inf(1), math.Inf(-1)} {
		log := &schemas.Log{Signals: []*schemas.Signal{{Name: "s", Time: []int64{0}, Float: []float64{f}}}}
		text := write(t, log)
		assert.Regexp(t, `"value":"(nan|inf|-inf)"}`, text, "NaN and infinities are never JSON numbers")
	}
}
