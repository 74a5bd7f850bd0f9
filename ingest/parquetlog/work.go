package parquetlog

import (
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/ingest/table"
)

// work reads the file and writes its columns, which is what happens apart.
func work(in *os.File, out io.Writer) error {
	info, err := in.Stat()
	if err != nil {
		return err
	}
	p := table.NewPipeWriter(out)
	return p.End(decode(in, info.Size(), mostUnpacked, p))
}

// mostUnpacked bounds all pages of a file together.
const mostUnpacked = 64 << 30

// windowCells is how many cells are decoded at once, about, and mostWindow how many rows.
const (
	windowCells = 1 << 20
	mostWindow  = 1 << 16
	leastWindow = 1 << 10
)

// decode feeds a file to sink. A panic of the library is an error.
func decode(in io.ReaderAt, size, unpacked int64, sink table.Sink) (err error) {
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("%v", p)
		}
	}()
	f, err := parquet.OpenFile(in, size, parquet.SkipPageIndex(true), parquet.SkipBloomFilters(true), parquet.ReadBufferSize(64<<10))
	if err != nil {
		return err
	}
	meta := f.Metadata()
	cols, err := columnsOf(meta.Schema)
	if err != nil {
		return err
	}
	fields := make([]table.Field, len(cols))
	for i := range cols {
		fields[i] = cols[i].Field
	}
	rows := int64(0)
	for _, g := range meta.RowGroups {
		if g.NumRows < 0 || g.NumRows > mostRows-rows {
			return fmt.Errorf("a row group of %d rows", g.NumRows)
		}
		rows += g.NumRows
	}
	wanted, err := sink.Begin(fields, rows, describedBy(meta))
	if err != nil {
		return err
	}
	if err := checkPages(in, size, meta, cols, wanted, unpacked); err != nil {
		return err
	}
	window := 0
	for _, w := range wanted {
		if w {
			window++
		}
	}
	if window == 0 {
		return nil // it will be refused for what its columns are
	}
	window = min(max(windowCells/window, leastWindow), mostWindow)
	for i, g := range f.RowGroups() {
		if err := readGroup(g, cols, wanted, window, sink); err != nil {
			return fmt.Errorf("row group %d: %w", i+1, err)
		}
	}
	return nil
}

// mostRows is more rows than any log has.
const mostRows = 1 << 36

func readGroup(g parquet.RowGroup, cols []column, wanted []bool, window int, sink table.Sink) error {
	chunks := g.ColumnChunks()
	cursors := make([]*cursor, len(cols))
	defer func() {
		for _, c := range cursors {
			if c != nil {
				c.close()
			}
		}
	}()
	for i := range cols {
		if !wanted[i] {
			continue
		}
		if cols[i].leaf >= len(chunks) {
			return errors.New("it has fewer columns than the schema")
		}
		cursors[i] = newCursor(&cols[i], chunks[cols[i].leaf].Pages())
	}
	out := make([]table.Column, len(cols))
	for left := g.NumRows(); left > 0; {
		n := int(min(left, int64(window)))
		for i, c := range cursors {
			out[i] = table.Column{}
			if c == nil {
				continue
			}
			if err := c.read(&out[i], n); err != nil {
				return fmt.Errorf("column %d (%s): %w", i+1, cols[i].Name, err)
			}
		}
		if err := sink.Add(n, out); err != nil {
			return err
		}
		left -= int64(n)
	}
	return nil
}

// describedBy is what the metadata say of signals, where another program kept those of a file
// of ours.
func describedBy(meta *format.FileMetaData) map[string]table.Described {
	for _, kv := range meta.KeyValueMetadata {
		if kv.Key == "signals" {
			return described(kv.Value)
		}
	}
	return nil
}
