package table

import (
	"bytes"
	"fmt"
	"math"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/ingest/columns"
	"github.com/afterbell/afterbell/schemas"
)

// Taker feeds the rows of one table to a builder.
type Taker struct {
	*plan
	b         *columns.Builder
	described map[string]Described
	row       int // rows before those in hand
	added     int // samples of the builder before this table
	badRows   int

	us   []int64
	bad  []error // what is wrong with the time of each row, nil when nothing is
	last *columns.Lane

	lanes []*columns.Lane // of the value columns of a wide table
	names []name          // of the entries of the signal column in hand
	kinds map[string]declaration
}

// Described is what the metadata of a file say of a signal.
type Described struct {
	Unit string
	Kind schemas.Kind
}

type name struct {
	lane     *columns.Lane
	fault    *columns.Fault
	kind     schemas.Kind
	declared bool
}

type declaration struct {
	kind schemas.Kind
	ok   bool
}

// New begins a table with these columns, under the name file in errors. described holds the
// signals of which the file says unit and kind. The error is a *columns.BadRow.
func New(b *columns.Builder, file string, fields []Field, described map[string]Described) (*Taker, error) {
	b.OpenTable(file)
	t := &Taker{b: b, described: described, added: b.Added()}
	t.badRows, _ = b.BadRows()
	var fault *columns.Fault
	if t.plan, fault = planOf(fields); fault != nil {
		return nil, b.RejectTable(fault)
	}
	if !t.long {
		return t, t.wideLanes()
	}
	return t, nil
}

// Wanted reports whether the column of field i is needed; others may be left Null.
func (t *Taker) Wanted(i int) bool { return t.wanted(i) }

// TimeField is the index of the column of times.
func (t *Taker) TimeField() int { return t.time }

// Ignored are the names of columns that mean nothing, the first few.
func (t *Taker) Ignored() []string { return t.ignored }

// Row is how many rows were taken so far.
func (t *Taker) Row() int { return t.row }

// Close says so when there was no sample in the table.
func (t *Taker) Close() error {
	if now, _ := t.b.BadRows(); t.b.Added() == t.added && now == t.badRows {
		return t.b.RejectTable(&columns.Fault{What: "the table holds no samples", Advice: "check that the log was recorded", Final: true})
	}
	return nil
}

// CutShort says that the rows end here although more should follow. It returns nil when bad
// rows are skipped.
func (t *Taker) CutShort() error {
	return t.b.Reject(t.row+1, 0, "", &columns.Fault{What: "the file is cut short about here", Advice: "copy it again from where it was recorded"})
}

// Add takes the next rows; cols has a column for each field. What it is given is not kept.
func (t *Taker) Add(rows int, cols []Column) error {
	for i := range cols {
		c, f := &cols[i], t.fields[i]
		switch {
		case !c.fits(rows):
			return fmt.Errorf("%s has another length than its table", place(i, f.Name))
		case c.Type == Null || c.Type == f.Type:
		case f.Type == Int && c.Type == Float && i != t.boot && i != t.asInt: // beyond int64
		default:
			return t.reject(0, i, &columns.Fault{What: "there are integers beyond int64", Advice: "write them as numbers of another type", Final: true})
		}
	}
	t.times(&cols[t.time], rows)
	var err error
	if t.long {
		err = t.addLong(rows, cols)
	} else {
		err = t.addWide(rows, cols)
	}
	t.row += rows
	return err
}

func (t *Taker) reject(row, field int, f *columns.Fault) error {
	if field == none {
		return t.b.Reject(t.row+row+1, 0, "", f)
	}
	return t.b.Reject(t.row+row+1, field+1, t.fields[field].Name, f)
}

// wideLanes are the signals of a wide table.
func (t *Taker) wideLanes() error {
	seen := map[string]int{}
	for _, i := range t.values {
		f := t.fields[i]
		if f.Unusable != "" {
			return t.b.RejectTable(&columns.Fault{
				What:   fmt.Sprintf("%s holds %s", place(i, f.Name), f.Unusable),
				Advice: "leave it out, or write it as numbers, true and false, or text", Final: true,
			})
		}
		lane, fault := t.b.Signal([]byte(f.Name), nil)
		if fault != nil {
			return t.b.RejectTable(&columns.Fault{What: fmt.Sprintf("column %d: %s", i+1, fault.What), Advice: fault.Advice, Final: true})
		}
		if j, twice := seen[lane.Name()]; twice {
			return t.b.RejectTable(&columns.Fault{
				What:   fmt.Sprintf("%s: the name is that of column %d already", place(i, f.Name), j+1),
				Advice: "give each column its own name; the unit is no part of it", Final: true,
			})
		}
		seen[lane.Name()] = i
		t.lanes = append(t.lanes, lane)
	}
	return nil
}

