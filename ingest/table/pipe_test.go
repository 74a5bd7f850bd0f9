package table

import (
	"bytes"
	"errors"
	"io"
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

// recorder is a sink that keeps what it is given.
type recorder struct {
	fields    []Field
	rows      int64
	described map[string]Described
	batches   []batch
}

type batch struct {
	rows int
	cols []Column
}

func (r *recorder) Begin(fields []Field, rows int64, described map[string]Described) ([]bool, error) {
	r.fields, r.rows, r.described = fields, rows, described
	return Wanted(fields), nil
}

func (r *recorder) Add(rows int, cols []Column) error {
	b := batch{rows: rows}
	for _, c := range cols {
		kept := Column{Type: c.Type, Valid: slices.Clone(c.Valid)} // lists of other types may be left from before
		switch c.Type {
		case Float:
			kept.Floats = slices.Clone(c.Floats)
		case Int:
			kept.Ints = slices.Clone(c.Ints)
		case Bool:
			kept.Bools = slices.Clone(c.Bools)
		case Text:
			kept.IDs = slices.Clone(c.IDs)
			for _, e := range c.Entries {
				kept.Entries = append(kept.Entries, bytes.Clone(e))
			}
		}
		b.cols = append(b.cols, kept)
	}
	r.batches = append(r.batches, b)
	return nil
}

// anyColumn draws a column of n rows.
func anyColumn(t *rapid.T, n int) Column {
	c := Column{Type: Type(rapid.IntRange(int(Null), int(Text)).Draw(t, "type"))}
	if c.Type == Null {
		return c
	}
	if rapid.Bool().Draw(t, "nulls") {
		c.Valid = rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "valid")
	}
	switch c.Type {
	case Float:
		for range n {
			c.Floats = append(c.Floats, math.Float64frombits(rapid.Uint64().Draw(t, "bits")))
		}
	case Int:
		c.Ints = rapid.SliceOfN(rapid.Int64(), n, n).Draw(t, "ints")
	case Bool:
		c.Bools = rapid.SliceOfN(rapid.Bool(), n, n).Draw(t, "bools")
	case Text:
		if entries := rapid.IntRange(1, 3).Draw(t, "entries"); rapid.Bool().Draw(t, "indexed") {
			for range entries {
				c.Entries = append(c.Entries, []byte(rapid.String().Draw(t, "entry")))
			}
			for range n {
				c.IDs = append(c.IDs, uint32(rapid.IntRange(0, entries-1).Draw(t, "id")))
			}
			return c
		}
		for range n {
			c.Entries = append(c.Entries, []byte(rapid.String().Draw(t, "text")))
		}
	}
	return c
}

// sameBits compares floats by their bits.
func sameBits(t require.TestingT, want, got Column) {
	require.Equal(t, len(want.Floats), len(got.Floats))
	for i := range want.Floats {
		require.Equal(t, math.Float64bits(want.Floats[i]), math.Float64bits(got.Floats[i]))
	}
	want.Floats, got.Floats = nil, nil
	for i := range want.Entries {
		require.Equal(t, string(want.Entries[i]), string(got.Entries[i]))
	}
	require.Equal(t, len(want.Entries), len(got.Entries))
	want.Entries, got.Entries = nil, nil
	require.Equal(t, want, got)
}

func TestPipe(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var pipe bytes.Buffer
		w := NewPipeWriter(&pipe)
		fields := []Field{{Name: "time_us", Type: Int, Ticks: 1_000_000}, {Name: "a [V]", Type: Float}, {Name: "b", Unusable: "lists"}}
		described := map[string]Described{"a": {Unit: "V", Kind: schemas.Bool}}
		_, err := w.Begin(fields, 7, described)
		require.NoError(t, err)
		var want []batch
		for range rapid.IntRange(0, 3).Draw(t, "batches") {
			n := rapid.IntRange(1, 5).Draw(t, "rows")
			b := batch{rows: n, cols: []Column{anyColumn(t, n), anyColumn(t, n), anyColumn(t, n)}}
			require.NoError(t, w.Add(n, b.cols))
			want = append(want, b)
		}
		wrong := rapid.SampledFrom([]error{nil, errors.New("page 3 is damaged")}).Draw(t, "end")
		require.NoError(t, w.End(wrong))
		all := bytes.Clone(pipe.Bytes())

		var got recorder
		err = ReadPipe(&pipe, &got)
		if wrong != nil {
			require.Equal(t, &Ended{"page 3 is damaged"}, err)
		} else {
			require.NoError(t, err)
		}
		require.Equal(t, fields, got.fields)
		require.Equal(t, described, got.described)
		require.Equal(t, int64(7), got.rows)
		require.Len(t, got.batches, len(want))
		for i, b := range want {
			require.Equal(t, b.rows, got.batches[i].rows)
			for j := range b.cols {
				sameBits(t, b.cols[j], got.batches[i].cols[j])
			}
		}

		cut := rapid.IntRange(0, len(all)-1).Draw(t, "cut")
		err = ReadPipe(bytes.NewReader(all[:cut]), &recorder{})
		require.ErrorIs(t, err, ErrBroken)
		require.ErrorIs(t, err, io.ErrUnexpectedEOF)
	})
}

// What comes through a pipe may be anything: it never takes more than it brings.
func FuzzReadPipe(f *testing.F) {
	var pipe bytes.Buffer
	w := NewPipeWriter(&pipe)
	_, _ = w.Begin([]Field{{Name: "time_us", Type: Int}, {Name: "a", Type: Text}}, 2, nil)
	_ = w.Add(2, []Column{{Type: Int, Ints: []int64{1, 2}}, {Type: Text, IDs: []uint32{0, 0}, Entries: [][]byte{[]byte("x")}}})
	_ = w.End(nil)
	f.Add(pipe.Bytes())
	f.Fuzz(func(t *testing.T, b []byte) {
		var got recorder
		_ = ReadPipe(bytes.NewReader(b), &got)
		for _, batch := range got.batches {
			require.LessOrEqual(t, batch.rows, len(b))
		}
	})
}

// Units of time, rounded to the microsecond, halves away from zero.
func TestRescale(t *testing.T) {
	for _, c := range []struct{ v, ticks, want int64 }{
		{-2, 1, -2_000_000},
		{7, 1000, 7000},
		{7, 1_000_000, 7},
		{499, 1_000_000_000, 0},
		{500, 1_000_000_000, 1},
		{-499, 1_000_000_000, 0},
		{-500, 1_000_000_000, -1},
		{9_000_000_000_000, 1, 9_000_000_000_000_000_000},
		{math.MaxInt64, 1_000_000_000, 9_223_372_036_854_776},
		{math.MinInt64, 1_000_000_000, -9_223_372_036_854_776},
	} {
		got, err := rescale(c.v, c.ticks)
		require.NoError(t, err)
		assert.Equal(t, c.want, got, "%d of %d", c.v, c.ticks)
	}
	for _, c := range [][2]int64{{9_000_000_000_001, 1}, {-9_000_000_000_001, 1}, {math.MaxInt64, 1000}, {math.MinInt64, 1_000_000}} {
		_, err := rescale(c[0], c[1])
		assert.Error(t, err)
	}
}
