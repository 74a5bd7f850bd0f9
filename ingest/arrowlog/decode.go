package arrowlog

import (
	"bytes"
	"fmt"
	"math"
	"math/big"
	"strconv"

	"github.com/apache/arrow/go/v15/arrow/float16"

	"github.com/afterbell/afterbell/ingest/table"
)

// dictionary is the values that the indices of some columns stand for.
type dictionary struct {
	table.Column
	rows int
}

// scratch is the memory of one column, used again for each window.
type scratch struct {
	valid   []bool
	floats  []float64
	ints    []int64
	bools   []bool
	ids     []uint32
	entries [][]byte
}

// decode makes a column of rows from up to to of a.
func (s *scratch) decode(c *table.Column, a *columnData, from, to int, dicts map[int64]*dictionary) error {
	if a.none {
		return nil
	}
	n := to - from
	s.validity(c, a, from, n)
	if a.dict != nil {
		d := dicts[*a.dict]
		if d == nil {
			return damaged("the dictionary %d is missing", *a.dict)
		}
		return s.indexed(c, a, from, n, d)
	}
	switch a.kind {
	case typeBool:
		c.Type, s.bools = table.Bool, resize(s.bools, n)
		for i := range s.bools {
			s.bools[i] = bit(a.data, from+i)
		}
		c.Bools = s.bools
	case typeInt, typeTimestamp, typeDuration:
		s.integers(c, a, from, n)
	case typeFloat:
		s.numbers(c, a, from, n)
	case typeDecimal:
		return s.decimals(c, a, from, n)
	default:
		return s.texts(c, a, from, n)
	}
	return nil
}

func bit(b []byte, i int) bool { return b[i>>3]>>(i&7)&1 != 0 }

// validity sets c.Valid, to nil where all rows have a value.
func (s *scratch) validity(c *table.Column, a *columnData, from, n int) {
	c.Valid = nil
	if a.valid == nil {
		return
	}
	s.valid = resize(s.valid, n)
	all := true
	for i := range s.valid {
		v := bit(a.valid, from+i)
		s.valid[i] = v
		all = all && v
	}
	if !all {
		c.Valid = s.valid
	}
}

func (s *scratch) integers(c *table.Column, a *columnData, from, n int) {
	c.Type, s.ints = table.Int, resize(s.ints, n)
	c.Ints = s.ints
	size := a.bits / 8
	b := a.data[from*size:]
	switch {
	case a.bits == 64:
		large := false
		for i := range s.ints {
			s.ints[i] = int64(u64(b[8*i:]))
			large = large || s.ints[i] < 0
		}
		if !a.signed && large {
			s.large(c, b)
		}
	case a.bits == 32 && a.signed:
		for i := range s.ints {
			s.ints[i] = int64(int32(u32(b[4*i:])))
		}
	case a.bits == 32:
		for i := range s.ints {
			s.ints[i] = int64(u32(b[4*i:]))
		}
	case a.bits == 16:
		for i := range s.ints {
			v := uint16(b[2*i]) | uint16(b[2*i+1])<<8
			if s.ints[i] = int64(v); a.signed {
				s.ints[i] = int64(int16(v))
			}
		}
	default:
		for i := range s.ints {
			if s.ints[i] = int64(b[i]); a.signed {
				s.ints[i] = int64(int8(b[i]))
			}
		}
	}
}

// large makes floats of unsigned integers of which one at least is beyond int64, unless that
// one is null.
func (s *scratch) large(c *table.Column, b []byte) {
	s.floats = resize(s.floats, len(s.ints))
	beyond := false
	for i := range s.floats {
		v := u64(b[8*i:])
		s.floats[i] = float64(v)
		beyond = beyond || v > math.MaxInt64 && (c.Valid == nil || c.Valid[i])
	}
	if beyond {
		c.Type, c.Floats, c.Ints = table.Float, s.floats, nil
	}
}

func (s *scratch) numbers(c *table.Column, a *columnData, from, n int) {
	c.Type, s.floats = table.Float, resize(s.floats, n)
	c.Floats = s.floats
	b := a.data[from*a.bits/8:]
	switch a.bits {
	case 64:
		for i := range s.floats {
			s.floats[i] = math.Float64frombits(u64(b[8*i:]))
		}
	case 32:
		for i := range s.floats {
			s.floats[i] = float64(math.Float32frombits(u32(b[4*i:])))
		}
	default:
		for i := range s.floats {
			s.floats[i] = float64(float16.FromBits(uint16(b[2*i]) | uint16(b[2*i+1])<<8).Float32())
		}
	}
}

// decimals rounds each value once to the nearest float64.
func (s *scratch) decimals(c *table.Column, a *columnData, from, n int) error {
	c.Type, s.floats = table.Float, resize(s.floats, n)
	c.Floats = s.floats
	size := a.bits / 8
	var whole big.Int
	be := make([]byte, size)
	for i := range s.floats {
		le := a.data[(from+i)*size:][:size]
		for j, b := range le {
			be[size-1-j] = b
		}
		whole.SetBytes(be)
		if le[size-1] >= 0x80 { // two's complement
			whole.Sub(&whole, new(big.Int).Lsh(big.NewInt(1), uint(a.bits)))
		}
		f, err := strconv.ParseFloat(fmt.Sprintf("%de%d", &whole, -a.scale), 64)
		if err != nil {
			return damaged("a decimal beyond float64")
		}
		s.floats[i] = f
	}
	return nil
}

