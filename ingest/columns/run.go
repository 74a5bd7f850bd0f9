package columns

import (
	"fmt"

	"github.com/afterbell/afterbell/ingest/cell"
	"github.com/afterbell/afterbell/schemas"
)

// Run is samples of one signal in rows that follow one another, with values of one type, as
// they come from files that hold columns. One of the lists of values is in use; it is as long
// as Time.
type Run struct {
	Row  int     // of the first sample
	Time []int64 // within ±cell.MaxTime

	Class  cell.Class // Float, Int or Bool
	Floats []float64
	Ints   []int64
	Bools  []bool

	Declared bool // the rows declare the type Kind, which is that of the values
	Kind     schemas.Kind
	Owned    bool // the lists may be kept as they are
}

// AddRun does what Add or AddDeclared do for each sample of a run, in far less time. taken is
// false, and nothing was done, when some of them may be bad or decide something: then they
// must be added one by one.
func (b *Builder) AddRun(l *Lane, run *Run) (taken bool, f *Fault) {
	n := len(run.Time)
	if n == 0 {
		return true, nil
	}
	c, r := l.column, guess(run.Class)
	if run.Declared {
		r = declaration(run.Kind)
	}
	switch b.mode {
	case guessing:
		if c.rule != open && c.rule != r {
			return false, nil
		}
		first := earliest(run.Time)
		v := cell.Value{Class: run.Class}
		b.markFirst(l, run.Row+first, run.Time[first], &v)
		if run.Declared {
			b.markDeclared(l, run.Row+first, run.Time[first], r)
		}
		c.rule = r // also when the unit has just begun a survey, which asks for it anew
	case surveying:
		first := earliest(run.Time)
		v := cell.Value{Class: run.Class}
		b.markFirst(l, run.Row+first, run.Time[first], &v)
		if run.Declared {
			b.markDeclared(l, run.Row+first, run.Time[first], r)
		}
	case judging:
		if c.rule != r || l.barred {
			return false, nil
		}
	}
	b.added += n
	if b.mode == surveying {
		return true, nil
	}
	b.memory += c.putRun(run, b.boot)
	return true, b.checkMemory()
}

// earliest is the index of the sample that decides: the first in time, and of several the
// last.
func earliest(times []int64) int {
	at := 0
	for i, t := range times {
		if t <= times[at] {
			at = i
		}
	}
	return at
}

func (b *Builder) checkMemory() *Fault {
	if b.memory <= b.limits.Memory {
		return nil
	}
	return &Fault{
		What:   fmt.Sprintf("the samples up to here take more than %d bytes of memory", b.limits.Memory),
		Advice: "split the log and import its parts one by one",
		Final:  true,
	}
}

// putRun appends a run that the rule takes, and returns the memory it needs.
func (c *column) putRun(run *Run, boot int32) (bytes int64) {
	n := len(run.Time)
	if c.time.n == 0 {
		c.kind = c.rule.kind(run.Class)
	}
	if boot != 0 || c.boots.n > 0 {
		c.boots.addMany(0, c.time.n-c.boots.n)
		c.boots.addMany(boot, n)
		bytes = 4 * int64(n)
	}
	add(&c.time, run.Time, run.Owned)
	switch {
	case run.Class == cell.Bool:
		add(&c.bools, run.Bools, run.Owned)
		return bytes + 9*int64(n)
	case run.Class == cell.Int && c.kind == schemas.Int64:
		add(&c.ints, run.Ints, run.Owned)
	case run.Class == cell.Int:
		for _, i := range run.Ints {
			c.floats.add(float64(i))
		}
	default:
		if c.kind == schemas.Int64 {
			c.widen()
		}
		add(&c.floats, run.Floats, run.Owned)
	}
	return bytes + 16*int64(n)
}

func add[T any](p *pile[T], values []T, owned bool) {
	if owned {
		p.adopt(values)
	} else {
		p.addAll(values)
	}
}

// AddSignal takes all samples of a finished signal, declared as what it is. The signal must
// not be used afterwards. row is that of its first sample. For a signal of one power-up whose
// samples decide nothing it copies nothing. Samples that are bad are rejected as rows.
func (b *Builder) AddSignal(l *Lane, row int, s *schemas.Signal) error {
	run := Run{Row: row, Declared: true, Kind: s.Kind}
	for i := 0; i < s.Len(); {
		j := s.Len()
		if s.Boot != nil {
			for j = i + 1; j < s.Len() && s.Boot[j] == s.Boot[i]; j++ {
			}
		}
		b.SetBoot(s.BootAt(i))
		part := s.Slice(i, j)
		run.Row, run.Time, run.Floats, run.Ints, run.Bools = row+i, part.Time, part.Float, part.Int, part.Bool
		run.Owned = i == 0 && j == s.Len()
		run.Class = [...]cell.Class{schemas.Float64: cell.Float, schemas.Int64: cell.Int, schemas.Bool: cell.Bool, schemas.Text: cell.Text}[s.Kind]
		taken := false
		if s.Kind != schemas.Text {
			var f *Fault
			if taken, f = b.AddRun(l, &run); f != nil {
				return b.Reject(run.Row, 0, "", f)
			}
		}
		for k := 0; !taken && k < part.Len(); k++ {
			v := ValueAt(part, k)
			if f := b.AddDeclared(l, run.Row+k, part.Time[k], &v, s.Kind); f != nil {
				if err := b.Reject(run.Row+k, 0, "", f); err != nil {
					return err
				}
			}
		}
		i = j
	}
	b.SetBoot(0)
	return nil
}

// ValueAt is sample i of a signal as a cell.
func ValueAt(s *schemas.Signal, i int) cell.Value {
	switch s.Kind {
	case schemas.Int64:
		return cell.Value{Class: cell.Int, Int: s.Int[i]}
	case schemas.Bool:
		v := cell.Value{Class: cell.Bool}
		if s.Bool[i] {
			v.Int = 1
		}
		return v
	case schemas.Text:
		return cell.Value{Class: cell.Text, Raw: []byte(s.Text[i])}
	default:
		return cell.Value{Class: cell.Float, Float: s.Float[i]}
	}
}

// Named is the lane of a signal whose name and unit are known apart, whatever brackets they
// hold.
func (b *Builder) Named(name, unit string) (*Lane, *Fault) {
	text, ok := joined(name, unit)
	if l, known := b.lanes[text]; known {
		return l, nil
	}
	if ok {
		return b.newLane(text)
	}
	return b.addLane(text, name, unit)
}
