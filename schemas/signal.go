// Package schemas is the ground floor: the words every other package uses for what a
// robot sent (signal, log), what it means (profile, in its own package) and what was
// concluded (report). It imports nothing of this project.
package schemas

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
)

// Kind is the type of a signal's values. A signal has one kind for its whole life.
type Kind uint8

// The four kinds, in the spelling used by files and profiles.
const (
	Float64 Kind = iota
	Int64
	Bool
	Text
)

var kindNames = [...]string{"float64", "int64", "bool", "text"}

func (k Kind) String() string {
	if int(k) < len(kindNames) {
		return kindNames[k]
	}
	return fmt.Sprintf("Kind(%d)", uint8(k))
}

// ParseKind reads a kind by its name in files.
func ParseKind(s string) (Kind, bool) {
	i := slices.Index(kindNames[:], s)
	return Kind(max(i, 0)), i >= 0
}

// MaxSignalName is the longest signal name in bytes.
const MaxSignalName = 256

// Signal is one named series of samples, column-wise. Exactly one of Float, Int, Bool and
// Text is in use, the one that Kind names, and it is as long as Time.
//
// After Log.Normalize the samples are sorted by boot, then time, and (boot, time) is unique.
type Signal struct {
	Name string
	Unit string // as it rode on the name ("V", "rpm"), empty when none did
	Kind Kind
	Time []int64 // microseconds in the robot's clock
	Boot []int32 // which power-up a sample belongs to; nil when all are boot 0

	Float []float64
	Int   []int64
	Bool  []bool
	Text  []string
}

// Len is the number of samples.
func (s *Signal) Len() int { return len(s.Time) }

// BootAt is the boot of sample i.
func (s *Signal) BootAt(i int) int32 {
	if s.Boot == nil {
		return 0
	}
	return s.Boot[i]
}

// Boots is the boot of each sample, written out.
func (s *Signal) Boots() []int32 {
	if s.Boot != nil {
		return s.Boot
	}
	return make([]int32, len(s.Time))
}

// Number is sample i as a float64: bools are 0 and 1, text is NaN.
func (s *Signal) Number(i int) float64 {
	switch s.Kind {
	case Float64:
		return s.Float[i]
	case Int64:
		return float64(s.Int[i])
	case Bool:
		if s.Bool[i] {
			return 1
		}
		return 0
	default:
		return math.NaN()
	}
}

// Numbers appends every sample as Number has it.
func (s *Signal) Numbers(dst []float64) []float64 {
	dst = slices.Grow(dst, s.Len())
	switch s.Kind {
	case Float64:
		return append(dst, s.Float...)
	case Int64:
		for _, v := range s.Int {
			dst = append(dst, float64(v))
		}
	case Bool:
		for _, v := range s.Bool {
			x := 0.
			if v {
				x = 1
			}
			dst = append(dst, x)
		}
	default:
		for range s.Text {
			dst = append(dst, math.NaN())
		}
	}
	return dst
}

// Slice is samples i up to j as a signal that shares memory with s.
func (s *Signal) Slice(i, j int) *Signal {
	out := &Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind, Time: s.Time[i:j:j]}
	if s.Boot != nil {
		out.Boot = s.Boot[i:j:j]
	}
	switch s.Kind {
	case Float64:
		out.Float = s.Float[i:j:j]
	case Int64:
		out.Int = s.Int[i:j:j]
	case Bool:
		out.Bool = s.Bool[i:j:j]
	case Text:
		out.Text = s.Text[i:j:j]
	}
	return out
}

// Normalize sorts by (boot, time) and keeps the last written of equal keys. A signal that
// is in order already, the usual case, is not copied.
func (s *Signal) Normalize() {
	if s.Boot != nil && !slices.ContainsFunc(s.Boot, func(b int32) bool { return b != 0 }) {
		s.Boot = nil
	}
	if s.sorted() {
		return
	}
	rows := make([]written, len(s.Time))
	for i := range rows {
		rows[i] = written{s.Time[i], s.BootAt(i), i}
	}
	slices.SortFunc(rows, func(a, b written) int {
		return cmp.Or(cmp.Compare(a.boot, b.boot), cmp.Compare(a.time, b.time), cmp.Compare(a.at, b.at))
	})
	kept := make([]int, 0, len(rows))
	for i, r := range rows {
		if i+1 < len(rows) && rows[i+1].time == r.time && rows[i+1].boot == r.boot {
			continue // a later write of the same boot and time replaces this one
		}
		kept = append(kept, r.at)
	}
	s.Time = pick(s.Time, kept)
	if s.Boot != nil {
		s.Boot = pick(s.Boot, kept)
	}
	switch s.Kind {
	case Float64:
		s.Float = pick(s.Float, kept)
	case Int64:
		s.Int = pick(s.Int, kept)
	case Bool:
		s.Bool = pick(s.Bool, kept)
	case Text:
		s.Text = pick(s.Text, kept)
	}
}

