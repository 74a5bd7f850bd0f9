// Package csvlog reads and writes logs as CSV after RFC 4180, in two forms:
//
//	time_s,signal,value[,type[,boot]] long: one sample a row
//	time_s,NAME,NAME [unit],...       wide: one moment a row, an empty cell is no sample
//
// A column time_us of whole microseconds may stand in place of time_s. The text is UTF-8
// with or without a byte order mark; lines end in LF or CR LF. A row whose cells are all
// empty is no row. In the wide form each cell is a sample of its own: a bad one does not take
// its neighbours with it, only a bad time or a wrong number of fields costs the whole row.
//
// scanner.go cuts text into records, package cell reads cells, package columns builds the
// signals.
package csvlog

import (
	"errors"
	"fmt"
	"io"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
)

// DefaultMaxRow is the longest row in bytes unless told otherwise.
const DefaultMaxRow = 1 << 20

// Read feeds the rows of text to b, under the name file in errors. maxRow is the longest row
// in bytes, 0 for DefaultMaxRow. A longer one is a bad row.
//
// The error is a *columns.BadRow for what is wrong with the text, or wraps the one of
// the reader. Text that is cut short (io.ErrUnexpectedEOF) counts as a bad row at its
// end, so that who skips bad rows gets all whole rows before the cut.
func Read(text io.Reader, file string, b *columns.Builder, maxRow int) error {
	if maxRow == 0 {
		maxRow = DefaultMaxRow
	}
	b.Open(file)
	r := &reader{scanner: newScanner(text, maxRow), file: file, b: b}
	if err := r.readHeader(); err != nil {
		return err
	}
	return r.readRows()
}

const copyAgain = "copy it again from where it was recorded"

// reader is one file on its way into a builder.
type reader struct {
	*scanner
	header
	file string
	b    *columns.Builder
}

func (r *reader) readHeader() error {
	fields, column, err := r.record()
	if err != nil {
		return r.noHeader(column, err)
	}
	var fault *columns.Fault
	if r.header, fault = parseHeader(fields); fault != nil {
		return r.reject(0, fault)
	}
	return nil
}

func (r *reader) readRows() error {
	added := r.b.Added()
	bad, _ := r.b.BadRows()
	rows := r.wide
	if r.header.long {
		rows = r.long
	}
	if err := rows(); err != nil {
		return err
	}
	if now, _ := r.b.BadRows(); r.b.Added() == added && now == bad {
		return r.reject(0, &columns.Fault{
			What: "the file holds no samples, only a header", Advice: "check that the log was recorded", Final: true,
		})
	}
	return nil
}

// noHeader is the error for a file whose first record cannot be read.
func (r *reader) noHeader(column int, err error) error {
	fault := &columns.Fault{Advice: bothForms}
	switch {
	case err == io.EOF:
		fault.What = "the file is empty"
	case errors.Is(err, io.ErrUnexpectedEOF):
		fault.What, fault.Advice = "the file is cut short within its header", copyAgain
	case !errors.As(err, &fault):
		return r.stop(column, err)
	}
	return r.reject(column, &columns.Fault{What: fault.What, Advice: fault.Advice, Final: true})
}

// row is the next record that has as many fields as the header, and its time. At the end
// it returns io.EOF.
func (r *reader) row() (fields [][]byte, t int64, err error) {
	for {
		fields, column, err := r.record()
		if err == nil {
			fault := r.shape(fields)
			if fault == nil {
				if t, err = r.time(fields[0]); err == nil {
					return fields, t, nil
				}
				column, fault = 1, badTime(fields[0], err, r.titles[0])
			}
			if empty(fields) {
				continue
			}
			r.giveUp()
			err = fault
		}
		if err == io.EOF {
			return nil, 0, err
		}
		if err = r.stop(column, err); err != nil {
			return nil, 0, err
		}
	}
}

// stop is the error to end with after err, nil when err is a bad row that is skipped.
func (r *reader) stop(column int, err error) error {
	var fault *columns.Fault
	switch {
	case errors.As(err, &fault):
		return r.reject(column, fault)
	case !errors.Is(err, io.ErrUnexpectedEOF):
		return fmt.Errorf("%s, about line %d: %w", r.file, r.recordAt, err)
	}
	cut := &columns.Fault{What: "the file is cut short about here", Advice: copyAgain}
	if err := r.reject(0, cut); err != nil {
		return err
	}
	return io.EOF
}

// reject says that a column of the row is bad, or the whole row if column is 0.
func (r *reader) reject(column int, f *columns.Fault) error {
	title := ""
	if column > 0 && column <= len(r.titles) {
		title = r.titles[column-1]
	}
	return r.b.Reject(max(r.recordAt, 1), column, title, f)
}

func (r *reader) shape(fields [][]byte) *columns.Fault {
	if len(fields) == len(r.titles) {
		return nil
	}
	return &columns.Fault{
		What:   fmt.Sprintf("the row has %d fields where the header has %d", len(fields), len(r.titles)),
		Advice: "mend the row; a field that holds a comma needs quotation marks around it",
	}
}

func badTime(raw []byte, err error, title string) *columns.Fault {
	f := &columns.Fault{What: fmt.Sprintf("%s %s", columns.Quote(raw), err)}
	switch {
	case err == cell.ErrTimeSize:
		f.Advice = fmt.Sprintf("check that %s is in the unit its name says", title)
	case title == "time_us":
		f.Advice = "write whole microseconds such as 12345678"
	default:
		f.Advice = "write decimal seconds such as 12.345678"
	}
	return f
}

// empty reports whether there is nothing in any field, as in the rows that spreadsheets
// put at the end.
func empty(fields [][]byte) bool {
	for _, f := range fields {
		if len(f) > 0 {
			return false
		}
	}
	return true
}
