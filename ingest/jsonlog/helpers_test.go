package jsonlog

import (
	"bytes"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

type imported = anylog.Imported

// readWay reads texts as the files 1.jsonl, 2.jsonl and so on of one log.
func readWay(usual bool, o columns.Options, texts ...string) (imported, error) {
	return anylog.Import(o, "jsonl", texts, func(text, name string, b *columns.Builder) ([]string, error) {
		return read(strings.NewReader(text), name, b, 0, usual)
	})
}

func readAll(o columns.Options, texts ...string) (imported, error) { return readWay(true, o, texts...) }

func mustRead(t testing.TB, texts ...string) *schemas.Log {
	t.Helper()
	in, err := readAll(columns.Options{}, texts...)
	require.NoError(t, err)
	return in.Log
}

func write(t require.TestingT, log *schemas.Log) string {
	var b bytes.Buffer
	require.NoError(t, WriteLong(&b, log))
	return b.String()
}
