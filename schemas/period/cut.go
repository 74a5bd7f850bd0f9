package period

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Cut is the part of the log that is stored with match m. A signal that says nothing in
// the first second of it (a battery's name, a counter logged on change) keeps the value it
// held: its last earlier sample is carried to the first sample of the part, so that a
// recorder that was off before the match makes no gap. The rest shares memory with log.
func Cut(log *schemas.Log, m Match) *schemas.Log {
	first, last, ok := log.Bounds()
	if !ok || m.First <= first && last <= m.Last {
		return log
	}
	out := log.Cut(m.First, m.Last)
	begin, _, ok := out.Bounds()
	if !ok {
		begin = m.First
	}
	for _, s := range log.Signals {
		held := lastBefore(s, m.First)
		if held < 0 {
			continue
		}
		cut := out.Find(s.Name)
		if cut != nil && slices.Min(cut.Time) < begin+second {
			continue
		}
		carried := s.Slice(held, held+1)
		carried.Time, carried.Boot = []int64{begin}, nil
		if cut != nil {
			carried = prepend(carried, cut)
		}
		i, found := slices.BinarySearchFunc(out.Signals, s.Name, func(x *schemas.Signal, n string) int {
			switch {
			case x.Name < n:
				return -1
			case x.Name > n:
				return 1
			}
			return 0
		})
		if found {
			out.Signals[i] = carried
		} else {
			out.Signals = slices.Insert(out.Signals, i, carried)
		}
	}
	return out
}

// lastBefore is the index of the latest sample before t in time, -1 if there is none.
func lastBefore(s *schemas.Signal, t int64) int {
	if s.Boot == nil {
		i, _ := slices.BinarySearch(s.Time, t)
		return i - 1
	}
	at := -1
	for i, u := range s.Time {
		if u < t && (at < 0 || u >= s.Time[at]) {
			at = i
		}
	}
	return at
}

func prepend(one, rest *schemas.Signal) *schemas.Signal {
	out := &schemas.Signal{
		Name: rest.Name, Unit: rest.Unit, Kind: rest.Kind,
		Time:  slices.Concat(one.Time, rest.Time),
		Float: slices.Concat(one.Float, rest.Float),
		Int:   slices.Concat(one.Int, rest.Int),
		Bool:  slices.Concat(one.Bool, rest.Bool),
		Text:  slices.Concat(one.Text, rest.Text),
	}
	if rest.Boot != nil {
		out.Boot = slices.Concat([]int32{rest.Boot[0]}, rest.Boot)
	}
	return out
}
