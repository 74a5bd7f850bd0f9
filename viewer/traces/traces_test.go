package traces

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"sync"
	"testing"

	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
)

func aLog() *schemas.Log {
	volts := &schemas.Signal{Name: "power/voltage", Unit: "V", Kind: schemas.Float64}
	for i := range 5000 {
		if i >= 2000 && i < 2500 {
			continue // a gap of 10 s
		}
		v := 12 - 0.5*math.Sin(float64(i)/40)
		if i == 1234 {
			v = 6.1 // one sample
		}
		volts.Time, volts.Float = append(volts.Time, int64(i)*20_000), append(volts.Float, v)
	}
	volts.Float[150] = math.NaN()
	return &schemas.Log{Signals: []*schemas.Signal{
		{Name: "beam", Kind: schemas.Bool, Time: []int64{0, 1e6, 2e6}, Bool: []bool{false, true, false}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{0, 20e6, 90e6}, Text: []string{"autonomous", "driver", "driver"}},
		volts,
	}}
}

// stored writes a match, its pyramids if with says so.
func stored(t testing.TB, dir string, log *schemas.Log, with bool) {
	t.Helper()
	f, err := os.Create(filepath.Join(dir, schemas.SignalsFile))
	require.NoError(t, err)
	sum, err := matchfile.Write(f, log, map[string]string{"seal": "3"})
	require.NoError(t, err)
	require.NoError(t, f.Close())
	if with {
		f, err = os.Create(filepath.Join(dir, pyramid.FileName))
		require.NoError(t, err)
		require.NoError(t, pyramid.Write(f, sum.SHA256, log))
		require.NoError(t, f.Close())
	}
}

// row is a row of a window as another program reads it.
type readRow struct {
	at     int64
	value  float64 // NaN for null
	text   string
	broken bool
	left   uint32
}

func read(t testing.TB, data []byte) (WindowHead, [][]readRow) {
	t.Helper()
	r, err := ipc.NewReader(bytes.NewReader(data))
	require.NoError(t, err)
	defer r.Release()
	var head WindowHead
	meta := r.Schema().Metadata()
	at := meta.FindKey(MetaWindow)
	require.GreaterOrEqual(t, at, 0)
	require.NoError(t, json.Unmarshal([]byte(meta.Values()[at]), &head))
	var all [][]readRow
	for r.Next() {
		rec := r.Record()
		rows := []readRow{}
		for i := range int(rec.NumRows()) {
			q := readRow{
				at: rec.Column(colTime).(*array.Int64).Value(i), value: math.NaN(),
				broken: rec.Column(colBroken).(*array.Boolean).Value(i), left: rec.Column(colLeft).(*array.Uint32).Value(i),
			}
			if v := rec.Column(colValue).(*array.Float64); v.IsValid(i) {
				q.value = v.Value(i)
			}
			if s := rec.Column(colText).(*array.String); s.IsValid(i) {
				q.text = s.Value(i)
			}
			rows = append(rows, q)
		}
		all = append(all, rows)
	}
	require.NoError(t, r.Err())
	return head, all
}

func window(t testing.TB, m *Match, t0, t1 int64, columns int, names ...string) (WindowHead, [][]readRow) {
	t.Helper()
	all, err := m.Traces(names)
	require.NoError(t, err)
	var b bytes.Buffer
	require.NoError(t, WriteWindow(&b, all, t0, t1, columns))
	return read(t, b.Bytes())
}

func TestWindowOfAMatch(t *testing.T) {
	for _, with := range []bool{true, false} {
		t.Run(fmt.Sprint("pyramids ", with), func(t *testing.T) {
			dir := t.TempDir()
			log := aLog()
			stored(t, dir, log, with)
			m, err := NewShelf().Open(dir)
			require.NoError(t, err)
			require.Equal(t, "3", m.Seal)
			require.Equal(t, with, m.Summaries() != nil)
			head, rows := window(t, m, 0, 100e6, 50, "power/voltage", "beam", "mode")
			require.Equal(t, []WindowSignal{
				{"power/voltage", "V", "float64", 4500, false}, {"beam", "", "bool", 3, true}, {"mode", "", "text", 3, true},
			}, head.Signals)
			require.LessOrEqual(t, len(rows[0]), 200)
			least, cuts := math.Inf(1), 0
			for _, r := range rows[0] {
				least = min(least, r.value)
				if r.broken {
					cuts++
				}
			}
			require.InDelta(t, 6.1, least, 0, "the one sample that dips")
			require.Equal(t, 1, cuts, "the gap; one sample without a reading is narrower than a column")
			require.Equal(t, []readRow{{at: 0, value: 0}, {at: 1e6, value: 1}, {at: 2e6, value: 0}}, rows[1])
			require.Equal(t, []string{"autonomous", "driver"}, []string{rows[2][0].text, rows[2][1].text})

			head, rows = window(t, m, 2.9e6, 3.2e6, 400, "power/voltage")
			require.Equal(t, 16, head.Signals[0].Samples)
			require.False(t, head.Signals[0].Whole, "one of them has no reading")
			require.Len(t, rows[0], 15+2, "every reading and the neighbours")
			require.True(t, rows[0][6].broken, "no line across a sample without a reading: %v", rows[0])
		})
	}
}