// addWide takes whole columns where nothing can be wrong with them, and the others row by
// row, so that the cells of one bad row count once.
func (t *Taker) addWide(rows int, cols []Column) error {
	left := make([]int, 0, len(t.values))
	for k, i := range t.values {
		c := &cols[i]
		if c.Type == Null {
			continue
		}
		if t.bad == nil && c.Valid == nil && c.Type != Text {
			taken, fault := t.b.AddRun(t.lanes[k], t.run(c, 0, rows))
			if fault != nil {
				return t.reject(0, i, fault)
			}
			if taken {
				continue
			}
		}
		left = append(left, k)
	}
	if len(left) == 0 && t.bad == nil {
		return nil
	}
	var v cell.Value
	for row := range rows {
		if fault := t.timeFault(row, &cols[t.time]); fault != nil {
			if !t.emptyRow(row, cols) {
				if err := t.reject(row, t.time, fault); err != nil {
					return err
				}
			}
			continue
		}
		for _, k := range left {
			c := &cols[t.values[k]]
			if !c.has(row) {
				continue
			}
			c.cell(row, &v)
			if fault := t.b.Add(t.lanes[k], t.row+row+1, t.us[row], &v); fault != nil {
				if err := t.reject(row, t.values[k], fault); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// emptyRow reports whether there is nothing at all in a row, as some programs leave at the end.
func (t *Taker) emptyRow(row int, cols []Column) bool {
	for i := range cols {
		if cols[i].has(row) {
			return false
		}
	}
	return true
}

// run is rows i up to j of a column as a run of samples.
func (t *Taker) run(c *Column, i, j int) *columns.Run {
	r := &columns.Run{Row: t.row + i + 1, Time: t.us[i:j]}
	switch c.Type {
	case Float:
		r.Class, r.Floats = cell.Float, c.Floats[i:j]
	case Int:
		r.Class, r.Ints = cell.Int, c.Ints[i:j]
	case Bool:
		r.Class, r.Bools = cell.Bool, c.Bools[i:j]
	}
	return r
}

// worthRun is how many samples make a run worth its while.
const worthRun = 16

// addLong takes the rows of a long table: runs of one signal at once where nothing can be
// wrong with them, the rest one by one.
func (t *Taker) addLong(rows int, cols []Column) error {
	signals := &cols[t.signal]
	t.nameEntries(signals)
	for row := 0; row < rows; {
		end := row + 1
		if t.bad == nil && signals.has(row) {
			if c, boot := t.runnable(row, cols); c != nil {
				end = t.runEnd(row, rows, c, cols)
				if end-row >= worthRun {
					taken, err := t.addRun(row, end, c, boot, cols)
					if err != nil {
						return err
					}
					if taken {
						row = end
						continue
					}
				}
			}
		}
		for ; row < end; row++ {
			if at, fault := t.addRow(row, cols); fault != nil {
				if err := t.reject(row, at, fault); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// runnable is the column with the value of a row, if the row is of the usual shape, and its
// power-up.
func (t *Taker) runnable(row int, cols []Column) (*Column, int32) {
	if t.kind >= 0 && cols[t.kind].has(row) {
		return nil, 0
	}
	i, fault := t.source(row, cols)
	if fault != nil || i == none || cols[i].Type == Text {
		return nil, 0
	}
	boot, fault := t.bootOf(row, cols)
	if fault != nil {
		return nil, 0
	}
	return &cols[i], boot
}

// runEnd is where the rows end that are like row: of the same signal and power-up, with the
// value in column c.
func (t *Taker) runEnd(row, rows int, c *Column, cols []Column) int {
	signals := &cols[t.signal]
	end := row + 1
	for ; end < rows; end++ {
		switch {
		case !signals.has(end):
			return end
		case signals.IDs != nil && signals.IDs[end] != signals.IDs[row]:
			return end
		case signals.IDs == nil && !bytes.Equal(signals.Entries[end], signals.Entries[row]):
			return end
		case t.kind >= 0 && cols[t.kind].has(end):
			return end
		case t.boot >= 0 && !sameInt(&cols[t.boot], row, end):
			return end
		}
		if i, fault := t.source(end, cols); fault != nil || i == none || &cols[i] != c {
			return end
		}
	}
	return end
}

func sameInt(c *Column, i, j int) bool {
	if c.has(i) != c.has(j) {
		return false
	}
	return !c.has(i) || c.Ints[i] == c.Ints[j]
}

func (t *Taker) addRun(row, end int, c *Column, boot int32, cols []Column) (taken bool, err error) {
	n := t.nameOf(row, &cols[t.signal])
	if n.fault != nil {
		return false, nil
	}
	run := t.run(c, row, end)
	if n.declared {
		run.Declared, run.Kind = true, n.kind
		if !natural(c.Type, n.kind) {
			return false, nil
		}
	}
	t.b.SetBoot(boot)
	taken, fault := t.b.AddRun(n.lane, run)
	if fault != nil {
		return false, t.reject(row, none, fault)
	}
	return taken, nil
}

// natural reports whether a column of that type holds values of that kind as they are.
func natural(t Type, k schemas.Kind) bool {
	return t == Float && k == schemas.Float64 || t == Int && k == schemas.Int64 || t == Bool && k == schemas.Bool
}

// addRow takes one row. at is the column where the fault is.
func (t *Taker) addRow(row int, cols []Column) (at int, fault *columns.Fault) {
	if fault := t.timeFault(row, &cols[t.time]); fault != nil {
		if t.emptyRow(row, cols) {
			return none, nil
		}
		return t.time, fault
	}
	i, fault := t.source(row, cols)
	if fault != nil || i == none {
		return none, fault
	}
	if !cols[t.signal].has(row) {
		return t.signal, &columns.Fault{What: "there is no name of a signal", Advice: "give every row one"}
	}
	n := t.nameOf(row, &cols[t.signal])
	if n.fault != nil {
		return t.signal, n.fault
	}
	boot, fault := t.bootOf(row, cols)
	if fault != nil {
		return t.boot, fault
	}
	kind, declared := n.kind, n.declared
	if t.kind >= 0 && cols[t.kind].has(row) {
		if written := cols[t.kind].text(row); len(written) > 0 {
			if kind, declared = t.kindOf(written); !declared {
				return t.kind, &columns.Fault{What: columns.Quote(written) + " is not a type", Advice: "write float64, int64, bool or text, or nothing"}
			}
		}
	}
	var v cell.Value
	cols[i].cell(row, &v)
	if i == t.value && v.Class == cell.Text {
		v.Read(v.Raw)
	}
	t.b.SetBoot(boot)
	line := t.row + row + 1
	if declared {
		fit(&v, kind)
		fault = t.b.AddDeclared(n.lane, line, t.us[row], &v, kind)
	} else {
		fault = t.b.Add(n.lane, line, t.us[row], &v)
	}
	if fault == nil {
		return none, nil
	}
	switch fault.Part {
	case columns.InName:
		i = t.signal
	case columns.InType:
		if t.kind >= 0 {
			i = t.kind
		}
	}
	return i, fault
}

// source is the column that holds the value of a row, none if there is no value.
func (t *Taker) source(row int, cols []Column) (int, *columns.Fault) {
	at := none
	for _, i := range [...]int{t.value, t.asInt, t.asBool, t.asText} {
		if i == none || !cols[i].has(row) {
			continue
		}
		if at != none && (at != t.value || i == t.asText) {
			return none, &columns.Fault{
				What:   fmt.Sprintf("the row has both %s and %s", t.fields[at].Name, t.fields[i].Name),
				Advice: "leave one of them null",
			}
		}
		at = i
	}
	return at, nil
}

// fit turns a number into a value of the declared kind if it is one: tables of this program
// hold bool as 0 and 1.
func fit(v *cell.Value, k schemas.Kind) {
	switch {
	case k == schemas.Int64 && v.Class == cell.Float && v.Raw == nil && v.Float == math.Trunc(v.Float) && math.Abs(v.Float) < 1<<53:
		*v = cell.Value{Class: cell.Int, Int: int64(v.Float)}
	case k == schemas.Bool && v.Class == cell.Float && v.Raw == nil && (v.Float == 0 || v.Float == 1):
		*v = cell.Value{Class: cell.Bool, Int: int64(v.Float)}
	case k == schemas.Bool && v.Class == cell.Int && v.Raw == nil && (v.Int == 0 || v.Int == 1):
		v.Class = cell.Bool
	}
}

func (t *Taker) bootOf(row int, cols []Column) (int32, *columns.Fault) {
	if t.boot == none || !cols[t.boot].has(row) {
		return 0, nil
	}
	n := cols[t.boot].Ints[row]
	if n != int64(int32(n)) {
		return 0, &columns.Fault{What: fmt.Sprintf("%d is not the number of a power-up", n), Advice: "write an integer from -2^31 to 2^31-1"}
	}
	return int32(n), nil
}

func (t *Taker) kindOf(written []byte) (schemas.Kind, bool) {
	d, known := t.kinds[string(written)]
	if !known {
		d.kind, d.ok = schemas.ParseKind(string(bytes.TrimSpace(written)))
		if t.kinds == nil {
			t.kinds = map[string]declaration{}
		}
		if len(t.kinds) < 64 { // beyond, it is no column of types
			t.kinds[string(written)] = d
		}
	}
	return d.kind, d.ok
}

// nameEntries forgets the names of the rows before.
func (t *Taker) nameEntries(signals *Column) {
	t.names = t.names[:0]
	if signals.IDs != nil {
		t.names = resize(t.names, len(signals.Entries))
		clear(t.names)
	}
}

// nameOf is the signal of a row that has one.
func (t *Taker) nameOf(row int, signals *Column) name {
	if signals.IDs == nil {
		return t.lookUp(signals.Entries[row])
	}
	n := &t.names[signals.IDs[row]]
	if n.lane == nil && n.fault == nil {
		*n = t.lookUp(signals.Entries[signals.IDs[row]])
	}
	return *n
}

func (t *Taker) lookUp(raw []byte) (n name) {
	if d, ok := t.described[string(raw)]; ok {
		n.lane, n.fault = t.b.Named(string(raw), d.Unit)
		n.kind, n.declared = d.Kind, true
		return n
	}
	n.lane, n.fault = t.b.Signal(raw, t.last)
	if n.fault == nil {
		t.last = n.lane
	}
	return n
}
