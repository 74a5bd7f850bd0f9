package csvlog_test

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

func TestLong(t *testing.T) {
	log := mustRead(t, "time_s,signal,value\n"+
		"1.25,bus voltage [V],11.9\n"+
		"-0.5,bus voltage [V],12\n"+
		"1.25,robot/mode,autonomous\n"+
		"2,path/mouth/beam,TRUE\n"+
		"3,path/mouth/beam,false\n"+
		"1,game/score,3\n"+
		"2,game/score,\n"+
		"4,\"odd, \"\"name\"\"\",nan\n")
	want := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "bus voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{-500_000, 1_250_000}, Float: []float64{12, 11.9}},
		{Name: "game/score", Kind: schemas.Int64, Time: []int64{1_000_000}, Int: []int64{3}},
		{Name: `odd, "name"`, Kind: schemas.Float64, Time: []int64{4_000_000}, Float: []float64{nan}},
		{Name: "path/mouth/beam", Kind: schemas.Bool, Time: []int64{2_000_000, 3_000_000}, Bool: []bool{true, false}},
		{Name: "robot/mode", Kind: schemas.Text, Time: []int64{1_250_000}, Text: []string{"autonomous"}},
	}}
	assert.Equal(t, describe(want), describe(log))
}

func TestWide(t *testing.T) {
	want := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "beam", Kind: schemas.Bool, Time: []int64{0, 20_000}, Bool: []bool{true, false}},
		{Name: "count", Kind: schemas.Int64, Time: []int64{20_000}, Int: []int64{7}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{40_000}, Text: []string{"a\r\nb"}},
		{Name: "power", Unit: "W", Kind: schemas.Float64, Time: []int64{0, 20_000, 40_000}, Float: []float64{1, 2.5, 3}},
	}}
	for name, text := range map[string]string{
		"seconds":          "time_s,power [W],count,beam,mode\n0,1,,true,\n0.02,2.5,7,false,\n0.04,3,,,\"a\r\nb\"\n",
		"microseconds":     "time_us,power [W],count,beam,mode\n0,1,,true,\n20000,2.5,7,false,\n40000,3,,,\"a\r\nb\"\n",
		"CR LF":            "time_s,power [W],count,beam,mode\r\n0,1,,true,\r\n0.02,2.5,7,false,\r\n0.04,3,,,\"a\r\nb\"\r\n",
		"rows of nothing":  "time_s,power [W],count,beam,mode\n0,1,,true,\n,,,,\n0.02,2.5,7,false,\n\n0.04,3,,,\"a\r\nb\"\n,,\n",
		"quoted and blank": "\ufeff\"time_s\", power [W] ,count , beam,mode\n\"0\", 1,,true,\n 0.02,\"2.5\",7,False,\n0.04,3 ,\"\",,\"a\r\nb\"",
		"other order":      "time_s,power [W],count,beam,mode\n0.04,3,,,\"a\r\nb\"\n0.02,2.5,7,false,\n0,1,,true,\n",
		"a repeat":         "time_s,power [W],count,beam,mode\n0,9,,false,\n0,1,,true,\n0.02,2.5,7,false,\n0.04,3,,,\"a\r\nb\"\n",
	} {
		t.Run(name, func(t *testing.T) {
			assert.Equal(t, describe(want), describe(mustRead(t, text)))
		})
	}
}

// The first value in order of time decides the type, wherever it stands in the file.
func TestTypeOfASignal(t *testing.T) {
	for name, c := range map[string]struct {
		rows string
		want schemas.Kind
		bad  int
	}{
		"integers":                            {"1,s,5\n2,s,-6\n", schemas.Int64, 0},
		"an integer, then a float":            {"1,s,5\n2,s,6.5\n", schemas.Float64, 0},
		"a float, then an integer":            {"1,s,5.5\n2,s,6\n", schemas.Float64, 0},
		"an integer that int64 cannot hold":   {"1,s,5\n2,s,9223372036854775808\n", schemas.Float64, 0},
		"an integer, then nan":                {"1,s,5\n2,s,NaN\n", schemas.Float64, 0},
		"negative zero":                       {"1,s,5\n2,s,-0\n", schemas.Float64, 0},
		"bools":                               {"1,s,true\n2,s,False\n", schemas.Bool, 0},
		"text":                                {"1,s,on\n2,s,off\n", schemas.Text, 0},
		"text first in time, last in file":    {"2,s,5\n3,s,6\n1,s,on\n", schemas.Text, 2},
		"number first in time, last in file":  {"2,s,on\n1,s,5\n", schemas.Int64, 1},
		"bool among numbers":                  {"1,s,1\n2,s,true\n", schemas.Int64, 1},
		"number among bools":                  {"1,s,true\n2,s,1\n", schemas.Bool, 1},
		"number among text":                   {"1,s,on\n2,s,1\n", schemas.Text, 1},
		"bool among text":                     {"1,s,on\n2,s,true\n", schemas.Text, 1},
		"empty values decide nothing":         {"1,s,\n2,s,true\n", schemas.Bool, 0},
		"at equal times the last written":     {"1,s,5\n1,s,on\n2,s,off\n", schemas.Text, 1},
		"at equal times, the other way round": {"1,s,on\n1,s,5\n2,s,6\n", schemas.Int64, 1},
		"a cell of blanks is text":            {"1,s,5\n2,s,  \n", schemas.Int64, 1},
	} {
		t.Run(name, func(t *testing.T) {
			in, err := read(columns.Options{SkipBadRows: true}, "time_s,signal,value\n"+c.rows)
			require.NoError(t, err)
			assert.Equal(t, c.want, in.log.Find("s").Kind)
			assert.Equal(t, c.bad, in.bad)
			assert.Equal(t, c.bad > 0, in.twice, "only a contradiction needs a second reading")
			_, err = read(columns.Options{}, "time_s,signal,value\n"+c.rows)
			assert.Equal(t, c.bad > 0, err != nil)
		})
	}
}

