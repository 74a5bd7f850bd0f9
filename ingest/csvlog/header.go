package csvlog

import (
	"bytes"
	"fmt"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
)

// header is what the first record says about all others.
type header struct {
	time     func([]byte) (int64, error)    // reads the first column
	scanTime func([]byte) (us int64, n int) // the same for the usual way
	long     bool
	typed    bool     // long, with a column of types
	boots    bool     // long, with a column of power-ups
	titles   []string // names of the columns as written
}

const bothForms = "begin a long file with time_s,signal,value (and type if you like), a wide one with time_s,NAME,NAME"

// parseHeader tells the two forms apart. A long file may have a fifth column, boot: the number
// of the power-up, 0 where it is empty, as the export of a log of several has it. Blanks around time_s, signal, value and type do
// not count.
func parseHeader(fields [][]byte) (header, *columns.Fault) {
	h := header{}
	if loneCR(fields) {
		return h, &columns.Fault{What: "lines end in CR alone", Advice: "save the file with LF or CR LF at the ends of lines", Final: true}
	}
	for _, f := range fields {
		h.titles = append(h.titles, string(bytes.TrimSpace(f)))
	}
	switch h.titles[0] {
	case "time_s":
		h.time, h.scanTime = cell.Seconds, cell.ScanSeconds
	case "time_us":
		h.time, h.scanTime = cell.Micros, cell.ScanMicros
	default:
		return h, noHeader(fields)
	}
	signal, value := index(h.titles, "signal"), index(h.titles, "value")
	switch n := len(h.titles); {
	case n == 1:
		return h, &columns.Fault{What: fmt.Sprintf("the header holds only %s", h.titles[0]), Advice: bothForms, Final: true}
	case signal < 0 || value < 0:
		return h, nil // wide
	case signal != 1 || value != 2 || n > 5 || n > 3 && h.titles[3] != "type" || n == 5 && h.titles[4] != "boot":
		// Read as wide, this would turn names and values into signals without a word.
		return h, &columns.Fault{
			What:   fmt.Sprintf("the header %s holds signal and value, but is not time_s,signal,value or time_s,signal,value,type", quoteRecord(fields)),
			Advice: "put these columns first, in this order, and leave out others",
			Final:  true,
		}
	default:
		h.long, h.typed, h.boots = true, n > 3, n == 5
		return h, nil
	}
}

// noHeader says what a first record that is no header looks like.
func noHeader(fields [][]byte) *columns.Fault {
	line := bytes.Join(fields, []byte{','})
	f := &columns.Fault{Final: true, Advice: bothForms}
	var v cell.Value
	switch v.Read(fields[0]); {
	case bytes.IndexByte(line, 0) >= 0:
		f.What = "the file holds binary data"
		f.Advice = "give a CSV file; " + bothForms
	case len(fields) == 1 && bytes.IndexByte(line, ';') >= 0:
		f.What = fmt.Sprintf("the header %s is separated by semicolons", quoteRecord(fields))
		f.Advice = "save the file with commas between the columns and points for decimals"
	case len(fields) == 1 && bytes.IndexByte(line, '\t') >= 0:
		f.What = fmt.Sprintf("the header %s is separated by tabs", quoteRecord(fields))
		f.Advice = "save the file with commas between the columns"
	case v.Class == cell.Int || v.Class == cell.Float:
		f.What = fmt.Sprintf("the first row, %s, holds values where the header should be", quoteRecord(fields))
	default:
		f.What = fmt.Sprintf("the header %s begins with neither time_s nor time_us", quoteRecord(fields))
	}
	return f
}

// loneCR reports whether a CR without LF is in the record: then what looks like the header is
// the whole file, with line ends this reader does not take for such.
func loneCR(fields [][]byte) bool {
	for _, f := range fields {
		if bytes.Count(f, []byte("\r")) > bytes.Count(f, []byte("\r\n")) {
			return true
		}
	}
	return false
}

func quoteRecord(fields [][]byte) string { return columns.Quote(bytes.Join(fields, []byte{','})) }

func index(fields []string, name string) int {
	for i, f := range fields {
		if f == name {
			return i
		}
	}
	return -1
}
