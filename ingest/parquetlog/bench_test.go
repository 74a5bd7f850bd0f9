package parquetlog

import (
	"bytes"
	"context"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/parquet-go/parquet-go"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

// BenchmarkRead imports 6.9 million samples: a match file beside its own reader, and the same
// rows written anew by the library, in a process apart, beside the library's own reading of
// the rows in this one, and of the values of its columns.
func BenchmarkRead(b *testing.B) {
	log := anylog.OfAMatch(150)
	samples := log.Samples()
	dir := b.TempDir()
	ours, others := filepath.Join(dir, "ours.parquet"), filepath.Join(dir, "others.parquet")
	writeOurs(b, ours, log)
	writeOthers(b, others, log)
	log = nil
	b.Run("ours", func(b *testing.B) {
		anylog.Compare(b, samples, imports(b, ours), anylog.Way{Name: "matchfile", Run: func() int {
			f, err := matchfile.Open(ours)
			require.NoError(b, err)
			defer f.Close()
			log, err := f.Read()
			require.NoError(b, err)
			return log.Samples()
		}})
	})
	b.Run("others", func(b *testing.B) {
		anylog.Compare(b, samples, imports(b, others), anylog.Way{Name: "rows", Run: func() (n int) {
			f, err := os.Open(others)
			require.NoError(b, err)
			defer f.Close()
			r := parquet.NewGenericReader[row](f)
			defer r.Close()
			for rows := make([]row, 4096); ; {
				k, err := r.Read(rows)
				if n += k; err == io.EOF {
					return n
				}
				require.NoError(b, err)
			}
		}}, anylog.Way{Name: "values", Run: func() int { return readValues(b, others) }})
	})
}

func imports(b *testing.B, path string) anylog.Way {
	return anylog.Way{Name: "import", Run: func() int {
		f, err := os.Open(path)
		require.NoError(b, err)
		defer f.Close()
		info, err := f.Stat()
		require.NoError(b, err)
		builder := columns.New(columns.Options{})
		_, err = Read(context.Background(), f, info.Size(), "q14.parquet", builder, Limits{}, func(int64, int64) {})
		require.NoError(b, err)
		return builder.Log().Samples()
	}}
}

// readValues reads every column's values as the library gives them.
func readValues(b *testing.B, path string) int {
	f, err := os.Open(path)
	require.NoError(b, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(b, err)
	file, err := parquet.OpenFile(f, info.Size())
	require.NoError(b, err)
	values := make([]parquet.Value, 4096)
	for _, g := range file.RowGroups() {
		for _, c := range g.ColumnChunks() {
			pages := c.Pages()
			for {
				page, err := pages.ReadPage()
				if err == io.EOF {
					break
				}
				require.NoError(b, err)
				for r := page.Values(); ; {
					if _, err := r.ReadValues(values); err == io.EOF {
						break
					}
				}
				parquet.Release(page)
			}
			pages.Close()
		}
	}
	return 0
}

func writeOurs(b *testing.B, path string, log *schemas.Log) {
	var out bytes.Buffer
	_, err := matchfile.Write(&out, log, nil)
	require.NoError(b, err)
	require.NoError(b, os.WriteFile(path, out.Bytes(), 0o600))
}

func writeOthers(b *testing.B, path string, log *schemas.Log) {
	f, err := os.Create(path)
	require.NoError(b, err)
	defer f.Close()
	w := parquet.NewGenericWriter[row](f, parquet.Compression(&parquet.Snappy), parquet.MaxRowsPerRowGroup(1<<20))
	for _, s := range log.Signals {
		rows := make([]row, s.Len())
		for i := range rows {
			rows[i] = row{Signal: s.Name, Time: s.Time[i]}
			switch s.Kind {
			case schemas.Text:
				rows[i].Text = &s.Text[i]
				continue
			case schemas.Int64:
				rows[i].Int = &s.Int[i]
			}
			v := s.Number(i)
			rows[i].Value = &v
		}
		_, err := w.Write(rows)
		require.NoError(b, err)
	}
	require.NoError(b, w.Close())
}