func TestDeclaredTypes(t *testing.T) {
	for name, c := range map[string]struct {
		rows string
		want string
		bad  int
	}{
		"text keeps what looks like something else": {"1,s,nan,text\n2,s,1.50,text\n3,s,,text\n4,s,true,text\n", "\"s\" [] text\n  1000000 \"nan\"\n  2000000 \"1.50\"\n  3000000 \"\"\n  4000000 \"true\"\n", 0},
		"float64 of integers":                       {"1,s,5,float64\n2,s,-0,float64\n", "\"s\" [] float64\n  1000000 5 4014000000000000\n  2000000 -0 8000000000000000\n", 0},
		"int64":                                     {"1,s,9223372036854775807,int64\n2,s,-0,int64\n3,s,,int64\n", "\"s\" [] int64\n  1000000 9223372036854775807\n  2000000 0\n", 0},
		"int64 takes no floats":                     {"1,s,1,int64\n2,s,2.0,int64\n3,s,9223372036854775808,int64\n", "\"s\" [] int64\n  1000000 1\n", 2},
		"bool takes no numbers":                     {"1,s,1,bool\n2,s,true,bool\n", "\"s\" [] bool\n  2000000 true\n", 1},
		"a declaration holds for other rows":        {"1,s,007,\n2,s,on,text\n", "\"s\" [] text\n  1000000 \"007\"\n  2000000 \"on\"\n", 0},
		"also for rows before it in time":           {"2,s,5,\n3,s,5,float64\n1,s,x,\n", "\"s\" [] float64\n  2000000 5 4014000000000000\n  3000000 5 4014000000000000\n", 1},
		"the first in time wins":                    {"2,s,5,float64\n1,s,6,int64\n3,s,7,int64\n", "\"s\" [] int64\n  1000000 6\n  3000000 7\n", 1},
		"a type nobody knows":                       {"1,s,5,double\n2,s,6,\n", "\"s\" [] int64\n  2000000 6\n", 1},
	} {
		t.Run(name, func(t *testing.T) {
			in, err := read(columns.Options{SkipBadRows: true}, "time_s,signal,value,type\n"+c.rows)
			require.NoError(t, err)
			assert.Equal(t, c.want, describe(in.log))
			assert.Equal(t, c.bad, in.bad)
		})
	}
}

func TestUnits(t *testing.T) {
	in, err := read(columns.Options{SkipBadRows: true}, "time_s,signal,value\n2,a [mV],x\n3,a [V],5\n1,a [V],4\n4,a,6\n5,a [mV],7\n")
	require.NoError(t, err)
	assert.Equal(t, 2, in.bad, "rows in another unit than the first in time")
	assert.Equal(t, "V", in.log.Find("a").Unit)
	assert.Equal(t, []int64{4, 5, 6}, in.log.Find("a").Int, "they decide nothing about the type either")
}

func TestSeveralFilesAreOneLog(t *testing.T) {
	log := mustRead(t, "time_s,signal,value\n1,a,1\n2,a,2\n5,b,x\n", "time_us,a [A],c\n2000000,2.5,true\n3000000,3,\n")
	assert.Equal(t, describe(&schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Unit: "A", Kind: schemas.Float64, Time: []int64{1e6, 2e6, 3e6}, Float: []float64{1, 2.5, 3}},
		{Name: "b", Kind: schemas.Text, Time: []int64{5e6}, Text: []string{"x"}},
		{Name: "c", Kind: schemas.Bool, Time: []int64{2e6}, Bool: []bool{true}},
	}}), describe(log))

	in, err := read(columns.Options{SkipBadRows: true}, "time_s,a\n2,5\n", "time_s,a\n1,on\n")
	require.NoError(t, err)
	require.Equal(t, 1, in.bad)
	assert.Equal(t, `1.csv line 2, column 2 (a): "5" is a number (signal a holds text since line 2 of 2.csv); `+
		`declare the signal's type as text in a fourth column of a long file, or skip such rows with --skip-bad-rows`, in.first[0].Error())
}