// sorted is whether the samples are in their order, each key once.
func (s *Signal) sorted() bool {
	if s.Boot == nil { // nearly always, and every log comes by here several times
		for i := 1; i < len(s.Time); i++ {
			if s.Time[i-1] >= s.Time[i] {
				return false
			}
		}
		return true
	}
	for i := 1; i < len(s.Time); i++ {
		if s.Boot[i-1] > s.Boot[i] || s.Boot[i-1] == s.Boot[i] && s.Time[i-1] >= s.Time[i] {
			return false
		}
	}
	return true
}

// written is one sample in the order of writing, which settles repeats.
type written struct {
	time int64
	boot int32
	at   int
}

func pick[T any](from []T, order []int) []T {
	out := make([]T, len(order))
	for i, at := range order {
		out[i] = from[at]
	}
	return out
}

// Log is one recording: signals sorted by name, each name once.
type Log struct {
	Signals []*Signal
}

// Find is the signal of that name, or nil.
func (l *Log) Find(name string) *Signal {
	i, ok := slices.BinarySearchFunc(l.Signals, name, func(s *Signal, n string) int { return strings.Compare(s.Name, n) })
	if !ok {
		return nil
	}
	return l.Signals[i]
}

// Normalize puts the log into the one order every reader relies on: signals by name,
// samples by (boot, time), repeats of a key resolved to the last written. Two signals of
// one name are a programmer's mistake and must be merged before.
func (l *Log) Normalize() {
	slices.SortStableFunc(l.Signals, func(a, b *Signal) int { return strings.Compare(a.Name, b.Name) })
	for _, s := range l.Signals {
		s.Normalize()
	}
}

// Samples is the number of samples of all signals.
func (l *Log) Samples() int {
	n := 0
	for _, s := range l.Signals {
		n += s.Len()
	}
	return n
}

// Boots are the power-ups with a sample in the log, in order.
func (l *Log) Boots() []int32 {
	var out []int32
	for _, s := range l.Signals {
		for i := range s.Len() {
			if b := s.BootAt(i); len(out) == 0 || b != out[len(out)-1] {
				out = append(out, b)
			}
			if s.Boot == nil {
				break
			}
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// Bounds is the time of the first and the last sample of any signal of a normalized log;
// ok is false for a log without samples.
func (l *Log) Bounds() (first, last int64, ok bool) {
	for _, s := range l.Signals {
		if s.Len() == 0 {
			continue
		}
		a, b := s.Time[0], s.Time[s.Len()-1]
		if s.Boot != nil { // sorted by boot first
			a, b = slices.Min(s.Time), slices.Max(s.Time)
		}
		if !ok {
			first, last, ok = a, b, true
		}
		first, last = min(first, a), max(last, b)
	}
	return first, last, ok
}

// Cut is the log from first to last inclusive, sharing memory with l where a signal has
// one boot. Signals without a sample in that stretch are left out.
func (l *Log) Cut(first, last int64) *Log {
	out := &Log{}
	for _, s := range l.Signals {
		if s.Boot == nil {
			i, _ := slices.BinarySearch(s.Time, first)
			j, found := slices.BinarySearch(s.Time, last)
			if found {
				j++
			}
			if i < j {
				out.Signals = append(out.Signals, s.Slice(i, j))
			}
			continue
		}
		var keep []int
		for i, t := range s.Time {
			if first <= t && t <= last {
				keep = append(keep, i)
			}
		}
		if len(keep) == 0 {
			continue
		}
		c := &Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind, Time: pick(s.Time, keep), Boot: pick(s.Boot, keep)}
		switch s.Kind {
		case Float64:
			c.Float = pick(s.Float, keep)
		case Int64:
			c.Int = pick(s.Int, keep)
		case Bool:
			c.Bool = pick(s.Bool, keep)
		case Text:
			c.Text = pick(s.Text, keep)
		}
		out.Signals = append(out.Signals, c)
	}
	return out
}

// Seconds turns microseconds into the seconds of JSON and CSV.
func Seconds(us int64) float64 { return float64(us) / 1e6 }

// Micros rounds seconds to the microsecond, the resolution of every stored time. The
// caller has made sure that s is finite and within ±9e12 s.
func Micros(s float64) int64 { return int64(math.Round(s * 1e6)) }
