package arrowlog

import (
	"bytes"
	"fmt"
	"testing"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// imported is what came of reading some files as one log.
type imported struct {
	log     *schemas.Log
	bad     int
	first   []string
	ignored []string
	twice   bool
}

// readAll reads files or streams, told by how they begin, as 1.arrow, 2.arrow and so on.
func readAll(o columns.Options, limits Limits, files ...[]byte) (in imported, err error) {
	b := columns.New(o)
	for again := true; again; {
		for i, file := range files {
			name := fmt.Sprintf("%d.arrow", i+1)
			if bytes.HasPrefix(file, []byte(Magic)) {
				in.ignored, err = ReadFile(bytes.NewReader(file), int64(len(file)), name, b, limits)
			} else {
				in.ignored, err = ReadStream(bytes.NewReader(file), name, b, limits)
			}
			if err != nil {
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

func mustRead(t require.TestingT, files ...[]byte) *schemas.Log {
	in, err := readAll(columns.Options{}, Limits{}, files...)
	require.NoError(t, err)
	return in.log
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
