// Package table takes samples out of tables with typed columns, as Parquet and Arrow files
// are, in the two forms of a text log:
//
//	time_s, signal, value                       long: a row a sample
//	time_s, NAME, NAME [unit], ...              wide: a row a moment, null is no sample
//
// Columns may stand in any order. time_us, a whole number of microseconds, may stand in place of time_s,
// and both may be a timestamp or duration. A long table is one with a column signal of text and one of
// value, value_int, value_bool and value_text, of which a row has one; value may hold the number of an
// integer or bool beside it, as the tables of this program do. It may have columns type and boot as well; others
// are left out. Where value is text it is read as a cell of a CSV file is, since it may hold several types;
// elsewhere a value has the type of its column.
//
// The readers of each form decode; what their columns mean is settled here, once.
package table

import (
	"strconv"

	"github.com/afterbell/afterbell/ingest/cell"
)

// Type is the type of a column's values.
type Type uint8

// The types. Integers an int64 cannot hold, decimals and small floats come as Float.
const (
	Null Type = iota // there is no value at all
	Float
	Int
	Bool
	Text
)

// Field is a column of a table.
type Field struct {
	Name string
	Type Type
	// Ticks is how many of a time column's units a second has, if its type says that.
	Ticks int64
	// Unusable says what the column is if its values are none of the types, such as "a list".
	Unusable string
}

// Column is the values of one column in some rows that follow one another. The list of its
// type has a value for each row, those of null rows mean nothing. Text has IDs into Entries,
// or without IDs an entry a row.
type Column struct {
	Type    Type
	Valid   []bool // nil when all rows have a value
	Floats  []float64
	Ints    []int64
	Bools   []bool
	IDs     []uint32
	Entries [][]byte
}

// has reports whether row i has a value.
func (c *Column) has(i int) bool {
	return c.Type != Null && (c.Valid == nil || c.Valid[i])
}

// text is the text of row i.
func (c *Column) text(i int) []byte {
	if c.IDs != nil {
		return c.Entries[c.IDs[i]]
	}
	return c.Entries[i]
}

// cell sets v to the value of row i, which it has.
func (c *Column) cell(i int, v *cell.Value) {
	switch c.Type {
	case Float:
		*v = cell.Value{Class: cell.Float, Float: c.Floats[i]}
	case Int:
		*v = cell.Value{Class: cell.Int, Int: c.Ints[i]}
	case Bool:
		*v = cell.Value{Class: cell.Bool}
		if c.Bools[i] {
			v.Int = 1
		}
	default:
		*v = cell.Value{Class: cell.Text, Raw: c.text(i)}
	}
}

// shown is row i as it may stand in an error.
func (c *Column) shown(i int) []byte {
	var v cell.Value
	if !c.has(i) {
		return []byte("null")
	}
	c.cell(i, &v)
	return v.Written()
}

// fits reports whether the lists are as long as n rows need, and all ids inside the entries.
// Readers make columns that fit; those that came through a pipe are checked with it.
func (c *Column) fits(n int) bool {
	if c.Valid != nil && len(c.Valid) != n {
		return false
	}
	switch c.Type {
	case Null:
		return true
	case Float:
		return len(c.Floats) == n
	case Int:
		return len(c.Ints) == n
	case Bool:
		return len(c.Bools) == n
	case Text:
		if c.IDs == nil {
			return len(c.Entries) == n
		}
		for i, id := range c.IDs {
			if uint64(id) >= uint64(len(c.Entries)) && c.has(i) {
				return false
			}
		}
		return len(c.IDs) == n
	default:
		return false
	}
}

// place is a field in words: column 3 (value).
func place(i int, name string) string { return "column " + strconv.Itoa(i+1) + " (" + name + ")" }
