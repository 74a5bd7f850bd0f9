package ingest

import (
	"bytes"
	"fmt"

	"github.com/afterbell/afterbell/ingest/arrowlog"
	"github.com/afterbell/afterbell/ingest/parquetlog"
)

// beginnings are files people mistake for logs, by their first bytes. Each mark is from the
// document that defines the format; those of UTF-16 from the Unicode Standard, section 23.8.
var beginnings = []struct{ mark, name, advice string }{
	{"PARE", "a Parquet file that is encrypted", "write it without encryption"},
	{"SQLite format 3\x00", "an SQLite database", exportCSV},
	{"PK\x03\x04", "a zip archive or a spreadsheet", "unpack the archive, or save the spreadsheet as CSV"},
	{"\x1f\x8b", "a file packed twice", "unpack it once"},
	{"\x28\xb5\x2f\xfd", "a file packed twice", "unpack it once"},
	{"BZh", "a bzip2 file", "unpack it; gzip and zstd need no unpacking"},
	{"\xfd7zXZ\x00", "an xz file", "unpack it; gzip and zstd need no unpacking"},
	{"\xff\xfe", "text in UTF-16", "save it as UTF-8"},
	{"\xfe\xff", "text in UTF-16", "save it as UTF-8"},
	{"[", "a JSON array", "write JSON lines, one object a line"},
}

// Forms, as a report names them.
const (
	formCSV         = "CSV"
	formJSON        = "JSON lines"
	formArrowFile   = "Arrow file"
	formArrowStream = "Arrow stream"
	formParquet     = "Parquet"
)

const exportCSV = "export the log as CSV"

// form tells what a file that begins with head is. What looks like nothing else is taken for
// CSV, whose reader says what a header must be.
func form(head []byte) (string, error) {
	switch {
	case bytes.HasPrefix(head, []byte(arrowlog.Magic)):
		return formArrowFile, nil
	case bytes.HasPrefix(head, []byte(parquetlog.Magic)):
		return formParquet, nil
	case bytes.HasPrefix(head, []byte(arrowlog.Continuation)):
		return formArrowStream, nil
	}
	text := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\ufeff")), " \t\r\n")
	if bytes.HasPrefix(text, []byte("{")) {
		return formJSON, nil
	}
	for _, b := range beginnings {
		if bytes.HasPrefix(text, []byte(b.mark)) {
			return "", fmt.Errorf("this looks like %s, and what is read here is CSV, JSON lines, Parquet and Arrow, plain or packed with gzip or zstd; %s", b.name, b.advice)
		}
	}
	return formCSV, nil
}
