package traces

import (
	"encoding/json"
	"fmt"
	"io"
	"sort"
	"sync"

	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/bitutil"
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
	head := WindowHead{FromUS: t0, ToUS: t1, Columns: columns, Signals: make([]WindowSignal, len(all))}
	found := make([]rows, len(all))
	var wg sync.WaitGroup
	for i, t := range all {
		wg.Go(func() { head.Signals[i], found[i] = t.window(t0, t1, columns) })
	}
	wg.Wait()
	schema, err := windowSchema(head)
	if err != nil {
		return err
	}
	out := ipc.NewWriter(w, ipc.WithSchema(schema))
	for _, r := range found {
		rec := r.record(schema)
		err := out.Write(rec)
		rec.Release()
		if err != nil {
			return fmt.Errorf("writing a window: %w", err)
		}
	}
	return out.Close()
}

// rows are what a window holds of one signal, a place in each list for each row. Text and left
// are nil of numbers, values of text.
type rows struct {
	at     []int64
	values []float64
	text   []string
	broken []bool
	left   []int
}

// window is what a window says of one signal, and its rows.
func (t *Trace) window(t0, t1 int64, columns int) (WindowSignal, rows) {
	of := WindowSignal{Name: t.Info.Name, Unit: t.Info.Unit, Type: t.Info.Kind.String(), Whole: true}
	if t.Labels != nil {
		at, left := t.Labels.Window(t0, t1, columns)
		first, behind := stretch(t.Line.T, t0, t1)
		of.Samples = behind - first
		r := rows{at: make([]int64, len(at)), text: make([]string, len(at)), broken: make([]bool, len(at)), left: left}
		for i, k := range at {
			of.Whole = of.Whole && left[i] == 0
			r.at[i], r.text[i] = t.Labels.From[k], t.Labels.Text[k]
		}
		return of, r
	}
	win := t.pyramid.Window(t0, t1, columns)
	of.Samples = win.Behind - win.First
	inside := 0
	r := rows{at: make([]int64, len(win.At)), values: make([]float64, len(win.At)), broken: win.Broken}
	for i, k := range win.At {
		if k >= win.First && k < win.Behind {
			inside++
		}
		r.at[i], r.values[i] = t.Line.T[k], t.Line.V[k]
	}
	of.Whole = inside == of.Samples
	return of, r
}

// record is the rows as a record batch of the schema. Lists become its columns as they lie in
// memory: builders, which take a value at a time, cost more than finding the rows.
func (r rows) record(schema *arrow.Schema) arrow.Record {
	n := len(r.at)
	none := make([]byte, 4*(n+1)) // as a bitmap nothing is there, as offsets each text is empty
	values, valid := arrow.Float64Traits.CastToBytes(r.values), []byte(nil)
	offsets, text, said := none, []byte(nil), none[:bitutil.CeilByte(n)/8]
	if r.text != nil {
		values, valid = make([]byte, 8*n), said
		ends := make([]int32, 1, n+1)
		for _, one := range r.text {
			text = append(text, one...)
			ends = append(ends, int32(len(text)))
		}
		offsets, said = arrow.Int32Traits.CastToBytes(ends), nil
	}
	broken := make([]byte, bitutil.CeilByte(n)/8)
	for i, cut := range r.broken {
		if cut {
			bitutil.SetBit(broken, i)
		}
	}
	left := none[:4*n]
	if r.left != nil {
		counts := make([]uint32, n)
		for i, k := range r.left {
			counts[i] = uint32(k)
		}
		left = arrow.Uint32Traits.CastToBytes(counts)
	}
	columns := make([]arrow.Array, 0, schema.NumFields())
	for i, buffers := range [][][]byte{
		colTime: {nil, arrow.Int64Traits.CastToBytes(r.at)}, colValue: {valid, values}, colText: {said, offsets, text}, colBroken: {nil, broken}, colLeft: {nil, left},
	} {
		nulls := 0
		if buffers[0] != nil {
			nulls = n
		}
		all := make([]*memory.Buffer, len(buffers))
		for k, b := range buffers {
			if b != nil {
				all[k] = memory.NewBufferBytes(b)
			}
		}
		columns = append(columns, array.MakeFromData(array.NewData(schema.Field(i).Type, n, all, nil, nulls, 0)))
	}
	return array.NewRecord(schema, columns, int64(n))
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
