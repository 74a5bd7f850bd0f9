package jsonlog

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// imported is what came of reading some texts as one log.
type imported struct {
	log     *schemas.Log
	bad     int
	first   []string
	ignored []string
	twice   bool // a second reading was needed
}

// readWay reads texts as the files 1.jsonl, 2.jsonl and so on of one log.
func readWay(usual bool, o columns.Options, texts ...string) (in imported, err error) {
	b := columns.New(o)
	for again := true; again; {
		for i, text := range texts {
			if in.ignored, err = read(strings.NewReader(text), fmt.Sprintf("%d.jsonl", i+1), b, 0, usual); err != nil {
				return imported{}, err
			}
		}
		again = b.Again()
		in.twice = in.twice || again
	}
	n, first := b.BadRows()
	in.bad = n
	for _, row := range first {
		in.first = append(in.first, row.Error())
	}
	in.log = b.Log()
	return in, nil
}

func readAll(o columns.Options, texts ...string) (imported, error) { return readWay(true, o, texts...) }

func mustRead(t testing.TB, texts ...string) *schemas.Log {
	t.Helper()
	in, err := readAll(columns.Options{}, texts...)
	require.NoError(t, err)
	return in.log
}

func write(t require.TestingT, log *schemas.Log) string {
	var b bytes.Buffer
	require.NoError(t, WriteLong(&b, log))
	return b.String()
}
