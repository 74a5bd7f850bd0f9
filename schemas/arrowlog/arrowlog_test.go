package arrowlog

import (
	"bytes"
	"errors"
	"io"
	"math"
	"slices"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

// sample is a row of the file; a nil value is null.
type sample struct {
	signal string
	boot   int32
	time   int64
	bits   any // of value
	i      any
	b      any
	text   any
}

// rowsOf is what the file should hold, sample by sample.
func rowsOf(log *schemas.Log) []sample {
	var out []sample
	for _, s := range log.Signals {
		title := s.Name
		if s.Unit != "" {
			title += " [" + s.Unit + "]"
		}
		for i, t := range s.Time {
			r := sample{signal: title, boot: s.BootAt(i), time: t}
			switch s.Kind {
			case schemas.Float64:
				r.bits = math.Float64bits(s.Float[i])
			case schemas.Int64:
				r.bits, r.i = math.Float64bits(float64(s.Int[i])), s.Int[i]
			case schemas.Bool:
				r.bits, r.b = math.Float64bits(map[bool]float64{true: 1}[s.Bool[i]]), s.Bool[i]
			case schemas.Text:
				r.text = s.Text[i]
			}
			out = append(out, r)
		}
	}
	return out
}

// read reads a file with the library's own reader, which checks the file's structure.
func read(t require.TestingT, b []byte) []sample {
	r, err := ipc.NewFileReader(bytes.NewReader(b))
	require.NoError(t, err)
	defer r.Close()
	require.True(t, r.Schema().Equal(Schema()))
	var out []sample
	for n := range r.NumRecords() {
		rec, err := r.Record(n)
		require.NoError(t, err)
		value, ints := rec.Column(colValue).(*array.Float64), rec.Column(colInt).(*array.Int64)
		bools, texts := rec.Column(colBool).(*array.Boolean), rec.Column(colText).(*array.String)
		for i := range int(rec.NumRows()) {
			row := sample{
				signal: rec.Column(colSignal).(*array.String).Value(i),
				boot:   rec.Column(colBoot).(*array.Int32).Value(i),
				time:   rec.Column(colTime).(*array.Int64).Value(i),
			}
			if value.IsValid(i) {
				row.bits = math.Float64bits(value.Value(i))
			}
			if ints.IsValid(i) {
				row.i = ints.Value(i)
			}
			if bools.IsValid(i) {
				row.b = bools.Value(i)
			}
			if texts.IsValid(i) {
				row.text = texts.Value(i)
			}
			out = append(out, row)
		}
	}
	return out
}

func TestEverySampleIsInTheFile(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := &schemas.Log{}
		for i, name := range rapid.SliceOfNDistinct(rapid.StringMatching(`[a-zé][a-z/ ]{0,8}[a-z]`), 0, 5, rapid.ID[string]).Draw(t, "names") {
			n := rapid.IntRange(0, 30).Draw(t, "samples")
			s := &schemas.Signal{Name: name, Unit: []string{"", "V", "deg/s"}[i%3], Kind: schemas.Kind(i % 4)}
			for j := range n {
				bits := rapid.Uint64().Draw(t, "value")
				s.Time = append(s.Time, int64(j)*20000-7)
				switch s.Kind {
				case schemas.Float64:
					s.Float = append(s.Float, math.Float64frombits(bits))
				case schemas.Int64:
					s.Int = append(s.Int, int64(bits))
				case schemas.Bool:
					s.Bool = append(s.Bool, bits%2 == 0)
				case schemas.Text:
					s.Text = append(s.Text, []string{"", "driver", "Ω"}[bits%3])
				}
			}
			log.Signals = append(log.Signals, s)
		}
		log.Normalize()
		var b bytes.Buffer
		require.NoError(t, Write(&b, log))
		require.Equal(t, rowsOf(log), read(t, b.Bytes()))
	})
}

func TestLongLogsTakeSeveralBatches(t *testing.T) {
	n := batchRows + 5
	s := &schemas.Signal{Name: "count", Kind: schemas.Int64, Boot: make([]int32, n)}
	for i := range n {
		s.Time, s.Int = append(s.Time, int64(i)), append(s.Int, int64(-i))
		s.Boot[i] = int32(i / batchRows)
	}
	short := &schemas.Signal{Name: "mode", Kind: schemas.Text, Time: []int64{3}, Text: []string{"driver"}}
	log := &schemas.Log{Signals: []*schemas.Signal{s, short}}
	var b bytes.Buffer
	require.NoError(t, Write(&b, log))
	assert.True(t, slices.Equal(rowsOf(log), read(t, b.Bytes())))
}

func TestNamesThatWouldComeBackOtherwiseAreRefused(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{{Name: "bus [V]", Kind: schemas.Float64}}}
	err := Write(io.Discard, log)
	assert.EqualError(t, err, `writing an Arrow file: signal "bus [V]" with unit "" cannot be written as Arrow: rename it`)
}

var errFull = errors.New("no space left on device")

type full struct{}

func (full) Write([]byte) (int, error) { return 0, errFull }

func TestAFullDiskIsReported(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Bool, Time: []int64{1}, Bool: []bool{true}}}}
	assert.ErrorIs(t, Write(full{}, log), errFull)
}
