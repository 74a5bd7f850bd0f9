package csvlog_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
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

func describe(log *schemas.Log) string { return anylog.Describe(log) }

var noOptions = columns.Options{}
