package matchfile

import (
	"context"
	"io"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/memory"
	"github.com/apache/arrow/go/v15/parquet/file"
	"github.com/apache/arrow/go/v15/parquet/pqarrow"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress/zstd"
	"github.com/parquet-go/parquet-go/format"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// The benchmarks run on one simulated match, see benchlog. Beside each stands the same
// work done the straightforward way with the Parquet library's typed rows, so that a run
// on any machine gives a ratio.

func BenchmarkWrite(b *testing.B) {
	log := benchlog(150)
	path := filepath.Join(b.TempDir(), "signals.parquet")
	b.Run("matchfile", func(b *testing.B) {
		for b.Loop() {
			f, err := os.Create(path)
			require.NoError(b, err)
			_, err = Write(f, log, nil)
			require.NoError(b, err)
			require.NoError(b, f.Sync())
			require.NoError(b, f.Close())
		}
		reportSize(b, path, log)
	})
	b.Run("generic rows", func(b *testing.B) {
		for b.Loop() {
			writeGeneric(b, path, log)
		}
		reportSize(b, path, log)
	})
	b.Run("content hash alone", func(b *testing.B) {
		for b.Loop() {
			_, err := ContentSHA256(log)
			require.NoError(b, err)
		}
	})
}

func BenchmarkRead40of300(b *testing.B) {
	log := benchlog(150)
	names := fortyOf(log)
	path := storeIn(b, log)
	samples := 0
	for _, name := range names {
		samples += log.Find(name).Len()
	}
	b.Run("matchfile", func(b *testing.B) {
		for b.Loop() {
			f, err := Open(path)
			require.NoError(b, err)
			got, err := f.Read(names...)
			require.NoError(b, err)
			require.Equal(b, samples, got.Samples())
			require.NoError(b, f.Close())
		}
	})
	b.Run("library pages", func(b *testing.B) {
		for b.Loop() {
			require.Equal(b, samples, readPages(b, path, names))
		}
	})
	b.Run("arrow tables", func(b *testing.B) {
		for b.Loop() {
			require.EqualValues(b, samples, readArrow(b, path, names))
		}
	})
}

func BenchmarkReadAll(b *testing.B) {
	path := storeIn(b, benchlog(150))
	for b.Loop() {
		f, err := Open(path)
		require.NoError(b, err)
		_, err = f.Read()
		require.NoError(b, err)
		require.NoError(b, f.Close())
	}
}

func BenchmarkOpen(b *testing.B) {
	path := storeIn(b, benchlog(1))
	for b.Loop() {
		f, err := Open(path)
		require.NoError(b, err)
		require.NoError(b, f.Close())
	}
}

func storeIn(b *testing.B, log *schemas.Log) string {
	path := filepath.Join(b.TempDir(), "signals.parquet")
	f, err := os.Create(path)
	require.NoError(b, err)
	_, err = Write(f, log, nil)
	require.NoError(b, err)
	require.NoError(b, f.Close())
	return path
}

func reportSize(b *testing.B, path string, log *schemas.Log) {
	info, err := os.Stat(path)
	require.NoError(b, err)
	b.ReportMetric(float64(info.Size())/float64(log.Samples()), "bytes/sample")
}

// fortyOf is every seventh or eighth signal, of all rates.
func fortyOf(log *schemas.Log) []string {
	var names []string
	for i := 0; i < len(log.Signals) && len(names) < 40; i += 7 {
		names = append(names, log.Signals[i].Name)
	}
	return names
}

// row is a sample as the library's typed writer takes it.
type row struct {
	Signal    string   `parquet:"signal,dict"`
	Boot      int32    `parquet:"boot"`
	TimeUS    int64    `parquet:"time_us,delta"`
	Value     *float64 `parquet:"value,optional,dict"`
	ValueInt  *int64   `parquet:"value_int,optional"`
	ValueText *string  `parquet:"value_text,optional,dict"`
}

func rowsOf(s *schemas.Signal) []row {
	rows := make([]row, s.Len())
	for i := range rows {
		rows[i] = row{Signal: s.Name, Boot: s.BootAt(i), TimeUS: s.Time[i]}
		if v := s.Number(i); s.Kind != schemas.Text {
			rows[i].Value = &v
		}
		if s.Kind == schemas.Int64 {
			rows[i].ValueInt = &s.Int[i]
		}
		if s.Kind == schemas.Text {
			rows[i].ValueText = &s.Text[i]
		}
	}
	return rows
}

func writeGeneric(tb testing.TB, path string, log *schemas.Log) {
	f, err := os.Create(path)
	require.NoError(tb, err)
	w := parquet.NewGenericWriter[row](f, parquet.Compression(&zstd.Codec{Level: zstd.SpeedFastest}))
	for _, s := range log.Signals {
		_, err := w.Write(rowsOf(s))
		require.NoError(tb, err)
		require.NoError(tb, w.Flush())
	}
	require.NoError(tb, w.Close())
	require.NoError(tb, f.Sync())
	require.NoError(tb, f.Close())
}

// groupsOf are the row groups of the signals named, found by their statistics.
func groupsOf(groups []format.RowGroup, names []string) []int {
	var out []int
	for i, g := range groups {
		if slices.Contains(names, string(g.Columns[0].MetaData.Statistics.MinValue)) {
			out = append(out, i)
		}
	}
	return out
}

// readPages reads times and values of the signals named page by page with the Parquet
// library, and returns how many samples it got.
func readPages(tb testing.TB, path string, names []string) int {
	f, err := os.Open(path)
	require.NoError(tb, err)
	defer f.Close()
	info, err := f.Stat()
	require.NoError(tb, err)
	p, err := parquet.OpenFile(f, info.Size(), parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true))
	require.NoError(tb, err)
	samples := 0
	buf := make([]parquet.Value, 4096)
	for _, i := range groupsOf(p.Metadata().RowGroups, names) {
		g := p.RowGroups()[i]
		times, values := make([]int64, 0, g.NumRows()), make([]float64, 0, g.NumRows())
		for _, column := range []int{2, 3} {
			pages := g.ColumnChunks()[column].Pages()
			page, err := pages.ReadPage()
			require.NoError(tb, err)
			r := page.Values()
			for err == nil {
				var n int
				n, err = r.ReadValues(buf)
				for _, v := range buf[:n] {
					if column == 2 {
						times = append(times, v.Int64())
					} else {
						values = append(values, v.Double())
					}
				}
			}
			require.ErrorIs(tb, err, io.EOF)
			parquet.Release(page)
			require.NoError(tb, pages.Close())
		}
		require.Equal(tb, len(times), len(values))
		samples += len(times)
	}
	return samples
}

// readArrow reads times and values of the signals named with Apache Arrow's reader.
func readArrow(tb testing.TB, path string, names []string) int64 {
	pf, err := file.OpenParquetFile(path, false)
	require.NoError(tb, err)
	defer pf.Close()
	r, err := pqarrow.NewFileReader(pf, pqarrow.ArrowReadProperties{Parallel: true}, memory.DefaultAllocator)
	require.NoError(tb, err)
	var groups []int
	for i, g := range pf.MetaData().RowGroups {
		if slices.Contains(names, string(g.Columns[0].MetaData.Statistics.MinValue)) {
			groups = append(groups, i)
		}
	}
	table, err := r.ReadRowGroups(context.Background(), []int{2, 3}, groups)
	require.NoError(tb, err)
	defer table.Release()
	return table.NumRows()
}
