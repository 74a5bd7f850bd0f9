package columns

import (
	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// column is a signal being built.
type column struct {
	name  string
	lanes []*Lane
	rule  rule

	// Samples in order of writing. One of the piles of values is in use, that of kind.
	kind   schemas.Kind
	time   pile[int64]
	boots  pile[int32] // empty while all are boot 0
	floats pile[float64]
	ints   pile[int64]
	bools  pile[bool]
	texts  pile[string]
	shared map[string]string // texts seen, so that a state that comes back costs no memory

	// Set by settle, for messages and to bar other units.
	since       origin // where the rule comes from
	settledUnit string
	unitSince   origin
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
	*c = column{name: c.name, lanes: c.lanes, rule: c.rule}
}

// signal is the finished signal. The column is empty afterwards.
func (c *column) signal() *schemas.Signal {
	return &schemas.Signal{
		Name: c.name, Unit: c.unit(), Kind: c.kind, Time: c.time.join(), Boot: c.boots.join(),
		Float: c.floats.join(), Int: c.ints.join(), Bool: c.bools.join(), Text: c.texts.join(),
	}
}

// put appends a value that the rule takes, and returns the memory it needs.
func (c *column) put(t int64, boot int32, v *cell.Value) (bytes int64) {
	if c.time.n == 0 {
		c.kind = c.rule.kind(v.Class)
	}
	if boot != 0 || c.boots.n > 0 {
		c.boots.addMany(0, c.time.n-c.boots.n)
		c.boots.add(boot)
		bytes = 4
	}
	c.time.add(t)
	return bytes + c.putValue(v)
}

func (c *column) putValue(v *cell.Value) (bytes int64) {
	switch c.kind {
	case schemas.Float64:
		f, _ := v.AsFloat()
		c.floats.add(f)
	case schemas.Int64:
		if i, ok := v.AsInt(); ok && (v.Class == cell.Int || c.rule == declaredInt) {
			c.ints.add(i)
			break
		}
		c.widen()
		f, _ := v.AsFloat()
		c.floats.add(f)
	case schemas.Bool:
		c.bools.add(v.Int != 0)
		return 8 + 1
	case schemas.Text:
		s, fresh := c.share(v.Written())
		c.texts.add(s)
		return 8 + 16 + int64(fresh)
	}
	return 8 + 8
}

// kind is the kind a column begins with when its first value is of that class.
func (r rule) kind(first cell.Class) schemas.Kind {
	switch {
	case r == declaredInt || r == numbers && first == cell.Int:
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
	c.kind = schemas.Float64
	for _, i := range c.ints.join() {
		c.floats.add(float64(i))
	}
}

// share is raw as a string, one already in use if there is one; fresh is the memory taken.
func (c *column) share(raw []byte) (s string, fresh int) {
	if last, ok := c.texts.last(); ok && last == string(raw) {
		return last, 0
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
