package parquetlog

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/apart"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// The test program is started again to read files apart, as the product is.
func TestMain(m *testing.M) {
	apart.Serve(map[string]apart.Work{"parquet": work, "flips": flips})
	os.Exit(m.Run())
}

// imported is what came of reading some files as one log.
type imported struct {
	log     *schemas.Log
	bad     int
	first   []string
	ignored []string
	twice   bool
}

// readAll reads files as 1.parquet, 2.parquet and so on of one log.
func readAll(o columns.Options, limits Limits, files ...[]byte) (in imported, err error) {
	dir, err := os.MkdirTemp("", "parquetlog")
	if err != nil {
		return in, err
	}
	defer os.RemoveAll(dir)
	b := columns.New(o)
	for again := true; again; {
		for i, file := range files {
			name := fmt.Sprintf("%d.parquet", i+1)
			path := filepath.Join(dir, name)
			if err := os.WriteFile(path, file, 0o600); err != nil {
				return in, err
			}
			f, err := os.Open(path)
			if err != nil {
				return in, err
			}
			in.ignored, err = Read(context.Background(), f, int64(len(file)), name, b, limits, func(int64, int64) {})
			f.Close()
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

// fileOf is rows as a Parquet file, made by the library.
func fileOf[T any](t require.TestingT, rows []T, o ...parquet.WriterOption) []byte {
	var out bytes.Buffer
	w := parquet.NewGenericWriter[T](&out, o...)
	_, err := w.Write(rows)
	require.NoError(t, err)
	require.NoError(t, w.Close())
	return out.Bytes()
}
