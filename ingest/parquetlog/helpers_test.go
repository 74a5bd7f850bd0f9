package parquetlog

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/apart"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// The test program is started again to read files apart, as the product is.
func TestMain(m *testing.M) {
	apart.Serve(map[string]apart.Work{"parquet": work, "flips": flips})
	os.Exit(m.Run())
}

type imported = anylog.Imported

// readAll reads files as 1.parquet, 2.parquet and so on of one log.
func readAll(o columns.Options, limits Limits, files ...[]byte) (imported, error) {
	dir, err := os.MkdirTemp("", "parquetlog")
	if err != nil {
		return imported{}, err
	}
	defer os.RemoveAll(dir)
	return anylog.Import(o, "parquet", files, func(file []byte, name string, b *columns.Builder) ([]string, error) {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, file, 0o600); err != nil {
			return nil, err
		}
		f, err := os.Open(path)
		if err != nil {
			return nil, err
		}
		defer f.Close()
		return Read(context.Background(), f, int64(len(file)), name, b, limits, func(int64, int64) {})
	})
}

func mustRead(t require.TestingT, files ...[]byte) *schemas.Log {
	in, err := readAll(columns.Options{}, Limits{}, files...)
	require.NoError(t, err)
	return in.Log
}

// fileOf is rows as a Parquet file, made by the library.
func fileOf[T any](t require.TestingT, rows []T, o ...parquet.WriterOption) []byte {
	var out bytes.Buffer
	w := parquet.NewGenericWriter[T](&out, o...)
	_, err := w.Write(rows)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return out.Bytes()
}
