package matchfile

import (
	"bytes"
	"errors"
	"math"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

func write(tb require.TestingT, log *schemas.Log, meta map[string]string) []byte {
	var b bytes.Buffer
	sum, err := Write(&b, log, meta)
	require.NoError(tb, err)
	require.EqualValues(tb, b.Len(), sum.Bytes)
	require.Equal(tb, log.Samples(), sum.Samples)
	return b.Bytes()
}

func open(tb require.TestingT, b []byte) *File {
	f, err := NewFile(bytes.NewReader(b), int64(len(b)))
	require.NoError(tb, err)
	return f
}

// sameLog is whether two logs hold the same samples to the bit.
func sameLog(a, b *schemas.Log) bool {
	return slices.EqualFunc(a.Signals, b.Signals, func(s, t *schemas.Signal) bool {
		boots := slices.ContainsFunc(s.Boot, func(b int32) bool { return b != 0 })
		return s.Name == t.Name && s.Unit == t.Unit && s.Kind == t.Kind &&
			slices.Equal(s.Time, t.Time) &&
			(!boots && t.Boot == nil || slices.Equal(s.Boot, t.Boot)) &&
			slices.EqualFunc(s.Float, t.Float, func(x, y float64) bool {
				return math.Float64bits(x) == math.Float64bits(y)
			}) &&
			slices.Equal(s.Int, t.Int) && slices.Equal(s.Bool, t.Bool) && slices.Equal(s.Text, t.Text)
	})
}

// anyLog draws a normalized log with every kind of value a robot might send.
func anyLog(t *rapid.T) *schemas.Log {
	log := &schemas.Log{}
	names := rapid.SliceOfNDistinct(rapid.StringN(1, 40, schemas.MaxSignalName), 0, 6, rapid.ID[string]).Draw(t, "names")
	for _, name := range names {
		log.Signals = append(log.Signals, anySignal(t, name))
	}
	log.Normalize()
	return log
}

func anySignal(t *rapid.T, name string) *schemas.Signal {
	n := rapid.OneOf(rapid.IntRange(0, 20), rapid.IntRange(100, 700)).Draw(t, "samples")
	s := &schemas.Signal{
		Name: name,
		Unit: rapid.SampledFrom([]string{"", "V", "µs", "deg/s"}).Draw(t, "unit"),
		Kind: schemas.Kind(rapid.IntRange(0, 3).Draw(t, "kind")),
	}
	step := rapid.SampledFrom([]int64{1, 1000, 20000, 1 << 50}).Draw(t, "step")
	at := rapid.Int64Range(-1<<40, 1<<40).Draw(t, "start")
	boots := rapid.SampledFrom([][]int32{nil, {0, 1}, {3}, {math.MinInt32, 0, math.MaxInt32}}).Draw(t, "boots")
	pool := rapid.SliceOfN(rapid.Uint64(), 1, 300).Draw(t, "values")
	pick := func(i int) uint64 { return pool[(i*i+i/7)%len(pool)] }
	for i := range n {
		at += 1 + int64(pick(i)%uint64(step))
		s.Time = append(s.Time, at)
		if boots != nil {
			s.Boot = append(s.Boot, boots[i*len(boots)/n])
		}
		switch s.Kind {
		case schemas.Float64:
			s.Float = append(s.Float, math.Float64frombits(pick(i)))
		case schemas.Int64:
			s.Int = append(s.Int, int64(pick(i)))
		case schemas.Bool:
			s.Bool = append(s.Bool, pick(i)%2 == 1)
		case schemas.Text:
			s.Text = append(s.Text, strings.Repeat("é", int(pick(i)%5)))
		}
	}
	return s
}

func TestWhatIsWrittenIsReadToTheBit(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		log := anyLog(t)
		meta := map[string]string{"seal": "7"}
		first := write(t, log, meta)
		f := open(t, first)
		got, err := f.Read()
		require.NoError(t, err)
		require.True(t, sameLog(log, got))
		require.Equal(t, meta, f.Meta())
		require.NoError(t, f.Verify())
		require.Equal(t, first, write(t, got, meta), "write, read, write gives the same bytes")
	})
}

// Values that are equal as numbers but not as bits, and the ends of each range.
func TestExtremesSurvive(t *testing.T) {
	negZero := math.Copysign(0, -1)
	floats := []float64{
		0, negZero, 0, math.Inf(1), math.Inf(-1), math.NaN(), math.Float64frombits(0x7ff0000000000001),
		math.Float64frombits(0xfff8dead00000001), math.MaxFloat64, math.SmallestNonzeroFloat64, 0.1,
	}
	ints := []int64{math.MinInt64, math.MaxInt64, 0, -1, 1<<53 + 1, math.MaxInt64, math.MinInt64}
	texts := []string{"", "a", "", "driver", "Ω −", strings.Repeat("x", 70000), "\x00"}
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "bool", Kind: schemas.Bool, Time: []int64{math.MinInt64, 0, math.MaxInt64}, Bool: []bool{true, false, true}},
		{Name: "empty", Unit: "A", Kind: schemas.Int64},
		{Name: "float", Unit: "V", Kind: schemas.Float64, Time: count(len(floats)), Float: floats},
		{Name: "float/many", Kind: schemas.Float64, Time: count(40 * len(floats)), Float: slices.Repeat(floats, 40)},
		{Name: "int", Kind: schemas.Int64, Time: count(len(ints)), Int: ints},
		{Name: "text", Kind: schemas.Text, Time: count(len(texts)), Text: texts},
		{Name: "text/many", Kind: schemas.Text, Time: count(40 * len(texts)), Text: slices.Repeat(texts, 40)},
	}}
	got, err := open(t, write(t, log, nil)).Read()
	require.NoError(t, err)
	assert.True(t, sameLog(log, got))
}