func TestValueAtAMoment(t *testing.T) {
	dir := t.TempDir()
	stored(t, dir, aLog(), true)
	m, err := NewShelf().Open(dir)
	require.NoError(t, err)
	all, err := m.Traces([]string{"power/voltage", "beam", "mode"})
	require.NoError(t, err)
	require.InDelta(t, 6.1, *all[0].At(1234*20_000 + 19_999).Number, 0)
	require.Nil(t, all[0].At(-1).TimeUS)
	require.Nil(t, all[0].At(150*20_000).TimeUS, "no reading there")
	require.Nil(t, all[0].At(45e6).TimeUS, "in a gap nothing is known")
	require.InDelta(t, 1, *all[1].At(1.5e6).Number, 0)
	require.Equal(t, "driver", *all[2].At(50e6).Text)
	require.Nil(t, all[2].At(91e6).Text)
	_, err = m.Traces([]string{"beam", "nothing"})
	var unknown *UnknownSignalError
	require.ErrorAs(t, err, &unknown)
	require.Equal(t, "nothing", unknown.Name)
}

// A match that was sealed again is read anew, and one that is gone is an error.
func TestShelfSeesThatAMatchChanged(t *testing.T) {
	dir := t.TempDir()
	log := aLog()
	stored(t, dir, log, true)
	s := NewShelf()
	m, err := s.Open(dir)
	require.NoError(t, err)
	window(t, m, 0, 1e6, 10, "beam")
	same, err := s.Open(dir)
	require.NoError(t, err)
	require.Same(t, m, same)
	log.Signals[0].Bool = append(log.Signals[0].Bool, true)
	log.Signals[0].Time = append(log.Signals[0].Time, 9e6)
	stored(t, dir, log, false)
	m, err = s.Open(dir)
	require.NoError(t, err)
	require.Nil(t, m.Summaries(), "the pyramids there are of other samples")
	_, rows := window(t, m, 0, 9e6, 10, "beam")
	require.Len(t, rows[0], 4)
	require.NoError(t, os.Remove(filepath.Join(dir, schemas.SignalsFile)))
	_, err = s.Open(dir)
	require.ErrorIs(t, err, os.ErrNotExist)
}

// What there is no room for is dropped, the signal used longest ago first, and read again
// when it is asked for.
func TestShelfHasAnEnd(t *testing.T) {
	dir := t.TempDir()
	log := &schemas.Log{}
	for i := range 8 {
		s := &schemas.Signal{Name: fmt.Sprint("s", i), Kind: schemas.Float64}
		for k := range 1000 {
			s.Time, s.Float = append(s.Time, int64(k)*1000), append(s.Float, float64(i))
		}
		log.Signals = append(log.Signals, s)
	}
	stored(t, dir, log, true)
	shelf := NewShelf()
	shelf.room = 60_000 // three signals
	m, err := shelf.Open(dir)
	require.NoError(t, err)
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() {
			for i := range 40 {
				all, err := m.Traces([]string{fmt.Sprint("s", i%8)})
				if err != nil || all[0].Line.V[0] != float64(i%8) {
					panic(fmt.Sprint(err, all))
				}
			}
		})
	}
	wg.Wait()
	require.LessOrEqual(t, shelf.taken, shelf.room)
	require.Equal(t, shelf.used.Len(), len(m.traces))
	require.Positive(t, shelf.used.Len())
}

// BenchmarkWindowAnswer is one question of a bench: eight signals of 1 kHz over a match.
func BenchmarkWindowAnswer(b *testing.B) {
	dir := b.TempDir()
	log := &schemas.Log{}
	var names []string
	for i := range 8 {
		s := &schemas.Signal{Name: fmt.Sprint("s", i), Kind: schemas.Float64}
		for k := range 150_000 {
			s.Time, s.Float = append(s.Time, int64(k)*1000), append(s.Float, math.Round(640*math.Sin(float64(k*(i+1))/900))/64)
		}
		log.Signals, names = append(log.Signals, s), append(names, s.Name)
	}
	stored(b, dir, log, true)
	answer := func(s *Shelf) {
		m, err := s.Open(dir)
		require.NoError(b, err)
		all, err := m.Traces(names)
		require.NoError(b, err)
		var out bytes.Buffer
		require.NoError(b, WriteWindow(&out, all, 0, 150e6, 808))
	}
	shelf := NewShelf()
	b.Run("at-hand", func(b *testing.B) {
		for b.Loop() {
			answer(shelf)
		}
	})
	b.Run("first", func(b *testing.B) {
		for b.Loop() {
			answer(NewShelf())
		}
	})
}