// texts finds the characters of each row.
func (s *scratch) texts(c *table.Column, a *columnData, from, n int) error {
	c.Type, s.entries = table.Text, resize(s.entries, n)
	c.Entries = s.entries
	for i := range s.entries {
		if c.Valid != nil && !c.Valid[i] {
			s.entries[i] = nil // what a null row holds may be anything
			continue
		}
		row := from + i
		switch a.kind {
		case typeUtf8View, typeBinaryView:
			text, ok := a.viewed(row)
			if !ok {
				return damaged("a text that lies outside of its column")
			}
			s.entries[i] = text
			continue
		}
		var lo, hi int64
		if a.kind == typeUtf8 || a.kind == typeBinary {
			lo, hi = int64(int32(u32(a.offsets[4*row:]))), int64(int32(u32(a.offsets[4*row+4:])))
		} else {
			lo, hi = int64(u64(a.offsets[8*row:])), int64(u64(a.offsets[8*row+8:]))
		}
		if lo < 0 || hi < lo || hi > int64(len(a.data)) {
			return damaged("a text that lies outside of its column")
		}
		s.entries[i] = a.data[lo:hi:hi]
	}
	return nil
}

// viewed is the text of a view: its length and, up to 12 bytes, the text; else its first four
// bytes, which buffer it is in, and where.
func (a *columnData) viewed(row int) ([]byte, bool) {
	v := a.data[16*row:][:16]
	n := int64(int32(u32(v)))
	if n < 0 {
		return nil, false
	}
	if n <= 12 {
		return v[4 : 4+n : 4+n], true
	}
	in, at := int64(int32(u32(v[8:]))), int64(int32(u32(v[12:])))
	if in < 0 || in >= int64(len(a.views)) || at < 0 || at > int64(len(a.views[in])) || n > int64(len(a.views[in]))-at {
		return nil, false
	}
	return a.views[in][at : at+n : at+n], true
}

// indexed makes a column of indices into a dictionary. Text keeps its indices.
func (s *scratch) indexed(c *table.Column, a *columnData, from, n int, d *dictionary) error {
	var index table.Column
	index.Valid = c.Valid
	s.integers(&index, a, from, n)
	if index.Type != table.Int {
		return damaged("an index beyond int64")
	}
	s.ids = resize(s.ids, n)
	nulls := false
	for i, id := range index.Ints {
		if c.Valid != nil && !c.Valid[i] {
			s.ids[i] = 0
			continue
		}
		if id < 0 || id >= int64(d.rows) {
			return damaged("index %d of a dictionary of %d", id, d.rows)
		}
		s.ids[i] = uint32(id)
		nulls = nulls || d.Valid != nil && !d.Valid[id]
	}
	if d.Type == table.Null {
		c.Valid, c.Type = nil, table.Null
		return nil
	}
	if nulls { // a dictionary may hold a null
		valid := make([]bool, n)
		for i, id := range s.ids {
			valid[i] = (c.Valid == nil || c.Valid[i]) && d.Valid[id]
		}
		c.Valid = valid
	}
	c.Type = d.Type
	if d.rows == 0 { // all rows are null
		c.Type = table.Null
		return nil
	}
	switch d.Type {
	case table.Float:
		c.Floats = pick(&s.floats, d.Floats, s.ids)
	case table.Int:
		c.Ints = pick(&s.ints, d.Ints, s.ids)
	case table.Bool:
		c.Bools = pick(&s.bools, d.Bools, s.ids)
	default:
		c.IDs, c.Entries = s.ids, d.Entries
	}
	return nil
}

func pick[T any](into *[]T, from []T, ids []uint32) []T {
	*into = resize(*into, len(ids))
	for i, id := range ids {
		(*into)[i] = from[id]
	}
	return *into
}

// keep makes the texts of a column its own.
func keep(c *table.Column, rows int) {
	for i := range c.Entries {
		c.Entries[i] = bytes.Clone(c.Entries[i])
	}
	if c.Type == table.Null || c.Valid != nil && rows == 0 {
		c.Valid = nil
	}
}

// extend appends the values of more to c.
func extend(c *table.Column, rows int, more *table.Column, moreRows int) {
	switch {
	case rows == 0 || c.Type == table.Null && moreRows > 0 && rows == 0:
		*c = *more
		return
	case moreRows == 0:
		return
	}
	if c.Valid != nil || more.Valid != nil || c.Type != more.Type {
		valid := make([]bool, rows+moreRows)
		for i := range valid {
			if i < rows {
				valid[i] = c.Type != table.Null && (c.Valid == nil || c.Valid[i])
			} else {
				valid[i] = more.Type != table.Null && (more.Valid == nil || more.Valid[i-rows])
			}
		}
		c.Valid = valid
	}
	if c.Type == table.Null {
		c.Type = more.Type
	}
	switch c.Type {
	case table.Float:
		c.Floats = append(padded(floats(c), rows), padded(floats(more), moreRows)...)
		c.Ints = nil
	case table.Int:
		if more.Type == table.Float { // integers beyond int64 came
			c.Type, c.Floats, c.Ints = table.Float, append(padded(floats(c), rows), more.Floats...), nil
			return
		}
		c.Ints = append(padded(c.Ints, rows), padded(more.Ints, moreRows)...)
	case table.Bool:
		c.Bools = append(padded(c.Bools, rows), padded(more.Bools, moreRows)...)
	case table.Text:
		c.Entries = append(padded(c.Entries, rows), padded(more.Entries, moreRows)...)
	}
}

// floats is a column of numbers as floats.
func floats(c *table.Column) []float64 {
	if c.Type != table.Int {
		return c.Floats
	}
	out := make([]float64, len(c.Ints))
	for i, v := range c.Ints {
		out[i] = float64(v)
	}
	return out
}

// padded is s, or n zeros where a column without a value has none.
func padded[T any](s []T, n int) []T {
	if len(s) == n {
		return s
	}
	return make([]T, n)
}

// resize is s with length n, its memory used again.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
