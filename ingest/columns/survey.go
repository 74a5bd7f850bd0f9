package columns

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/ingest/cell"
)

// origin is where a sample was written. Files count from 1 in order of reading.
type origin struct{ file, line int }

func (b *Builder) here(line int) origin { return origin{len(b.files), line} }

// place is an origin in words, seen from the file being read.
func (b *Builder) place(o origin) string {
	if o.file == len(b.files) {
		return fmt.Sprintf("%s %d", b.files[o.file-1].row, o.line)
	}
	f := b.allFiles[o.file-1]
	return fmt.Sprintf("%s %d of %s", f.row, o.line, f.name)
}

// mark is the time of a sample and where it was written.
type mark struct {
	t  int64
	at origin
}

// never is later than every sample.
var never = mark{t: math.MaxInt64}

// before reports whether m decides against o: it is earlier in time, or was written later
// for the same time.
func (m mark) before(o mark) bool {
	if m.t != o.t {
		return m.t < o.t
	}
	return m.at.file > o.at.file || m.at.file == o.at.file && m.at.line > o.at.line
}

// markFirst notes a sample if none of its lane comes before it in time. The first sample of a
// lane can bring a unit that contradicts that of another lane.
func (b *Builder) markFirst(l *Lane, line int, t int64, v *cell.Value) {
	if t > l.first.t {
		return
	}
	fresh := l.first == never
	l.first, l.class = mark{t, b.here(line)}, v.Class
	if !fresh || l.unit == "" || b.mode != guessing {
		return
	}
	for _, other := range l.column.lanes {
		if other.unit != "" && other.unit != l.unit && other.first != never {
			b.survey()
			return
		}
	}
}

func (b *Builder) markDeclared(l *Lane, line int, t int64, r rule) {
	if t <= l.declared.t {
		l.declared, l.rule = mark{t, b.here(line)}, r
	}
}

// survey gives up guessing: samples are dropped, and from here on only what comes first in
// time is noted.
func (b *Builder) survey() {
	b.mode = surveying
	b.memory = 0
	for _, c := range b.columns {
		c.drop()
	}
}

// settle makes the decisions a survey was for. The unit comes first: rows in another unit
// are bad and decide nothing about the type.
func (b *Builder) settle() {
	for _, c := range b.columns {
		unit := never
		for _, l := range c.lanes {
			if l.unit != "" && l.first.before(unit) {
				unit = l.first
				c.settledUnit, c.unitSince = l.unit, l.first.at
			}
		}
		first, declared := never, never
		c.rule = open
		for _, l := range c.lanes {
			l.barred = l.unit != "" && l.unit != c.settledUnit
			switch {
			case l.barred:
			case l.declared.before(declared):
				declared = l.declared
				c.rule, c.since = l.rule, l.declared.at
			case declared == never && l.first.before(first):
				first = l.first
				c.rule, c.since = guess(l.class), l.first.at
			}
		}
	}
}
