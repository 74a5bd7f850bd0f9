package parquetlog

import (
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/schemas/footer"
)

// mostPage is the longest page in bytes, unpacked: far more than writers make, which aim at
// a mebibyte.
const mostPage = 256 << 20

// mostHeader is the longest page header; it may hold the least and greatest value.
const mostHeader = 16 << 20

// checkPages walks the page headers of the columns that are wanted, and makes sure that each
// page lies in its chunk and that what they unpack to is bounded.
func checkPages(in io.ReaderAt, size int64, meta *format.FileMetaData, cols []column, wanted []bool, unpacked int64) error {
	for g := range meta.RowGroups {
		group := &meta.RowGroups[g]
		for i := range cols {
			if !wanted[i] {
				continue
			}
			if cols[i].leaf >= len(group.Columns) {
				return fmt.Errorf("row group %d has fewer columns than the schema", g+1)
			}
			m := &group.Columns[cols[i].leaf].MetaData
			if m.NumValues != group.NumRows {
				return fmt.Errorf("column %d (%s) has %d values in a row group of %d rows", i+1, cols[i].Name, m.NumValues, group.NumRows)
			}
			if err := checkChunk(in, size, m, &unpacked); err != nil {
				return fmt.Errorf("row group %d, column %d (%s): %w", g+1, i+1, cols[i].Name, err)
			}
		}
	}
	return nil
}

func checkChunk(in io.ReaderAt, size int64, m *format.ColumnMetaData, unpacked *int64) error {
	at := m.DataPageOffset
	if m.DictionaryPageOffset > 0 && m.DictionaryPageOffset < at {
		at = m.DictionaryPageOffset
	}
	left := m.TotalCompressedSize
	if at < int64(len(Magic)) || left < 0 || at > size || left > size-at {
		return fmt.Errorf("%d bytes at byte %d of a file of %d", left, at, size)
	}
	buf := make([]byte, 0, 4096)
	for left > 0 {
		page, err := header(in, at, left, &buf)
		if err != nil {
			return fmt.Errorf("the page at byte %d: %w", at, err)
		}
		at += int64(page.Len)
		left -= int64(page.Len)
		if page.Packed < 0 || int64(page.Packed) > left {
			return fmt.Errorf("the page at byte %d claims %d bytes of %d", at, page.Packed, left)
		}
		if page.Unpacked < 0 || page.Unpacked > mostPage || int64(page.Unpacked) > *unpacked {
			return fmt.Errorf("the page at byte %d unpacks to %d bytes, which is too much", at, page.Unpacked)
		}
		*unpacked -= int64(page.Unpacked)
		at += int64(page.Packed)
		left -= int64(page.Packed)
	}
	return nil
}

// header reads the page header at byte at, of which left bytes of the chunk follow. It takes a
// small piece first, which nearly all headers fit.
func header(in io.ReaderAt, at, left int64, buf *[]byte) (footer.Page, error) {
	for n := int64(512); ; n *= 8 {
		n = min(n, left, mostHeader)
		if int64(cap(*buf)) < n {
			*buf = make([]byte, 0, n)
		}
		b := (*buf)[:n]
		if _, err := in.ReadAt(b, at); err != nil {
			return footer.Page{}, err
		}
		page, err := footer.PageHeader(b)
		if err == nil || n == left || n == mostHeader {
			return page, err
		}
	}
}