func count(n int) []int64 {
	out := make([]int64, n)
	for i := range out {
		out[i] = int64(i)
	}
	return out
}

func TestOnlyTheSignalsAskedForAreRead(t *testing.T) {
	log := benchlog(1)
	raw := write(t, log, nil)
	f := open(t, raw)
	infos := f.Signals()
	// Spoil every other signal's bytes: a reader that touched them would fail.
	asked := []string{infos[3].Name, infos[17].Name, infos[200].Name}
	for _, s := range infos {
		if !slices.Contains(asked, s.Name) {
			for _, p := range s.places {
				raw[p.Offset] ^= 0xff
			}
		}
	}
	got, err := open(t, raw).Read(asked[2], asked[0], asked[1], asked[0], "no such signal")
	require.NoError(t, err)
	require.Len(t, got.Signals, 3)
	for i, name := range asked {
		want := &schemas.Log{Signals: []*schemas.Signal{log.Find(name)}}
		assert.True(t, sameLog(want, &schemas.Log{Signals: got.Signals[i : i+1]}), name)
	}
	_, err = f.Read()
	assert.Error(t, err, "the spoilt signals must be noticed when they are read")
}

func TestLongSignalsTakeSeveralRowGroups(t *testing.T) {
	n := 2*maxRows + 3
	long := &schemas.Signal{Name: "long", Kind: schemas.Int64, Time: count(n), Int: count(n), Boot: make([]int32, n)}
	for i := maxRows + 10; i < n; i++ {
		long.Boot[i] = 1
	}
	page := strings.Repeat("page of a console ", maxGroupText/18/3)
	wordy := &schemas.Signal{Name: "wordy", Kind: schemas.Text, Time: count(8), Text: slices.Repeat([]string{page}, 8)}
	log := &schemas.Log{Signals: []*schemas.Signal{long, wordy}}
	f := open(t, write(t, log, nil))
	assert.Len(t, f.Signals()[0].places, 3)
	assert.Len(t, f.Signals()[1].places, 3)
	got, err := f.Read()
	require.NoError(t, err)
	assert.True(t, sameLog(log, got))
}

func TestWriteRefusesWhatItCouldNotGiveBack(t *testing.T) {
	tests := []struct {
		name string
		log  []*schemas.Signal
		want string
	}{
		{"unsorted signals", []*schemas.Signal{{Name: "b"}, {Name: "a"}}, `signal "a" stands after "b": the log is not normalized`},
		{"one name twice", []*schemas.Signal{{Name: "a"}, {Name: "a"}}, `signal "a" stands after "a"`},
		{"no name", []*schemas.Signal{{Name: ""}}, "the name is empty"},
		{"long name", []*schemas.Signal{{Name: strings.Repeat("n", 257)}}, "257 bytes long, 256 is the limit"},
		{"name in another coding", []*schemas.Signal{{Name: "\xff"}}, "not UTF-8"},
		{"text in another coding", []*schemas.Signal{{Name: "a", Kind: schemas.Text, Time: count(1), Text: []string{"\xff"}}}, "text of sample 0 is not UTF-8"},
		{"times out of order", []*schemas.Signal{{Name: "a", Time: []int64{2, 1}, Float: []float64{0, 0}}}, "sample 1 is not after the one before it"},
		{"a time twice", []*schemas.Signal{{Name: "a", Time: []int64{2, 2}, Float: []float64{0, 0}}}, "sample 1 is not after"},
		{"boots out of order", []*schemas.Signal{{Name: "a", Time: []int64{1, 2}, Boot: []int32{1, 0}, Float: []float64{0, 0}}}, "sample 1 is not after"},
		{"missing values", []*schemas.Signal{{Name: "a", Time: []int64{1, 2}, Float: []float64{0}}}, "2 times but 1 values"},
		{"missing boots", []*schemas.Signal{{Name: "a", Time: []int64{1}, Boot: []int32{}, Float: []float64{0}}}, "1 times but 0 boots"},
		{"unknown kind", []*schemas.Signal{{Name: "a", Kind: 9}}, "unknown kind 9"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			var b bytes.Buffer
			_, err := Write(&b, &schemas.Log{Signals: tt.log}, nil)
			assert.ErrorContains(t, err, tt.want)
			assert.Zero(t, b.Len(), "nothing is written")
		})
	}
	_, err := Write(&bytes.Buffer{}, &schemas.Log{}, map[string]string{"signals": ""})
	assert.ErrorContains(t, err, "the file's own")
}

var errFull = errors.New("no space left on device")

// failing takes n bytes and then fails, as a full disk does.
type failing struct{ n int }

func (f *failing) Write(b []byte) (int, error) {
	if len(b) > f.n {
		n := f.n
		f.n = 0
		return n, errFull
	}
	f.n -= len(b)
	return len(b), nil
}

func TestWriteReportsAFullDisk(t *testing.T) {
	log := benchlog(0.2)
	size := len(write(t, log, nil))
	for n := 0; n < size; n += 9973 {
		_, err := Write(&failing{n}, log, nil)
		require.ErrorIs(t, err, errFull, "after %d bytes", n)
	}
	_, err := Write(&failing{size}, log, nil)
	require.NoError(t, err)
}
