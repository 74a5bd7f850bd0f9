// Package jsonlog reads and writes logs as JSON lines: one JSON object (RFC 8259) a line, in
// two forms that one file may mix:
//
//	{"time_s":1.25,"signal":"power/voltage [V]","value":11.9}     long: one sample
//	{"time_s":1.25,"power/voltage [V]":11.9,"robot/mode":"driver"} wide: one moment
//
// A line is long when it has "signal" and a value, or a "signal" that is a string. Besides,
// it may have "type" (float64, int64, bool or text), "boot" (the number of the power-up), and in place of
// "value" one of "value_int", "value_bool" and "value_text", as our tables have; members
// that mean nothing here are left out and named in the result of Read. In a wide line every member but the time
// is a signal. In both, "time_us" in whole microseconds may stand for "time_s"; null is no sample.
//
// A number is float64 also without a point, unless its signal is declared int64. NaN and
// infinities are the strings "nan", "inf" and "-inf" in any case, an integer of an int64 signal may be
// a string; in a signal of text all three are text. Of two members of one name the last
// counts, and a lone surrogate is U+FFFD, as encoding/json has it.
//
// lines.go cuts text into lines. again.go takes those that are like one before but for their
// values, usual.go takes apart what nearly all others look like, general.go the rest with
// encoding/json; take.go makes samples of what the latter two found.
package jsonlog

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
)

// DefaultMaxRow is the longest line in bytes unless told otherwise.
const DefaultMaxRow = 1 << 20

// Read feeds the lines of text to b, under the name file in errors. maxRow is the longest
// line in bytes, 0 for DefaultMaxRow; a longer one is a bad row. ignored are the names of
// members of long lines that mean nothing here, the first few in order of name.
//
// The error is a *columns.BadRow for what is wrong with the text, or wraps the one of the
// reader. Text that is cut short (io.ErrUnexpectedEOF) counts as a bad row at its end.
func Read(text io.Reader, file string, b *columns.Builder, maxRow int) (ignored []string, err error) {
	return read(text, file, b, maxRow, true)
}

func read(text io.Reader, file string, b *columns.Builder, maxRow int, usual bool) ([]string, error) {
	if maxRow == 0 {
		maxRow = DefaultMaxRow
	}
	b.Open(file)
	r := &reader{lines: newLines(text, maxRow), file: file, b: b, usual: usual}
	if err := r.rows(); err != nil {
		return nil, err
	}
	return slices.Sorted(maps.Keys(r.ignored)), nil
}

// reader is one file on its way into a builder.
type reader struct {
	*lines
	file      string
	b         *columns.Builder
	usual     bool // try the short way first
	members   []member
	patterns  [2]pattern    // of the lines before
	again     member        // its value, in a line like one before
	found     parts         // the members that mean something
	current   []byte        // the line they are of
	fromUsual bool          // the short way found them
	last      *columns.Lane // of the sample before
	ignored   map[string]bool
}

// member is one member of the object in hand.
type member struct {
	key    []byte // as it stands, without escapes; shares memory with the line
	at     int    // where its value begins in the line
	end    int    // and where it ends, if the short way found it
	shape  shape
	isTime bool
	value  cell.Value    // of a number, string or bool
	lane   *columns.Lane // of a wide line
}

// shape is what a value is in JSON.
type shape uint8

const (
	isNull shape = iota
	isNumber
	isString
	isBool
	isNested // an array or object
)

func (r *reader) rows() error {
	added := r.b.Added()
	bad, _ := r.b.BadRows()
	for {
		line, err := r.line()
		var fault *columns.Fault
		switch {
		case err == io.EOF:
			if now, _ := r.b.BadRows(); r.b.Added() == added && now == bad {
				return r.reject(0, "", &columns.Fault{What: "the file holds no samples", Advice: "check that the log was recorded", Final: true})
			}
			return nil
		case errors.As(err, &fault):
			if err := r.reject(0, "", fault); err != nil {
				return err
			}
			continue
		case errors.Is(err, io.ErrUnexpectedEOF):
			// The next call returns io.EOF, and what was whole is kept.
			if err := r.reject(0, "", &columns.Fault{What: "the file is cut short about here", Advice: "copy it again from where it was recorded"}); err != nil {
				return err
			}
			r.err = io.EOF
			r.pos = r.end
			continue
		case err != nil:
			return fmt.Errorf("%s, about line %d: %w", r.file, r.lineAt, err)
		}
		if r.usual && r.sampleAgain(line) {
			continue
		}
		r.current = line
		if r.fromUsual = r.usual && r.usualLine(line); !r.fromUsual {
			at, fault := r.generalLine(line)
			if fault != nil {
				if err := r.reject(at+1, "", fault); err != nil {
					return err
				}
				continue
			}
		}
		if err := r.take(); err != nil {
			return err
		}
	}
}

// reject says that what begins at that column of the line, counted from 1 in bytes, is bad,
// or the whole line if column is 0.
func (r *reader) reject(column int, field string, f *columns.Fault) error {
	return r.b.Reject(max(r.lineAt, 1), column, field, f)
}

// rejectMember says that the value of a member is bad.
func (r *reader) rejectMember(m *member, f *columns.Fault) error {
	return r.reject(m.at+1, string(m.key), f)
}
