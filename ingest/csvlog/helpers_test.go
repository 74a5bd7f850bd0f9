package csvlog_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/ingest/csvlog"
	"github.com/afterbell/afterbell/schemas"
)

// imported is what came of reading some texts as one log.
type imported struct {
	log   *schemas.Log
	bad   int
	first []*columns.BadRow
	twice bool // a second reading was needed
}

// read reads texts as the files 1.csv, 2.csv and so on of one log.
func read(o columns.Options, texts ...string) (imported, error) {
	var in imported
	b := columns.New(o)
	for again := true; again; {
		for i, text := range texts {
			if err := csvlog.Read(strings.NewReader(text), fmt.Sprintf("%d.csv", i+1), b, 0); err != nil {
				return imported{}, err
			}
		}
		again = b.Again()
		in.twice = in.twice || again
	}
	in.bad, in.first = b.BadRows()
	in.log = b.Log()
	return in, nil
}

func mustRead(t testing.TB, texts ...string) *schemas.Log {
	t.Helper()
	in, err := read(columns.Options{}, texts...)
	require.NoError(t, err)
	return in.log
}

// describe is a log as lines of text, floats by their bits, so that two logs can be compared
// and a difference can be read. All NaN are one.
func describe(log *schemas.Log) string {
	var b strings.Builder
	for _, s := range log.Signals {
		fmt.Fprintf(&b, "%q [%s] %s\n", s.Name, s.Unit, s.Kind)
		for i, t := range s.Time {
			fmt.Fprintf(&b, "  %d", t)
			if boot := s.BootAt(i); boot != 0 {
				fmt.Fprintf(&b, " boot %d", boot)
			}
			switch s.Kind {
			case schemas.Float64:
				if v := s.Float[i]; math.IsNaN(v) {
					b.WriteString(" nan\n")
				} else {
					fmt.Fprintf(&b, " %v %x\n", v, math.Float64bits(v))
				}
			case schemas.Int64:
				fmt.Fprintf(&b, " %d\n", s.Int[i])
			case schemas.Bool:
				fmt.Fprintf(&b, " %t\n", s.Bool[i])
			case schemas.Text:
				fmt.Fprintf(&b, " %q\n", s.Text[i])
			}
		}
	}
	return b.String()
}

var noOptions = columns.Options{}
