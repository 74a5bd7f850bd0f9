package pyramid

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

func stored(t testing.TB, log *schemas.Log) string {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, "abc", log))
	path := filepath.Join(t.TempDir(), FileName)
	require.NoError(t, os.WriteFile(path, b.Bytes(), 0o644))
	return path
}

func TestWhatIsLoadedIsWhatIsBuilt(t *testing.T) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		l := someLine(t)
		s := &schemas.Signal{Name: "x", Kind: schemas.Float64, Time: l.T, Float: l.V}
		var b bytes.Buffer
		if err := Write(&b, "abc", &schemas.Log{Signals: []*schemas.Signal{s}}); err != nil {
			t.Fatal(err)
		}
		path := filepath.Join(dir, FileName)
		if err := os.WriteFile(path, b.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
		f, err := Open(path, "abc")
		if err != nil {
			t.Fatal(err)
		}
		line := LineOf(s)
		got, err := f.Load("x", line)
		if err != nil {
			t.Fatal(err)
		}
		want := Build(line)
		require.Equal(t, want.levels, got.levels)
	})
}

func TestSummaries(t *testing.T) {
	nan := math.NaN()
	path := stored(t, &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Kind: schemas.Float64, Time: []int64{0, 20_000, 40_000, 2_000_000}, Float: []float64{1, nan, -3, 5}},
		{Name: "b", Kind: schemas.Text, Time: []int64{0, 1, 2}, Text: []string{"x", "x", "y"}},
		{Name: "c", Kind: schemas.Bool, Time: []int64{0, 1}, Bool: []bool{true, true}},
		{Name: "d", Kind: schemas.Float64, Time: []int64{0}, Float: []float64{nan}},
		{Name: "e", Kind: schemas.Int64},
	}})
	f, err := Open(path, "abc")
	require.NoError(t, err)
	require.Equal(t, []Summary{
		{Name: "a", Samples: 4, Readings: 3, Least: schemas.Some(-3.0), Greatest: schemas.Some(5.0), Changes: 3, Gaps: 1},
		{Name: "b", Samples: 3, Changes: 1},
		{Name: "c", Samples: 2, Readings: 2, Least: schemas.Some(1.0), Greatest: schemas.Some(1.0)},
		{Name: "d", Samples: 1},
		{Name: "e"},
	}, f.Summaries())
}

// Cut anywhere and with any byte turned, the file is refused or answers as before: no spike
// is lost to a bad disk.
func TestDamageIsToldOrHarmless(t *testing.T) {
	l := walk(400)
	path := stored(t, &schemas.Log{Signals: []*schemas.Signal{{Name: "x", Kind: schemas.Float64, Time: l.T, Float: l.V}}})
	whole, err := os.ReadFile(path)
	require.NoError(t, err)
	line := LineOf(&schemas.Signal{Kind: schemas.Float64, Time: l.T, Float: l.V})
	want := Build(line).levels
	same := func(what string, at int) {
		f, err := Open(path, "abc")
		if err != nil {
			return
		}
		p, err := f.Load("x", line)
		if err != nil {
			return
		}
		require.Equal(t, want, p.levels, "%s at byte %d", what, at)
	}
	for i := range whole {
		require.NoError(t, os.WriteFile(path, whole[:i], 0o644))
		_, err := Open(path, "abc")
		if err == nil {
			f, _ := Open(path, "abc")
			_, err = f.Load("x", line)
		}
		require.Error(t, err, "cut at byte %d", i)
		turned := bytes.Clone(whole)
		turned[i] ^= 1 << (i % 8)
		require.NoError(t, os.WriteFile(path, turned, 0o644))
		same("turned", i)
	}
}

func TestPyramidsOfOtherSamplesAreRefused(t *testing.T) {
	l := walk(40)
	path := stored(t, &schemas.Log{Signals: []*schemas.Signal{{Name: "x", Kind: schemas.Float64, Time: l.T, Float: l.V}}})
	_, err := Open(path, "abd")
	require.ErrorIs(t, err, ErrStale)
	f, err := Open(path, "abc")
	require.NoError(t, err)
	_, err = f.Load("x", &Line{T: l.T[1:], V: l.V[1:]})
	require.Error(t, err)
	_, err = f.Load("y", l)
	require.Error(t, err)
}
