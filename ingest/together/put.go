package together

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/align"
	"github.com/afterbell/afterbell/schemas"
)

// Put is one log of both, in the time of first; other's power-ups are numbered from boot on, so
// that what came with it can be told from the rest.
//
// A sample that first has already, of a copy of the same recording, is not taken again. Where
// both logged a signal at the same time, first's samples keep its name and other's go by the
// name with that of its file behind it: "robot/mode (vision)". Laid over each other, a counter
// would fall and rise at each of its steps.
func Put(first *schemas.Log, other Part, f Found) (log *schemas.Log, boot int32, err error) {
	boot = NextBoot(first)
	moved := f.Shift.Apply(other.Log, boot)
	if f.Repeated > 0 {
		moved = WithoutRepeated(first, moved)
	} else {
		moved = beside(first, moved, other.Name)
	}
	log, err = ingest.Merge(first, moved)
	return log, boot, err
}

// merged is Put for looking only.
func merged(first *schemas.Log, other Part, s align.Shift) (*schemas.Log, error) {
	log, _, err := Put(first, other, Found{Shift: s})
	return log, err
}

// NextBoot is a power-up that the log does not have.
func NextBoot(l *schemas.Log) int32 {
	next := int32(1)
	if boots := l.Boots(); len(boots) > 0 {
		next = max(next, slices.Max(boots)+1)
	}
	return next
}

// WithoutRepeated is other without the samples that first holds too, at the same time and to the
// bit, whatever their power-ups.
func WithoutRepeated(first, other *schemas.Log) *schemas.Log {
	out := &schemas.Log{}
	for _, s := range other.Signals {
		in := first.Find(s.Name)
		if in == nil || in.Kind != s.Kind {
			out.Signals = append(out.Signals, s)
			continue
		}
		have := map[sample]bool{}
		for i := range in.Time {
			have[sampleOf(in, i)] = true
		}
		if kept := picked(s, func(i int) bool { return !have[sampleOf(s, i)] }); kept.Len() > 0 {
			out.Signals = append(out.Signals, kept)
		}
	}
	return out
}

// sample is a time and a value, whatever its kind.
type sample struct {
	us   int64
	bits uint64
	text string
}

func sampleOf(s *schemas.Signal, i int) sample {
	switch s.Kind {
	case schemas.Text:
		return sample{us: s.Time[i], text: s.Text[i]}
	case schemas.Int64:
		return sample{us: s.Time[i], bits: uint64(s.Int[i])}
	}
	return sample{us: s.Time[i], bits: math.Float64bits(s.Number(i))}
}

// picked are the samples of s that keep says, as a signal of its own.
func picked(s *schemas.Signal, keep func(i int) bool) *schemas.Signal {
	out := &schemas.Signal{Name: s.Name, Unit: s.Unit, Kind: s.Kind}
	for i := range s.Time {
		if !keep(i) {
			continue
		}
		out.Time = append(out.Time, s.Time[i])
		if s.Boot != nil {
			out.Boot = append(out.Boot, s.Boot[i])
		}
		switch s.Kind {
		case schemas.Float64:
			out.Float = append(out.Float, s.Float[i])
		case schemas.Int64:
			out.Int = append(out.Int, s.Int[i])
		case schemas.Bool:
			out.Bool = append(out.Bool, s.Bool[i])
		default:
			out.Text = append(out.Text, s.Text[i])
		}
	}
	return out
}

// span is a stretch of time, both ends in it.
type span struct{ from, to int64 }

// beside puts aside, under names of their own, the samples of signals that first logged at the
// same time.
func beside(first, other *schemas.Log, name string) *schemas.Log {
	ends := lastOfBoots(first)
	out := &schemas.Log{}
	for _, s := range other.Signals {
		in := first.Find(s.Name)
		if in == nil {
			out.Signals = append(out.Signals, s)
			continue
		}
		ran := running(in, ends)
		covered := func(i int) bool {
			return slices.ContainsFunc(ran, func(r span) bool { return r.from <= s.Time[i] && s.Time[i] <= r.to })
		}
		if rest := picked(s, func(i int) bool { return !covered(i) }); rest.Len() > 0 {
			out.Signals = append(out.Signals, rest)
		}
		if aside := picked(s, covered); aside.Len() > 0 {
			aside.Name = asideName(first, other, s.Name, name)
			out.Signals = append(out.Signals, aside)
		}
	}
	out.Normalize()
	return out
}

// running is when a signal was logged, by power-up: from its first sample to its last, or to the
// end of the power-up where it holds its value.
func running(s *schemas.Signal, ends map[int32]int64) (out []span) {
	at := map[int32]int{}
	for i, t := range s.Time {
		k, ok := at[s.BootAt(i)]
		if !ok {
			k = len(out)
			at[s.BootAt(i)] = k
			out = append(out, span{t, t})
		}
		out[k] = span{min(out[k].from, t), max(out[k].to, t)}
	}
	if s.Kind != schemas.Float64 {
		for boot, k := range at {
			out[k].to = max(out[k].to, ends[boot])
		}
	}
	return out
}

func lastOfBoots(l *schemas.Log) map[int32]int64 {
	out := map[int32]int64{}
	for _, s := range l.Signals {
		for i, t := range s.Time {
			b := s.BootAt(i)
			if last, ok := out[b]; !ok || t > last {
				out[b] = t
			}
		}
	}
	return out
}

// asideName is a name that neither log has.
func asideName(first, other *schemas.Log, signal, file string) string {
	for n := 1; ; n++ {
		end := fmt.Sprintf(" (%s)", file)
		if n > 1 {
			end = fmt.Sprintf(" (%s %d)", file, n)
		}
		name := signal
		for len(name)+len(end) > schemas.MaxSignalName && len(name) > 0 {
			r := []rune(name)
			name = string(r[:len(r)-1])
		}
		if len(name)+len(end) > schemas.MaxSignalName {
			file = "other"
			continue
		}
		if name += end; first.Find(name) == nil && other.Find(name) == nil {
			return name
		}
	}
}
