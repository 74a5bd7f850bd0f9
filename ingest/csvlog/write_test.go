package csvlog_test

import (
	"bytes"
	"errors"
	"iter"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

func write(t require.TestingT, log *schemas.Log) string {
	var b bytes.Buffer
	require.NoError(t, csvlog.WriteLong(&b, log))
	return b.String()
}

func TestWriteLong(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a [x]", Unit: "y", Kind: schemas.Bool, Time: []int64{-1}, Bool: []bool{true}},
		{Name: "mode, \"spoken\"", Kind: schemas.Text, Time: []int64{0, 1, 2, 3, 4}, Text: []string{"", "nan", "a\r\nb", `say "x"`, "a\rb"}},
		{Name: "n", Kind: schemas.Int64, Time: []int64{1_500_000}, Int: []int64{math.MinInt64}},
		{
			Name: "power/voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{0, 1_250_000, 2_000_000, 3_000_000, 4_000_000, 5_000_000},
			Float: []float64{12, 0.1, math.NaN(), math.Inf(1), math.Inf(-1), math.Copysign(0, -1)},
		},
	}}
	text := write(t, log)
	assert.Equal(t, "time_s,signal,value,type\n"+
		"-0.000001,a [x] [y],true,bool\n"+
		"0,\"mode, \"\"spoken\"\"\",,text\n"+
		"0.000001,\"mode, \"\"spoken\"\"\",nan,text\n"+
		"0.000002,\"mode, \"\"spoken\"\"\",\"a\r\nb\",text\n"+
		"0.000003,\"mode, \"\"spoken\"\"\",\"say \"\"x\"\"\",text\n"+
		"0.000004,\"mode, \"\"spoken\"\"\",\"a\rb\",text\n"+
		"1.5,n,-9223372036854775808,int64\n"+
		"0,power/voltage [V],12,float64\n"+
		"1.25,power/voltage [V],0.1,float64\n"+
		"2,power/voltage [V],nan,float64\n"+
		"3,power/voltage [V],inf,float64\n"+
		"4,power/voltage [V],-inf,float64\n"+
		"5,power/voltage [V],-0,float64\n", text)
	assert.Equal(t, describe(log), describe(mustRead(t, text)))
}

// A log of several power-ups has one more column, which is read back.
func TestBoots(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "r", Kind: schemas.Bool, Time: []int64{4}, Bool: []bool{true}},
		{Name: "s", Kind: schemas.Int64, Time: []int64{1, 3, 2, 3}, Boot: []int32{0, 0, 1, 1}, Int: []int64{10, 30, 21, 31}},
	}}
	text := write(t, log)
	assert.Equal(t, "time_s,signal,value,type,boot\n0.000004,r,true,bool,0\n0.000001,s,10,int64,0\n0.000003,s,30,int64,0\n0.000002,s,21,int64,1\n0.000003,s,31,int64,1\n", text)
	assert.Equal(t, describe(log), describe(mustRead(t, text)))
	_, err := read(noOptions, "time_s,signal,value,type,boot\n1,a,2,,\n1,a,2,,1.5\n")
	assert.EqualError(t, err, `1.csv line 3, column 5 (boot): "1.5" is not the number of a power-up; write an integer from -2^31 to 2^31-1, or nothing, or skip such rows with --skip-bad-rows`)
}

func TestWriteLongRefuses(t *testing.T) {
	one := func(s schemas.Signal) *schemas.Log {
		s.Kind, s.Time, s.Text = schemas.Text, []int64{5}, []string{s.Unit + "x"}
		return &schemas.Log{Signals: []*schemas.Signal{&s}}
	}
	for _, s := range []schemas.Signal{{Name: ""}, {Name: " a"}, {Name: "a\n"}, {Name: "a", Unit: "[V"}, {Name: "a", Unit: " V"}, {Name: "a [V]"}, {Name: "\xff"}} {
		var b bytes.Buffer
		assert.ErrorContains(t, csvlog.WriteLong(&b, one(s)), "cannot be written as CSV: rename it", "%q [%s]", s.Name, s.Unit)
	}
	log := one(schemas.Signal{Name: "a"})
	log.Signals[0].Text[0] = "\xfe"
	var b bytes.Buffer
	assert.EqualError(t, csvlog.WriteLong(&b, log), `signal a at 0.000005 s: the text "\xfe" is not UTF-8 and cannot be written as CSV`)
	assert.EqualError(t, csvlog.WriteLong(full{}, one(schemas.Signal{Name: "a"})), "write CSV: disk full")
}

// full is a disk without room.
type full struct{}

func (full) Write([]byte) (int, error) { return 0, errors.New("disk full") }

// What is written is read back the same, and written again it is the same bytes.
func TestRoundTrip(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := anylog.Any.Draw(t, "log")
		text := write(t, log)
		in, err := read(noOptions, text)
		require.NoError(t, err)
		require.False(t, in.twice)
		require.Equal(t, describe(log), describe(in.log))
		require.Equal(t, text, write(t, in.log))
	})
}

// Samples are written in the order given, repeats too, and of a repeat the last is read back.
func TestWriteSamples(t *testing.T) {
	s := &schemas.Signal{Name: "a, b", Unit: "V", Kind: schemas.Float64, Time: []int64{3_000_000, 1_000_000, 3_000_000}, Float: []float64{30, 10, 31}}
	text := &schemas.Signal{Name: "word", Kind: schemas.Text, Time: []int64{2_000_000}, Text: []string{"x"}}
	var b bytes.Buffer
	require.NoError(t, csvlog.WriteSamples(&b, func(yield func(*schemas.Signal, int) bool) {
		_ = yield(s, 0) && yield(text, 0) && yield(s, 1) && yield(s, 2)
	}))
	assert.Equal(t, "time_s,signal,value,type\n"+
		"3,\"a, b [V]\",30,float64\n2,word,x,text\n1,\"a, b [V]\",10,float64\n3,\"a, b [V]\",31,float64\n", b.String())
	read := mustRead(t, b.String()).Find("a, b")
	assert.Equal(t, []int64{1_000_000, 3_000_000}, read.Time)
	assert.Equal(t, []float64{10, 31}, read.Float)

	text.Text[0] = "\xfe"
	one := func(s *schemas.Signal) iter.Seq2[*schemas.Signal, int] {
		return func(yield func(*schemas.Signal, int) bool) { yield(s, 0) }
	}
	assert.EqualError(t, csvlog.WriteSamples(&b, one(text)), `signal word at 2 s: the text "\xfe" is not UTF-8 and cannot be written as CSV`)
	assert.ErrorContains(t, csvlog.WriteSamples(&b, one(&schemas.Signal{Name: "a [V]", Time: []int64{0}, Float: []float64{1}})), "cannot be written as CSV: rename it")
	assert.EqualError(t, csvlog.WriteSamples(full{}, one(s)), "write CSV: disk full")
}
