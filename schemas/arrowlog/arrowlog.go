// Package arrowlog writes a log as an Arrow IPC file or stream in long form, for other
// programs. Package ingest/arrowlog reads both, and those that others wrote.
package arrowlog

import (
	"errors"
	"fmt"
	"io"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/longform"
)

// Columns of the file, in order.
const (
	colSignal = iota
	colBoot
	colTime
	colValue
	colInt
	colBool
	colText
)

// form is what this form is called in errors.
const form = "Arrow"

// batchRows is how many samples one record batch holds at most.
const batchRows = 1 << 16

// Schema is the schema of the file: a row a sample. value is the sample as a number, also
// for int64 and bool, and null for text; of the other value columns the one of the
// signal's kind is not null, none for float64.
func Schema() *arrow.Schema {
	return arrow.NewSchema([]arrow.Field{
		{Name: "signal", Type: arrow.BinaryTypes.String},
		{Name: "boot", Type: arrow.PrimitiveTypes.Int32},
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
		{Name: "value", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "value_int", Type: arrow.PrimitiveTypes.Int64, Nullable: true},
		{Name: "value_bool", Type: arrow.FixedWidthTypes.Boolean, Nullable: true},
		{Name: "value_text", Type: arrow.BinaryTypes.String, Nullable: true},
	}, nil)
}

// Write writes log as an Arrow IPC file, signals and samples in the order they have in the
// log. A unit rides on the name in brackets, as it does in text ("bus voltage [V]"), so
// that importing the file again gives the same signals. The log must be normalized.
func Write(w io.Writer, log *schemas.Log) error {
	return write("file", log, func() (batchWriter, error) {
		return ipc.NewFileWriter(&positioned{w: w}, ipc.WithSchema(Schema()))
	})
}

// WriteStream is Write for an Arrow IPC stream, which needs no end to be read.
func WriteStream(w io.Writer, log *schemas.Log) error {
	return write("stream", log, func() (batchWriter, error) { return ipc.NewWriter(w, ipc.WithSchema(Schema())), nil })
}

// batchWriter is what the library's two writers have in common.
type batchWriter interface {
	Write(arrow.Record) error
	Close() error
}

// write writes nothing when a name or text cannot be written.
func write(what string, log *schemas.Log, begin func() (batchWriter, error)) error {
	err := longform.Check(log, form)
	if err == nil {
		var out batchWriter
		if out, err = begin(); err == nil {
			err = writeTo(out, log)
		}
	}
	if err != nil {
		return fmt.Errorf("writing an Arrow %s: %w", what, err)
	}
	return nil
}

func writeTo(out batchWriter, log *schemas.Log) error {
	b := array.NewRecordBuilder(memory.DefaultAllocator, Schema())
	defer b.Release()
	flush := func() error {
		rec := b.NewRecord()
		defer rec.Release()
		return out.Write(rec)
	}
	rows := 0
	for _, s := range log.Signals {
		title, err := longform.Title(s, form)
		if err != nil {
			return err
		}
		for i := 0; i < s.Len(); {
			n := min(s.Len()-i, batchRows-rows)
			appendRows(b, title, s.Slice(i, i+n))
			i, rows = i+n, rows+n
			if rows == batchRows {
				if err := flush(); err != nil {
					return err
				}
				rows = 0
			}
		}
	}
	if rows > 0 {
		if err := flush(); err != nil {
			return err
		}
	}
	return out.Close()
}

// positioned is a writer that knows how far it has come, which the library asks of a file
// by seeking to where it is.
type positioned struct {
	w  io.Writer
	at int64
}

func (p *positioned) Write(b []byte) (int, error) {
	n, err := p.w.Write(b)
	p.at += int64(n)
	return n, err
}

func (p *positioned) Seek(offset int64, whence int) (int64, error) {
	if offset != 0 || whence != io.SeekCurrent {
		return 0, errors.New("seek in a stream")
	}
	return p.at, nil
}

func appendRows(b *array.RecordBuilder, title string, s *schemas.Signal) {
	n := s.Len()
	signal, boot := b.Field(colSignal).(*array.StringBuilder), b.Field(colBoot).(*array.Int32Builder)
	signal.Reserve(n)
	for i := range n {
		signal.Append(title)
		boot.Append(s.BootAt(i))
	}
	b.Field(colTime).(*array.Int64Builder).AppendValues(s.Time, nil)
	value := b.Field(colValue).(*array.Float64Builder)
	switch s.Kind {
	case schemas.Float64:
		value.AppendValues(s.Float, nil)
	case schemas.Text:
		value.AppendNulls(n)
	default:
		for i := range n {
			value.Append(s.Number(i))
		}
	}
	ints, bools, texts := b.Field(colInt).(*array.Int64Builder), b.Field(colBool).(*array.BooleanBuilder), b.Field(colText).(*array.StringBuilder)
	if s.Kind == schemas.Int64 {
		ints.AppendValues(s.Int, nil)
	} else {
		ints.AppendNulls(n)
	}
	if s.Kind == schemas.Bool {
		bools.AppendValues(s.Bool, nil)
	} else {
		bools.AppendNulls(n)
	}
	if s.Kind == schemas.Text {
		texts.AppendValues(s.Text, nil)
	} else {
		texts.AppendNulls(n)
	}
}
