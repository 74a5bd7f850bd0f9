package csvlog_test

import (
	"strings"
	"testing"
	"testing/iotest"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

// bothWays reads text with and without the shortcut for usual rows, skipping bad rows or
// not, and requires the same log, the same bad rows and the same error.
func bothWays(t require.TestingT, text string, skip bool) (*schemas.Log, error) {
	const maxRow = 4096
	run := func(general bool) (string, *schemas.Log, error) {
		b := columns.New(columns.Options{SkipBadRows: skip})
		for again := true; again; again = b.Again() {
			var err error
			if general {
				err = csvlog.ReadGenerally(strings.NewReader(text), "x.csv", b, maxRow)
			} else {
				err = csvlog.Read(iotest.HalfReader(strings.NewReader(text)), "x.csv", b, maxRow)
			}
			if err != nil {
				return err.Error(), nil, err
			}
		}
		all := strings.Builder{}
		_, first := b.BadRows()
		for _, row := range first {
			all.WriteString(row.Error() + "\n")
		}
		log := b.Log()
		return all.String() + describe(log), log, nil
	}
	want, _, _ := run(true)
	got, log, err := run(false)
	require.Equal(t, want, got, "text %q", text)
	return log, err
}

func TestUsualRowsWithOddNames(t *testing.T) {
	for _, text := range []string{
		"time_s,signal,value\n1,a,1\n1,\"b,\",2\n2,a,3\n2,b,,4\n2,a,5\n",
		"time_s,signal,value\n1,a,1\n1,\"b\nc\",2\n2,a,3\n2,b\nc,4\n2,a,5\n",
		"time_s,signal,value\n1,a,1\n1,\"b\"\"c\",2\n2,a,3\n2,\"b\"c\",4\n2,a,5\n",
	} {
		log, err := bothWays(t, text, true)
		require.NoError(t, err)
		require.Equal(t, 3, log.Samples())
	}
}

func TestUsualRowsAreReadAsTheGeneralWayDoes(t *testing.T) {
	time := rapid.OneOf(
		rapid.SampledFrom([]string{"1", "2.5", "-0.000001", "1e1", " 3", "\"4\"", "nan", "", "+5", "1.0000005", "99999999999999999999", "9e12", "0x1", "6,"}),
		rapid.StringMatching(`-?[0-9]{1,3}\.[0-9]{1,9}`))
	name := rapid.SampledFrom([]string{"a", "b", "b [V]", "\"a\"", "\"b,\"", "b,", "", " a", "\"x\ny\"", "é", "\"a\"\"\""})
	value := rapid.OneOf(
		rapid.SampledFrom([]string{"1", "2", "-0", "2.5", "1e3", "1e", "1e400", "nan", "true", "", " 5", "5 ", "\"6\"", "12345678901234567890", "9223372036854775807", "1.", ".5", "+7", "-", "7\r", "5x"}),
		rapid.StringMatching(`-?[0-9]{1,3}\.[0-9]{1,20}`))
	typ := rapid.SampledFrom([]string{",float64", ",int64", ",text", ",", ",bool", ",int6", ",float64x", "", ",\"int64\""})
	end := rapid.SampledFrom([]string{"\n", "\n", "\n", "\r\n", "\n\n", "\r", ",\n", ",,,\n", ""})
	rapid.Check(t, func(t *rapid.T) {
		var b strings.Builder
		form := rapid.SampledFrom([]string{"time_s,signal,value", "time_us,signal,value", "time_s,signal,value,type", "time_s,u,v [A],w"}).Draw(t, "form")
		b.WriteString(form + "\n")
		for range rapid.IntRange(0, 12).Draw(t, "rows") {
			b.WriteString(time.Draw(t, "time") + ",")
			switch {
			case strings.HasSuffix(form, "w"):
				b.WriteString(value.Draw(t, "u") + "," + value.Draw(t, "v") + "," + value.Draw(t, "w"))
			case strings.HasSuffix(form, "type"):
				b.WriteString(name.Draw(t, "name") + "," + value.Draw(t, "value") + typ.Draw(t, "type"))
			default:
				b.WriteString(name.Draw(t, "name") + "," + value.Draw(t, "value"))
			}
			b.WriteString(end.Draw(t, "end"))
		}
		_, _ = bothWays(t, b.String(), true)
		_, _ = bothWays(t, b.String(), false)
	})
}
