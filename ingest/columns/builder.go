// Package columns builds the signals of a log from samples in the order in which they were
// written, and settles what only the whole log can tell: the type and the unit of each signal.
//
// The first value of a signal in order of time decides its type, and the first declaration
// and the first unit in order of time decide those; at equal times the one written last.
// Whatever contradicts is a bad row. Since rows may come in any order, a contradiction
// cannot be settled where it is met. The builder works in up to two readings:
//
//   - First it guesses: each signal takes the type of the first value that comes in. In a
//     log without a contradiction, nearly every log, the guess is right and all is done.
//   - At the first contradiction it drops the samples and surveys: the rest of the log is read
//     only for what comes first in time. Then Again is true, every source is read a second
//     time from its start, and each row is judged where it stands.
//
// So no order of rows changes the result, and what is in memory is the columns.
package columns

import (
	"bytes"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/units"
)

// Limits bound what one log may ask for. A field that is 0 has its default.
type Limits struct {
	Signals int   // signals of the log; 10 000
	Text    int   // bytes of one text value; 64 KiB
	Memory  int64 // bytes of all samples; 4 GiB. While a column is joined it is there twice.
}

func (l Limits) orDefault() Limits {
	if l.Signals == 0 {
		l.Signals = 10_000
	}
	if l.Text == 0 {
		l.Text = 64 << 10
	}
	if l.Memory == 0 {
		l.Memory = 4 << 30
	}
	return l
}

// Options say how a builder works.
type Options struct {
	SkipBadRows bool // count bad rows and go on, instead of ending at the first
	Limits      Limits
}

type mode uint8

const (
	guessing mode = iota
	surveying
	judging
)

// Builder takes samples and makes a log of them. It is used by one goroutine: Open for each
// source, Signal and Add (or Reject) for each row, and then, unless Again, Log.
type Builder struct {
	skip   bool
	limits Limits
	mode   mode

	files    []file // in order of reading
	allFiles []file // of the first reading
	lanes    map[string]*Lane
	columns  []*column
	names    map[string]*column
	memory   int64
	boot     int32 // of the samples to come

	bad     int // rows
	badAt   origin
	firstly []*BadRow
	added   int
}

// keptBadRows is how many bad rows are kept for the report.
const keptBadRows = 5

// New is an empty builder.
func New(o Options) *Builder {
	return &Builder{
		skip:   o.SkipBadRows,
		limits: o.Limits.orDefault(),
		lanes:  map[string]*Lane{},
		names:  map[string]*column{},
	}
}

// file is a source of rows.
type file struct {
	name string
	row  string // what a row is called: "line" of a text, "row" of a table
}

// Open says that the rows that follow are lines of the text of this name.
func (b *Builder) Open(name string) { b.open(file{name, "line"}) }

// OpenTable is Open for a file that is no text.
func (b *Builder) OpenTable(name string) { b.open(file{name, "row"}) }

func (b *Builder) open(f file) {
	b.files = append(b.files, f)
	b.boot = 0
}

// SetBoot says of which power-up the samples that follow are, in this source. It is 0 until
// it is set.
func (b *Builder) SetBoot(boot int32) { b.boot = boot }

// Lane is one spelling of a signal's name. "bus [V]" and "bus" are two lanes of one signal.
type Lane struct {
	column *column
	raw    string
	plain  bool // raw is the same in CSV as it is
	unit   string
	next   *Lane // the lane that was asked for after this one the last time

	first    mark // the sample that comes first in time
	class    cell.Class
	declared mark // the declared sample that comes first in time
	rule     rule
	barred   bool // its unit contradicts that of the signal

	row int // see Twice
}

// Twice reports whether it was called for this row already, the last time it was called. It
// is for readers of forms where a row may name a signal twice.
func (l *Lane) Twice(row int) bool {
	twice := l.row == row
	l.row = row
	return twice
}

// Name is the signal's name without its unit.
func (l *Lane) Name() string { return l.column.name }

// Signal is the lane of a signal's name, which may carry a unit. last is the lane of the
// sample before, or nil: signals tend to come in the same order again and again, which
// makes the lookup a comparison.
func (b *Builder) Signal(raw []byte, last *Lane) (*Lane, *Fault) {
	if last != nil && last.next != nil && string(raw) == last.next.raw {
		return last.next, nil
	}
	l, ok := b.lanes[string(raw)]
	if !ok {
		var f *Fault
		if l, f = b.newLane(string(raw)); f != nil {
			return nil, f
		}
	}
	if last != nil {
		last.next = l
	}
	return l, nil
}

