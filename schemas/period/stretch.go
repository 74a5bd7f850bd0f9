package period

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Stretch is the log from first to last inclusive, in which what is held is known from first
// on: a signal that holds its value until its next sample, as text, bools and counters do,
// has a sample at first with the value it then had, that of its last earlier sample of the
// same power-up. Others have the samples they have. held says which signals hold; nil means all
// whose kind says so. end is when the whole recording ends, of which log may be some
// signals: behind it nothing is known. The log must be normalized; signals of one power-up
// share memory with it.
func Stretch(log *schemas.Log, first, last, end int64, held func(*schemas.Signal) bool) *schemas.Log {
	out := log.Cut(first, last)
	if first > end || first > last {
		return out
	}
	if held == nil {
		held = Holds
	}
	boots := out.Boots()
	for _, s := range log.Signals {
		if !held(s) {
			continue
		}
		cut := out.Find(s.Name)
		if cut != nil && slices.Contains(cut.Time, first) {
			continue
		}
		alive := boots
		if cut == nil && len(boots) == 0 { // nothing tells which power-up goes on: the one of the latest sample
			alive = s.Boots()
		}
		at := lastBefore(s, first, alive)
		if at < 0 {
			continue
		}
		carried := s.Slice(at, at+1)
		carried.Time = []int64{first}
		if cut == nil {
			i, _ := slices.BinarySearchFunc(out.Signals, s.Name, named)
			out.Signals = slices.Insert(out.Signals, i, carried)
			continue
		}
		i, _ := slices.BinarySearchFunc(out.Signals, s.Name, named)
		out.Signals[i] = joined(carried, cut)
	}
	return out
}

func named(s *schemas.Signal, name string) int { return cmp.Compare(s.Name, name) }

// HeldBy tells which signals of a robot hold their value: those whose kind says so, and those
// that its profile reads as a state or counter. Without a profile, kinds alone tell.
func HeldBy(p *profile.Profile) func(*schemas.Signal) bool {
	byRole := map[string]bool{}
	if p != nil {
		for _, ref := range p.Refs() {
			if ref.Want != profile.WantNumber && ref.Ref.Below == nil && ref.Ref.Above == nil {
				byRole[ref.Ref.Signal] = true
			}
		}
	}
	return func(s *schemas.Signal) bool { return Holds(s) || byRole[s.Name] }
}

// Holds reports whether a signal holds its value until its next sample, as far as its kind
// tells: text, bools, and integers, which count.
func Holds(s *schemas.Signal) bool { return s.Kind != schemas.Float64 }
