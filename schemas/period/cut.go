package period

import (
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Cut is the part of the log that is stored with match m. A signal that says nothing in
// the first second of it (a battery's name, a counter logged on change) keeps the value it
// held: its last earlier sample of the same power-up is carried to the first sample of the
// part, so that a recorder that was off before the match makes no gap. A value does not
// outlive its power-up. The rest shares memory with log.
func Cut(log *schemas.Log, m Match) *schemas.Log {
	first, last, ok := log.Bounds()
	if !ok || m.First <= first && last <= m.Last {
		return log
	}
	out := log.Cut(m.First, m.Last)
	begin, _, ok := out.Bounds()
	if !ok {
		return out
	}
	boots := out.Boots()
	for _, s := range log.Signals {
		held := lastBefore(s, m.First, boots)
		if held < 0 {
			continue
		}
		cut := out.Find(s.Name)
		if cut != nil && firstOf(cut) < begin+second {
			continue
		}
		carried := s.Slice(held, held+1)
		carried.Time = []int64{begin}
		if cut != nil {
			carried = joined(carried, cut)
		}
		i, found := slices.BinarySearchFunc(out.Signals, s.Name, func(x *schemas.Signal, n string) int {
			return strings.Compare(x.Name, n)
		})
		if found {
			out.Signals[i] = carried
		} else {
			out.Signals = slices.Insert(out.Signals, i, carried)
		}
	}
	return out
}

// firstOf is the time of a normalized signal's first sample.
func firstOf(s *schemas.Signal) int64 {
	if s.Boot == nil {
		return s.Time[0]
	}
	return slices.Min(s.Time)
}

// lastBefore is the index of the latest sample before t in time of one of the power-ups, -1
// if there is none.
func lastBefore(s *schemas.Signal, t int64, boots []int32) int {
	if s.Boot == nil {
		if !slices.Contains(boots, 0) {
			return -1
		}
		i, _ := slices.BinarySearch(s.Time, t)
		return i - 1
	}
	at := -1
	for i, u := range s.Time {
		if u < t && slices.Contains(boots, s.Boot[i]) && (at < 0 || u >= s.Time[at]) {
			at = i
		}
	}
	return at
}

// joined is one sample and the rest of its signal, in order.
func joined(one, rest *schemas.Signal) *schemas.Signal {
	out := &schemas.Signal{
		Name: rest.Name, Unit: rest.Unit, Kind: rest.Kind,
		Time:  slices.Concat(one.Time, rest.Time),
		Float: slices.Concat(one.Float, rest.Float),
		Int:   slices.Concat(one.Int, rest.Int),
		Bool:  slices.Concat(one.Bool, rest.Bool),
		Text:  slices.Concat(one.Text, rest.Text),
	}
	if one.Boot != nil || rest.Boot != nil {
		out.Boot = slices.Concat([]int32{one.BootAt(0)}, rest.Boots())
	}
	log := schemas.Log{Signals: []*schemas.Signal{out}}
	log.Normalize()
	return out
}
