package columns

import (
	"fmt"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// Add takes one sample written on that line: at time t, in microseconds within
// ±cell.MaxTime, signal l had the value v. An empty value is no sample.
func (b *Builder) Add(l *Lane, line int, t int64, v *cell.Value) *Fault {
	if v.Class == cell.Empty {
		return nil
	}
	if f := b.checkText(v); f != nil {
		return f
	}
	c := l.column
	switch b.mode {
	case guessing:
		if t <= l.first.t {
			b.markFirst(l, line, t, v)
		}
		if c.rule == open {
			c.rule = guess(v.Class)
		}
		// A text that could be a number decides for numbers if nothing comes before it in time.
		if b.mode == guessing && (!c.rule.takes(v) || c.rule == words && l.class == cell.Word) {
			b.survey()
		}
	case surveying:
		if t <= l.first.t {
			b.markFirst(l, line, t, v)
		}
	case judging:
		if c.rule == open { // the file grew since it was read first
			c.rule, c.since = guess(v.Class), b.here(line)
		}
		if l.barred {
			return b.otherUnit(l)
		}
		if !c.rule.takes(v) {
			return c.rule.misfit(v, b.because(c))
		}
	}
	return b.put(c, t, v)
}

// AddDeclared is Add for a sample whose row declares the type of its signal. Of text an
// empty value is a sample too.
func (b *Builder) AddDeclared(l *Lane, line int, t int64, v *cell.Value, kind schemas.Kind) *Fault {
	r := declaration(kind)
	if v.Class == cell.Empty && r != declaredText {
		return nil
	}
	if f := b.checkText(v); f != nil {
		return f
	}
	if !r.takes(v) {
		return r.misfit(v, "its row declares "+kind.String())
	}
	c := l.column
	switch b.mode {
	case guessing:
		b.markFirst(l, line, t, v)
		b.markDeclared(l, line, t, r)
		if c.rule == open {
			c.rule = r
		}
		if b.mode == guessing && c.rule != r {
			b.survey()
		}
	case surveying:
		b.markFirst(l, line, t, v)
		b.markDeclared(l, line, t, r)
	case judging:
		if c.rule == open {
			c.rule, c.since = r, b.here(line)
		}
		if l.barred {
			return b.otherUnit(l)
		}
		if c.rule != r {
			return &Fault{
				Part:   InType,
				What:   fmt.Sprintf("type %s contradicts an earlier one (%s)", kind, b.because(c)),
				Advice: "declare a signal the same everywhere",
			}
		}
	}
	return b.put(c, t, v)
}

func (b *Builder) checkText(v *cell.Value) *Fault {
	if len(v.Raw) > b.limits.Text {
		return &Fault{
			What:   fmt.Sprintf("the value, %s, is longer than %d bytes", Quote(v.Raw), b.limits.Text),
			Advice: "shorten it",
		}
	}
	if v.Class == cell.Text && !utf8.Valid(v.Raw) {
		return &Fault{What: fmt.Sprintf("the value, %s, is not UTF-8", Quote(v.Raw)), Advice: "write the file in UTF-8"}
	}
	return nil
}

// put appends a value that the column's rule takes.
func (b *Builder) put(c *column, t int64, v *cell.Value) *Fault {
	b.added++
	if b.mode == surveying {
		return nil
	}
	b.memory += c.put(t, b.boot, v)
	return b.checkMemory()
}

func (b *Builder) otherUnit(l *Lane) *Fault {
	c := l.column
	return &Fault{
		Part: InName,
		What: fmt.Sprintf("unit %s contradicts an earlier one (signal %s is in %s since %s)",
			Quote([]byte(l.unit)), Excerpt([]byte(c.name)), Excerpt([]byte(c.settledUnit)), b.place(c.unitSince)),
		Advice: "write a signal in one unit",
	}
}

// because says where a column's rule comes from.
func (b *Builder) because(c *column) string {
	link := "since"
	if c.rule.declared() {
		link = "in"
	}
	return fmt.Sprintf("signal %s %s %s %s", Excerpt([]byte(c.name)), c.rule.holds(), link, b.place(c.since))
}
