package traces

import (
	"encoding/json"
	"fmt"
	"io"
	"sort"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/arrow/memory"

	"github.com/afterbell/afterbell/schemas"
)

// MetaWindow is the key of the schema's metadata that holds a WindowHead as JSON.
const MetaWindow = "afterbell.window"

// WindowHead says what the record batches of a window hold: one for each signal, in order.
type WindowHead struct {
	FromUS  int64          `json:"from_us"`
	ToUS    int64          `json:"to_us"`
	Columns int            `json:"columns"`
	Signals []WindowSignal `json:"signals"`
}

// WindowSignal is one signal of a window.
type WindowSignal struct {
	Name    string `json:"name"`
	Unit    string `json:"unit"`
	Type    string `json:"type"`
	Samples int    `json:"samples"` // in the stretch, those without a reading too
	Whole   bool   `json:"whole"`   // no reading of the stretch is left out
}

const (
	colTime = iota
	colValue
	colText
	colBroken
	colLeft
)

func windowSchema(head WindowHead) (*arrow.Schema, error) {
	text, err := json.Marshal(head)
	if err != nil {
		return nil, err
	}
	meta := arrow.NewMetadata([]string{MetaWindow}, []string{string(text)})
	return arrow.NewSchema([]arrow.Field{
		{Name: "time_us", Type: arrow.PrimitiveTypes.Int64},
		{Name: "value", Type: arrow.PrimitiveTypes.Float64, Nullable: true},
		{Name: "text", Type: arrow.BinaryTypes.String, Nullable: true},
		{Name: "broken", Type: arrow.FixedWidthTypes.Boolean},
		{Name: "left_out", Type: arrow.PrimitiveTypes.Uint32},
	}, &meta), nil
}

// WriteWindow writes a stretch of signals, cut into pixel columns, as an Arrow IPC stream:
// log time in microseconds, numbers with what package pyramid keeps of each column, and text
// as a row for each change, with how many changes that follow it are left out.
func WriteWindow(w io.Writer, all []*Trace, t0, t1 int64, columns int) error {
	head := WindowHead{FromUS: t0, ToUS: t1, Columns: columns, Signals: []WindowSignal{}}
	records := make([]func(*array.RecordBuilder), len(all))
	for i, t := range all {
		var of WindowSignal
		of, records[i] = t.window(t0, t1, columns)
		head.Signals = append(head.Signals, of)
	}
	schema, err := windowSchema(head)
	if err != nil {
		return err
	}
	out := ipc.NewWriter(w, ipc.WithSchema(schema))
	b := array.NewRecordBuilder(memory.DefaultAllocator, schema)
	defer b.Release()
	for _, fill := range records {
		fill(b)
		rec := b.NewRecord()
		err := out.Write(rec)
		rec.Release()
		if err != nil {
			return fmt.Errorf("writing a window: %w", err)
		}
	}
	return out.Close()
}

// window is what a window says of one signal, and what fills its record batch.
func (t *Trace) window(t0, t1 int64, columns int) (WindowSignal, func(*array.RecordBuilder)) {
	of := WindowSignal{Name: t.Info.Name, Unit: t.Info.Unit, Type: t.Info.Kind.String(), Whole: true}
	if t.Labels != nil {
		at, left := t.Labels.Window(t0, t1, columns)
		first, behind := stretch(t.Line.T, t0, t1)
		of.Samples = behind - first
		for _, n := range left {
			of.Whole = of.Whole && n == 0
		}
		return of, func(b *array.RecordBuilder) {
			for i, k := range at {
				row(b, t.Labels.From[k], false, left[i])
				b.Field(colValue).AppendNull()
				b.Field(colText).(*array.StringBuilder).Append(t.Labels.Text[k])
			}
		}
	}
	win := t.pyramid.Window(t0, t1, columns)
	of.Samples = win.Behind - win.First
	inside := 0
	for _, k := range win.At {
		if k >= win.First && k < win.Behind {
			inside++
		}
	}
	of.Whole = inside == of.Samples
	return of, func(b *array.RecordBuilder) {
		b.Reserve(len(win.At))
		value, text := b.Field(colValue).(*array.Float64Builder), b.Field(colText).(*array.StringBuilder)
		for i, k := range win.At {
			row(b, t.Line.T[k], win.Broken[i], 0)
			value.Append(t.Line.V[k])
		}
		text.AppendNulls(len(win.At))
	}
}

func row(b *array.RecordBuilder, at int64, broken bool, left int) {
	b.Field(colTime).(*array.Int64Builder).Append(at)
	b.Field(colBroken).(*array.BooleanBuilder).Append(broken)
	b.Field(colLeft).(*array.Uint32Builder).Append(uint32(left))
}

// stretch is which of the times lie from t0 to t1.
func stretch(T []int64, t0, t1 int64) (first, behind int) {
	return sort.Search(len(T), func(i int) bool { return T[i] >= t0 }), sort.Search(len(T), func(i int) bool { return T[i] > t1 })
}

// Value is a signal at a moment: its last sample there or before. Exactly one of the
// pointers is set, none when nothing is known: no sample before, or one without a reading,
// or too old a sample of a signal that is read steadily.
type Value struct {
	TimeUS *int64
	Number *float64
	Text   *string
}

// At is the signal at a moment of log time.
func (t *Trace) At(us int64) Value {
	if t.Labels != nil {
		if k := t.Labels.Holds(us); k >= 0 {
			return Value{TimeUS: &t.Labels.From[k], Text: &t.Labels.Text[k]}
		}
		return Value{}
	}
	k := sort.Search(len(t.Line.T), func(i int) bool { return t.Line.T[i] > us }) - 1
	if k < 0 || t.Line.Gap > 0 && us-t.Line.T[k] > t.Line.Gap || us > t.Line.T[len(t.Line.T)-1]+max(t.Line.Gap, 250_000) {
		return Value{}
	}
	v := t.Line.V[k]
	if v-v != 0 { // NaN and infinities are no readings
		return Value{}
	}
	return Value{TimeUS: &t.Line.T[k], Number: schemas.Some(v)}
}