// Known is the lane whose name stands at the start of text as it is, with the byte end behind
// it, and the length of the name; 0 if that is none which Signal has seen. last is as in
// Signal.
func (b *Builder) Known(text []byte, end byte, last *Lane) (*Lane, int) {
	if last != nil && last.next != nil {
		next := last.next
		if n := len(next.raw); n < len(text) && text[n] == end && string(text[:n]) == next.raw && next.plain {
			return next, n
		}
	}
	n := bytes.IndexByte(text, end)
	if n <= 0 {
		return nil, 0
	}
	l := b.lanes[string(text[:n])]
	if l == nil || !l.plain {
		return nil, 0
	}
	if last != nil {
		last.next = l
	}
	return l, n
}

func (b *Builder) newLane(raw string) (*Lane, *Fault) {
	if !utf8.ValidString(raw) {
		return nil, &Fault{What: "the name of the signal is not UTF-8", Advice: "write the file in UTF-8"}
	}
	name, unit := units.Split(raw)
	return b.addLane(raw, name, unit)
}

// joined is the text by which a signal of that name and unit is known, and whether a file can
// spell it so.
func joined(name, unit string) (text string, ok bool) {
	if text, ok = units.Join(name, unit); ok && utf8.ValidString(text) {
		return text, true
	}
	return name + "\xff" + unit, false // no text in a file, which is UTF-8
}

func (b *Builder) addLane(raw, name, unit string) (*Lane, *Fault) {
	if name == "" {
		return nil, &Fault{What: "the name of the signal is empty", Advice: "give it a name"}
	}
	if len(name) > schemas.MaxSignalName || len(raw) > 4*schemas.MaxSignalName {
		return nil, &Fault{
			What:   fmt.Sprintf("the name of the signal, %s, is longer than %d bytes", Quote([]byte(raw)), schemas.MaxSignalName),
			Advice: "shorten it",
		}
	}
	c := b.names[name]
	if c == nil && len(b.columns) >= b.limits.Signals || len(b.lanes) >= 4*b.limits.Signals {
		return nil, &Fault{
			What:   fmt.Sprintf("the log has more than %d signals", b.limits.Signals),
			Advice: "split it, or check that the signal column holds names and no values",
			Final:  true,
		}
	}
	if c == nil {
		c = &column{name: name}
		b.names[name] = c
		b.columns = append(b.columns, c)
	}
	l := &Lane{column: c, raw: raw, unit: unit, first: never, declared: never}
	l.plain = !strings.ContainsAny(raw, ",\"\r\n")
	c.lanes = append(c.lanes, l)
	b.lanes[raw] = l
	return l, nil
}

// Reject records that the row at that place is bad. When bad rows are skipped it returns
// nil, else the error to end with.
func (b *Builder) Reject(line, column int, field string, f *Fault) error {
	in := b.files[len(b.files)-1]
	row := &BadRow{File: in.name, row: in.row, Line: line, Column: column, Field: field, Fault: *f}
	if f.Final || !b.skip {
		return row
	}
	at := b.here(line)
	if at != b.badAt { // cells of one wide row count once
		b.bad++
	}
	b.badAt = at
	if len(b.firstly) < keptBadRows {
		b.firstly = append(b.firstly, row)
	}
	return nil
}

// RejectTable is the error to end with for what is wrong with a whole table.
func (b *Builder) RejectTable(f *Fault) error {
	return &BadRow{File: b.files[len(b.files)-1].name, Fault: *f}
}

// BadRows is how many rows were left out, and the first few of them.
func (b *Builder) BadRows() (n int, first []*BadRow) { return b.bad, b.firstly }

// Added is how many samples were taken so far in this reading, repeats of a time included.
func (b *Builder) Added() int { return b.added }

// Again reports, after all sources were read, whether they must be read once more, in the
// same order. It does so once at most.
func (b *Builder) Again() bool {
	if b.mode != surveying {
		return false
	}
	b.settle()
	b.mode = judging
	b.allFiles, b.files = b.files, nil
	b.firstly, b.bad, b.badAt, b.added = nil, 0, origin{}, 0
	return true
}

// Log is the log of the samples taken, normalized. The builder is of no use afterwards.
func (b *Builder) Log() *schemas.Log {
	log := &schemas.Log{}
	for _, c := range b.columns {
		if c.time.n > 0 {
			log.Signals = append(log.Signals, c.signal())
		}
	}
	log.Normalize()
	return log
}
