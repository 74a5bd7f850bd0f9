package parquetlog

import (
	"bytes"
	"errors"
	"fmt"
	"io"

	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/format"

	"github.com/afterbell/afterbell/ingest/table"
)

// cursor reads one column of one row group, window by window. What read returns is valid
// until it is called again.
type cursor struct {
	*column
	pages parquet.Pages

	page   parquet.Page // in hand, nil when a new one is needed
	levels []byte       // of its rows: 0 where there is no value; nil when all have one
	rows   int          // of the page
	row    int          // the next of them
	value  int          // the next of its values
	plain  values       // of a page that holds values
	ids    []int32      // of a page that holds indices
	dict   *values      // what the indices of this row group stand for

	// The window in hand.
	valid   []bool
	floats  []float64
	ints    []int64
	bools   []bool
	texts   []uint32 // indices into dict, while all texts of the window come from there
	entries [][]byte // else the texts themselves
}

func newCursor(c *column, pages parquet.Pages) *cursor { return &cursor{column: c, pages: pages} }

func (c *cursor) close() {
	c.release()
	_ = c.pages.Close()
}

func (c *cursor) release() {
	if c.page != nil {
		parquet.Release(c.page)
		c.page = nil
	}
}

// read sets out to the next n rows.
func (c *cursor) read(out *table.Column, n int) error {
	c.valid = resize(c.valid, n)
	c.floats, c.ints, c.bools, c.texts, c.entries = c.floats[:0], c.ints[:0], c.bools[:0], c.texts[:0], c.entries[:0]
	all := true
	for done := 0; done < n; {
		if c.page == nil || c.row == c.rows {
			if err := c.next(); err != nil {
				return err
			}
		}
		m := min(n-done, c.rows-c.row)
		valid := c.valid[done : done+m]
		from := c.value
		for i := range valid {
			valid[i] = c.levels == nil || c.levels[c.row+i] != 0
			if valid[i] {
				c.value++
			}
		}
		all = all && c.value-from == m
		if err := c.take(valid, from); err != nil {
			return err
		}
		c.row += m
		done += m
	}
	c.finish(out, all)
	return nil
}

// take appends one value for each row, from value from of the page on; rows without one get
// zero.
func (c *cursor) take(valid []bool, from int) (err error) {
	v := &c.plain
	var ids []int32
	if c.ids != nil {
		v, ids = c.dict, c.ids
		if c.value > len(ids) {
			return fmt.Errorf("%d indices in a page that needs %d", len(ids), c.value)
		}
		for _, id := range ids[from:c.value] {
			if uint(id) >= uint(v.n) {
				return fmt.Errorf("index %d of a dictionary of %d", id, v.n)
			}
		}
	} else if c.value > v.n {
		return fmt.Errorf("%d values in a page that needs %d", v.n, c.value)
	}
	switch c.Type {
	case table.Float:
		c.floats = spread(c.floats, v.floats, ids, valid, from, c.value)
	case table.Int:
		c.ints = spread(c.ints, v.ints, ids, valid, from, c.value)
	case table.Bool:
		c.bools = spread(c.bools, v.bools, ids, valid, from, c.value)
	case table.Text:
		c.takeTexts(v, ids, valid, from)
	}
	return nil
}

// spread appends the values from up to to, through ids if there are any, with a zero for each
// row that is not valid.
func spread[T any](into, values []T, ids []int32, valid []bool, from, to int) []T {
	if ids == nil && to-from == len(valid) {
		return append(into, values[from:to]...)
	}
	var zero T
	for _, has := range valid {
		switch {
		case !has:
			into = append(into, zero)
			continue
		case ids == nil:
			into = append(into, values[from])
		default:
			into = append(into, values[ids[from]])
		}
		from++
	}
	return into
}

func (c *cursor) takeTexts(v *values, ids []int32, valid []bool, from int) {
	if ids != nil && len(c.entries) == 0 {
		for _, has := range valid {
			id := uint32(0)
			if has {
				id = uint32(ids[from])
				from++
			}
			c.texts = append(c.texts, id)
		}
		return
	}
	c.spellOut()
	for _, has := range valid {
		var text []byte
		switch {
		case !has:
		case ids != nil:
			text = v.entries[ids[from]]
		default:
			text = bytes.Clone(v.entries[from]) // the page goes before the window does
		}
		if has {
			from++
		}
		c.entries = append(c.entries, text)
	}
}

// spellOut turns the indices so far into texts.
func (c *cursor) spellOut() {
	for i, id := range c.texts {
		var text []byte
		if c.valid[i] {
			text = c.dict.entries[id]
		}
		c.entries = append(c.entries, text)
	}
	c.texts = c.texts[:0]
}

// finish makes a column of the window.
func (c *cursor) finish(out *table.Column, all bool) {
	*out = table.Column{Type: c.Type}
	if !all {
		out.Valid = c.valid
	}
	switch c.Type {
	case table.Float:
		out.Floats = c.floats
	case table.Int:
		out.Ints = c.ints
		if c.unsigned && c.physical == format.Int64 && c.beyond() {
			out.Type, out.Ints, out.Floats = table.Float, nil, make([]float64, len(c.ints))
			for i, v := range c.ints {
				out.Floats[i] = float64(uint64(v))
			}
		}
	case table.Bool:
		out.Bools = c.bools
	case table.Text:
		if len(c.texts) > 0 && len(c.dict.entries) > 2*len(c.texts)+256 {
			c.spellOut() // a dictionary that is longer than what it is used for
		}
		if len(c.texts) == 0 {
			out.Entries = c.entries
			return
		}
		if out.IDs, out.Entries = c.texts, c.dict.entries; len(out.Entries) == 0 { // all are null
			*out = table.Column{}
		}
	}
}

// beyond reports whether one of the window's unsigned integers is beyond int64.
func (c *cursor) beyond() bool {
	for i, v := range c.ints {
		if v < 0 && c.valid[i] {
			return true
		}
	}
	return false
}

// next takes the next page in hand.
func (c *cursor) next() error {
	c.release()
	page, err := c.pages.ReadPage()
	if err == io.EOF {
		return errors.New("it has fewer rows than its row group")
	}
	if err != nil {
		return err
	}
	c.page, c.row, c.value, c.levels, c.ids = page, 0, 0, nil, nil
	c.rows = int(page.NumValues())
	have := c.rows
	if c.optional {
		c.levels = page.DefinitionLevels()
		if len(c.levels) != c.rows {
			return fmt.Errorf("%d levels in a page of %d rows", len(c.levels), c.rows)
		}
		have -= bytes.Count(c.levels, []byte{0})
	}
	data := page.Data()
	dict := page.Dictionary()
	if dict == nil {
		return c.plain.decode(c.column, &data, have)
	}
	if c.dict == nil {
		c.dict = new(values)
		of := dict.Page().Data()
		if err := c.dict.decode(c.column, &of, dict.Len()); err != nil {
			return fmt.Errorf("the dictionary: %w", err)
		}
	}
	if c.ids = data.Int32(); c.ids == nil {
		c.ids = []int32{}
	}
	return nil
}

// resize is s with length n, its memory used again.
func resize[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}
