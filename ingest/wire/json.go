package wire

import (
	"bytes"
	"encoding/json"
	"math"
	"strconv"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// Reader reads text messages. It keeps memory from one to the next and is used by one
// goroutine.
type Reader struct {
	Names      *Names // of the power-up; batches add to it
	MostSignal int    // signals of a power-up; MaxSignals
	batch      Batch
	scan       scanner
	number     cell.Value // kept for its memory
}

// Type is the type of a text message, which is a JSON object: the value of its first member
// named type. It is a fault when there is none.
func (r *Reader) Type(data []byte) (string, *Fault) {
	r.scan = scanner{data: data}
	s := &r.scan
	var found []byte
	fault := s.object(func(key []byte) *Fault {
		if found != nil || string(key) != "type" {
			return s.skip()
		}
		var f *Fault
		if found, f = s.str(); f != nil {
			return f
		}
		return errStop // the rest is read by who reads that type
	})
	if fault != nil && fault != errStop {
		return "", fault
	}
	if found == nil {
		return "", Faultf(BadMessage, `the message has no "type"`)
	}
	return string(found), nil
}

// errStop ends a scan early.
var errStop = &Fault{}

// Batch reads a message of type batch. The result is valid until the next call. On a fault
// nothing of it counts, and Names is what it was.
func (r *Reader) Batch(data []byte) (*Batch, *Fault) {
	r.scan = scanner{data: data}
	r.batch.Reset()
	before := len(r.Names.Entries)
	fault := r.readBatch()
	if fault != nil {
		r.Names.Truncate(before)
		return nil, fault
	}
	return &r.batch, nil
}

func (r *Reader) readBatch() *Fault {
	s := &r.scan
	hasSeq, hasSamples := false, false
	fault := s.object(func(key []byte) (f *Fault) {
		switch string(key) {
		case "seq":
			if hasSeq {
				return Faultf(BadMessage, `"seq" stands in the batch twice`)
			}
			hasSeq = true
			r.batch.Seq, f = s.count()
			return f
		case "samples":
			if hasSamples {
				return Faultf(BadMessage, `"samples" stands in the batch twice`)
			}
			hasSamples = true
			return r.samples()
		default:
			return s.skip()
		}
	})
	switch {
	case fault != nil:
		return fault
	case !hasSeq:
		return Faultf(BadMessage, `the batch has no "seq"`)
	case !hasSamples:
		return Faultf(BadMessage, `the batch has no "samples"`)
	default:
		return s.end()
	}
}

// samples reads [[name, microseconds, value], ...].
func (r *Reader) samples() *Fault {
	s := &r.scan
	last := -1
	return s.array(func(i int) *Fault {
		if !s.take('[') {
			return s.wanted("a sample: [name, microseconds, value]")
		}
		signal, known := s.name(r.Names, last)
		var name []byte
		if !known {
			var f *Fault
			if name, f = s.str(); f != nil {
				return f
			}
		}
		if !s.take(',') {
			return s.wanted("a comma and the time in microseconds")
		}
		t, f := s.micros(i)
		if f != nil {
			return f
		}
		if !s.take(',') {
			return s.wanted("a comma and the value")
		}
		if known {
			f = r.value(signal, t)
		} else {
			signal, f = r.read(name, last, t)
		}
		if f != nil {
			return f
		}
		last = int(signal)
		if !s.take(']') {
			return s.wanted("] behind name, time and value")
		}
		return nil
	})
}

// read reads a value and appends the sample.
func (r *Reader) read(name []byte, last int, t int64) (uint32, *Fault) {
	s := &r.scan
	c := s.peek()
	signal, known := r.Names.Find(name, last)
	if !known {
		kind, f := r.firstKind(c)
		if f != nil {
			return 0, f
		}
		if signal, f = r.Names.Add(string(name), kind, r.most()); f != nil {
			return 0, f
		}
	}
	return signal, r.value(signal, t)
}

// value reads the value of a sample of a signal that is known, and appends the sample.
func (r *Reader) value(signal uint32, t int64) *Fault {
	s := &r.scan
	kind := r.Names.Entries[signal].Kind
	if kind == schemas.Float64 {
		if v, ok := s.usual(&r.number); ok {
			r.batch.add(signal, t, math.Float64bits(v))
			return nil
		}
	}
	c := s.peek()
	at := s.at
	switch {
	case c == '"':
		text, f := s.str()
		if f != nil {
			return f
		}
		if kind == schemas.Text {
			return r.text(signal, t, text)
		}
		return r.word(signal, t, text, kind, at)
	case c == 't' || c == 'f':
		v, f := s.boolean()
		if f != nil {
			return f
		}
		if kind != schemas.Bool {
			return r.misfit(signal, at, strconv.FormatBool(v))
		}
		r.batch.add(signal, t, bit(v))
		return nil
	default:
		number, f := s.digits()
		if f != nil {
			return f
		}
		return r.decimal(signal, t, number, kind, at)
	}
}

func (r *Reader) most() int {
	if r.MostSignal > 0 {
		return r.MostSignal
	}
	return MaxSignals
}

// firstKind is the kind of a signal whose first value begins with c at the scanner's place.
func (r *Reader) firstKind(c byte) (schemas.Kind, *Fault) {
	switch {
	case c == 't' || c == 'f':
		return schemas.Bool, nil
	case c != '"':
		return schemas.Float64, nil
	}
	again := r.scan
	text, f := again.str()
	if f != nil {
		return 0, f
	}
	if _, ok := infinite(text); ok {
		return schemas.Float64, nil
	}
	return schemas.Text, nil
}

// infinite is what "nan", "inf" and "-inf" stand for.
func infinite(text []byte) (float64, bool) {
	switch string(text) {
	case "nan":
		return math.NaN(), true
	case "inf":
		return math.Inf(1), true
	case "-inf":
		return math.Inf(-1), true
	}
	return 0, false
}

func (r *Reader) text(signal uint32, t int64, text []byte) *Fault {
	if len(text) > MaxText {
		return Faultf(TooLarge, "a text of signal %q is longer than %d bytes", r.Names.Entries[signal].Name, MaxText)
	}
	r.batch.addText(signal, t, text)
	return nil
}

// word reads a number that is written as a string: nan, the infinities, and integers too
// large to be safe as JSON numbers.
func (r *Reader) word(signal uint32, t int64, text []byte, kind schemas.Kind, at int) *Fault {
	switch kind {
	case schemas.Float64:
		if v, ok := infinite(text); ok {
			r.batch.add(signal, t, math.Float64bits(v))
			return nil
		}
	case schemas.Int64:
		if v, err := strconv.ParseInt(string(text), 10, 64); err == nil {
			r.batch.add(signal, t, uint64(v))
			return nil
		}
	}
	return r.misfit(signal, at, string(text))
}

func (r *Reader) decimal(signal uint32, t int64, raw []byte, kind schemas.Kind, at int) *Fault {
	v := &r.number
	if n := v.ScanNumber(raw); n != len(raw) {
		v.Read(raw)
	}
	switch kind {
	case schemas.Float64:
		if f, ok := v.AsFloat(); ok {
			r.batch.add(signal, t, math.Float64bits(f))
			return nil
		}
		return Faultf(BadMessage, "byte %d: %.40q is beyond the largest float64, about 1.8e308", at, raw)
	case schemas.Int64:
		if i, ok := v.AsInt(); ok {
			r.batch.add(signal, t, uint64(i))
			return nil
		}
		if f, ok := v.AsFloat(); ok && f == math.Trunc(f) && math.Abs(f) < 1<<53 { // 3.0
			r.batch.add(signal, t, uint64(int64(f)))
			return nil
		}
	}
	return r.misfit(signal, at, string(raw))
}

func (r *Reader) misfit(signal uint32, at int, value string) *Fault {
	e := r.Names.Entries[signal]
	return Faultf(BadMessage, "byte %d: %.60q does not fit signal %q, which is %s", at, value, e.Name, e.Kind)
}

// Decode reads a message that is no batch into to.
func Decode(data []byte, to any) *Fault {
	if err := json.Unmarshal(data, to); err != nil {
		return Faultf(BadMessage, "%s", err)
	}
	return nil
}

// AppendBatch appends a batch as a text message; the values fit the kinds of names.
func AppendBatch(dst []byte, b *Batch, names []Entry) []byte {
	dst = append(dst, `{"type":"batch","seq":`...)
	dst = strconv.AppendUint(dst, b.Seq, 10)
	dst = append(dst, `,"samples":[`...)
	for i, signal := range b.Signal {
		if i > 0 {
			dst = append(dst, ',')
		}
		dst = append(dst, '[')
		dst = appendQuoted(dst, names[signal].Name)
		dst = append(dst, ',')
		dst = strconv.AppendInt(dst, b.Time[i], 10)
		dst = append(dst, ',')
		dst = appendValue(dst, b, b.Value[i], names[signal].Kind)
		dst = append(dst, ']')
	}
	return append(dst, "]}"...)
}

func appendValue(dst []byte, b *Batch, v uint64, kind schemas.Kind) []byte {
	switch kind {
	case schemas.Float64:
		f := math.Float64frombits(v)
		if math.IsNaN(f) || math.IsInf(f, 0) {
			return append(append(append(dst, '"'), cell.AppendFloat(nil, f)...), '"')
		}
		return strconv.AppendFloat(dst, f, 'g', -1, 64)
	case schemas.Int64:
		if i := int64(v); i > -1<<53 && i < 1<<53 {
			return strconv.AppendInt(dst, i, 10)
		}
		return append(strconv.AppendInt(append(dst, '"'), int64(v), 10), '"')
	case schemas.Bool:
		return strconv.AppendBool(dst, v != 0)
	default:
		return appendQuoted(dst, string(b.TextAt(v)))
	}
}

func appendQuoted(dst []byte, s string) []byte {
	plain := !bytes.ContainsFunc([]byte(s), func(r rune) bool { return r < ' ' || r == '"' || r == '\\' || r > '~' })
	if plain {
		return append(append(append(dst, '"'), s...), '"')
	}
	return append(dst, Encode(s)...)
}
