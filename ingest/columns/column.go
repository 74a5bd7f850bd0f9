package columns

import (
	"slices"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// column is a signal being built.
type column struct {
	schemas.Signal
	lanes []*Lane
	rule  rule

	// Set by settle, for messages and to bar other units.
	since       origin // where the rule comes from
	settledUnit string
	unitSince   origin

	shared map[string]string // texts seen, so that a state that comes back costs no memory
}

const (
	mostShared   = 1024 // texts a column remembers
	longestShare = 64   // bytes; longer texts hardly ever come back
)

// unit is the one unit of the column's samples.
func (c *column) unit() string {
	for _, l := range c.lanes {
		if l.unit != "" && l.first != never && !l.barred {
			return l.unit
		}
	}
	return ""
}

// drop forgets the samples.
func (c *column) drop() {
	c.Time, c.Float, c.Int, c.Bool, c.Text, c.shared = nil, nil, nil, nil, nil, nil
}

// put appends a value that the rule takes, and returns the memory it needs.
func (c *column) put(t int64, v *cell.Value) (bytes int64) {
	if len(c.Time) == 0 {
		c.Kind = c.rule.kind(v)
	}
	c.Time = add(c.Time, t)
	switch c.Kind {
	case schemas.Int64:
		if i, ok := v.AsInt(); ok && (v.Class == cell.Int || c.rule == declaredInt) {
			c.Int = add(c.Int, i)
			break
		}
		c.widen()
		c.Float = add(c.Float, v.Float)
	case schemas.Float64:
		f, _ := v.AsFloat()
		c.Float = add(c.Float, f)
	case schemas.Bool:
		c.Bool = add(c.Bool, v.Int != 0)
		return 9
	case schemas.Text:
		s, fresh := c.share(v.Raw)
		c.Text = add(c.Text, s)
		return 24 + int64(fresh)
	}
	return 16
}

// kind is the kind a column begins with when v is its first value.
func (r rule) kind(v *cell.Value) schemas.Kind {
	switch {
	case r == declaredInt || r == numbers && v.Class == cell.Int:
		return schemas.Int64
	case r == booleans || r == declaredBool:
		return schemas.Bool
	case r == words || r == declaredText:
		return schemas.Text
	default:
		return schemas.Float64
	}
}

// widen turns the integers so far into floats.
func (c *column) widen() {
	c.Kind = schemas.Float64
	c.Float = make([]float64, len(c.Int), max(cap(c.Int), 16))
	for i, n := range c.Int {
		c.Float[i] = float64(n)
	}
	c.Int = nil
}

// share is raw as a string, one already in use if there is one; fresh is the memory taken.
func (c *column) share(raw []byte) (s string, fresh int) {
	if n := len(c.Text); n > 0 && c.Text[n-1] == string(raw) {
		return c.Text[n-1], 0
	}
	if s, ok := c.shared[string(raw)]; ok {
		return s, 0
	}
	s = string(raw)
	if len(c.shared) < mostShared && len(s) <= longestShare {
		if c.shared == nil {
			c.shared = map[string]string{}
		}
		c.shared[s] = s
	}
	return s, len(s)
}

// add is append that doubles: large columns would otherwise be copied many times.
func add[T any](s []T, v T) []T {
	if len(s) == cap(s) {
		s = slices.Grow(s, max(16, len(s)))
	}
	return append(s, v)
}
