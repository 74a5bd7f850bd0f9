package csvlog_test

import (
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

func FuzzReadLong(f *testing.F) {
	for _, rows := range []string{
		"1.25,power/voltage [V],11.9\n", "1,a,1\n2,a,x\n0,a,true\n", "1,\"a\"\"b\",\"c\r\nd\"\n", "1,a,\"\n2,b,3\n", "-9e12,a,-0\n",
		"1,a,1e400\n1,a,nan", "\xff,\xff,\xff", "1,a,5\r\n\r\n,,\r\n2,a,5.5", "1,a,12,1\n1e-7,a,9223372036854775808\n",
	} {
		f.Add(false, rows)
		f.Add(true, strings.ReplaceAll(rows, "\n", ",\n")+"3,a,7,text\n4,b,8,int64\n")
	}
	f.Fuzz(func(t *testing.T, typed bool, rows string) {
		header := "time_s,signal,value\n"
		if typed {
			header = "time_s,signal,value,type\n"
		}
		checkRead(t, header+rows)
	})
}

func FuzzReadWide(f *testing.F) {
	for _, text := range []string{
		"time_s,a,b [V]\n0,1,2\n1,,3\n", "time_us,a\n1,true\n2,1\n", "\ufefftime_s,\"a,\"\"\",b\r\n1,\"x\r\ny\",-inf\r\n", "time_s,a,a\n1,2,3\n",
		"time_s;a;b\n", "time_s\n", "time_s,signal,value,x\n", "1,2,3\n", "time_s,a,b\n1,2\n2,\"3\n4,5,6\n", "\x00\x01", "time_s,a\r1,2\r", "",
	} {
		f.Add(text)
	}
	f.Fuzz(func(t *testing.T, text string) { checkRead(t, text) })
}

// checkRead reads any text at all. There is a log or an error that names a line; the log is
// one that others can rely on; and written and read again it is the same.
func checkRead(t *testing.T, text string) {
	if _, err := bothWays(t, text, false); err != nil {
		checkError(t, err)
	}
	log, err := bothWays(t, text, true)
	if err != nil {
		checkError(t, err)
		return
	}
	if log.Samples() == 0 {
		return // every row was bad
	}
	previous := ""
	for _, s := range log.Signals {
		require.NotEmpty(t, s.Name)
		require.LessOrEqual(t, len(s.Name), schemas.MaxSignalName)
		require.True(t, utf8.ValidString(s.Name))
		require.Less(t, previous, s.Name)
		previous = s.Name
		require.Equal(t, len(s.Time), len(s.Float)+len(s.Int)+len(s.Bool)+len(s.Text))
		for i, at := range s.Time {
			require.True(t, -cell.MaxTime <= at && at <= cell.MaxTime)
			require.True(t, i == 0 || s.Time[i-1] < at)
		}
	}
	in, err := read(columns.Options{}, write(t, log))
	require.NoError(t, err)
	require.Equal(t, describe(log), describe(in.log))
}

func checkError(t *testing.T, err error) {
	var row *columns.BadRow
	require.ErrorAs(t, err, &row)
	require.Positive(t, row.Line)
	require.NotContains(t, err.Error(), "\n")
	require.Contains(t, err.Error(), "x.csv line ")
}
