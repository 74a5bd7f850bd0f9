package arrowlog

import (
	"bytes"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

type imported = anylog.Imported

// readAll reads files or streams, told by how they begin, as 1.arrow, 2.arrow and so on.
func readAll(o columns.Options, limits Limits, files ...[]byte) (imported, error) {
	return anylog.Import(o, "arrow", files, func(file []byte, name string, b *columns.Builder) ([]string, error) {
		if bytes.HasPrefix(file, []byte(Magic)) {
			return ReadFile(bytes.NewReader(file), int64(len(file)), name, b, limits)
		}
		return ReadStream(bytes.NewReader(file), name, b, limits)
	})
}

func mustRead(t require.TestingT, files ...[]byte) *schemas.Log {
	in, err := readAll(columns.Options{}, Limits{}, files...)
	require.NoError(t, err)
	return in.Log
}

// seeker is a buffer as the library's file writer wants it.
type seeker struct{ bytes.Buffer }

func (s *seeker) Seek(int64, int) (int64, error) { return int64(s.Len()), nil }

// fileOf is records as an Arrow file, made by the library.
func fileOf(t require.TestingT, schema *arrow.Schema, o []ipc.Option, records ...arrow.Record) []byte {
	var out seeker
	w, err := ipc.NewFileWriter(&out, append(o, ipc.WithSchema(schema))...)
	require.NoError(t, err)
	for _, r := range records {
		require.NoError(t, w.Write(r))
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

// streamOf is records as an Arrow stream, made by the library.
func streamOf(t require.TestingT, schema *arrow.Schema, o []ipc.Option, records ...arrow.Record) []byte {
	var out bytes.Buffer
	w := ipc.NewWriter(&out, append(o, ipc.WithSchema(schema))...)
	for _, r := range records {
		require.NoError(t, w.Write(r))
	}
	require.NoError(t, w.Close())
	return out.Bytes()
}

// packings are the ways the library packs.
var packings = map[string][]ipc.Option{
	"plain": nil, "lz4": {ipc.WithLZ4()}, "zstd": {ipc.WithZstd()},
}

// each runs a test with the records as file and as stream, packed in each way.
func each(t *testing.T, schema *arrow.Schema, records []arrow.Record, test func(t *testing.T, file []byte)) {
	for packing, o := range packings {
		t.Run("file "+packing, func(t *testing.T) { test(t, fileOf(t, schema, o, records...)) })
		t.Run("stream "+packing, func(t *testing.T) { test(t, streamOf(t, schema, o, records...)) })
	}
}

// record makes a record of JSON, which the library knows for all its types.
func record(t require.TestingT, schema *arrow.Schema, rows string) arrow.Record {
	r, _, err := recordFromJSON(schema, rows)
	require.NoError(t, err)
	return r
}
