package csvlog

import (
	"io"

	"github.com/afterbell/afterbell/ingest/columns"
)

// ReadGenerally is Read with every row going the general way.
func ReadGenerally(text io.Reader, file string, b *columns.Builder, maxRow int) error {
	b.Open(file)
	r := &reader{scanner: newScanner(text, maxRow), file: file, b: b}
	if err := r.readHeader(); err != nil {
		return err
	}
	r.scanTime = func([]byte) (int64, int) { return 0, 0 }
	return r.readRows()
}
