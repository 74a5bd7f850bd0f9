// Package recognize says what a log that came without a word probably is: which robot's, by
// the signals in it, and which match's and when, by the file's name and date. It only
// proposes; whoever asks says how sure that is and lets a person correct it.
package recognize

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Fit says how well a profile fits a log.
type Fit struct {
	Profile int      // its place in what Profiles was given
	Found   int      // signals of the profile that are in the log
	Missing []string // and those that are not, in order
}

// Mapped is how many signals the profile names.
func (f Fit) Mapped() int { return f.Found + len(f.Missing) }

// fits is whether a log is likely this robot's: at least half of what the profile names is in
// it, and more than one signal where it names several. Chosen by us: a log of another robot
// shares a few names with it (a voltage, a mode), a log of a robot on which sensors failed
// lacks a few.
func (f Fit) fits() bool {
	return f.Found > len(f.Missing) && (f.Found > 1 || f.Mapped() == 1) || f.Found > 1 && f.Found == len(f.Missing)
}

// Profiles are the profiles that fit the log, best first: most signals found, less those
// missing; then most found; then in the order given. A profile that names no signal fits
// nothing.
func Profiles(log *schemas.Log, profiles []*profile.Profile) []Fit {
	have := map[string]bool{}
	for _, s := range log.Signals {
		have[s.Name] = true
	}
	var out []Fit
	for i, p := range profiles {
		f := Fit{Profile: i}
		seen := map[string]bool{}
		for _, r := range p.Refs() {
			name := r.Ref.Signal
			switch {
			case name == "" || seen[name]:
			case have[name]:
				f.Found++
			default:
				f.Missing = append(f.Missing, name)
			}
			seen[name] = true
		}
		slices.Sort(f.Missing)
		if f.fits() {
			out = append(out, f)
		}
	}
	slices.SortStableFunc(out, func(a, b Fit) int {
		return cmp.Or(cmp.Compare(b.Found-len(b.Missing), a.Found-len(a.Missing)), cmp.Compare(b.Found, a.Found))
	})
	return out
}

// Tied are the profiles that fit as well as the best, itself included: the log does not say
// which of them it is.
func Tied(fits []Fit) []Fit {
	for i, f := range fits {
		if f.Found != fits[0].Found || len(f.Missing) != len(fits[0].Missing) {
			return fits[:i]
		}
	}
	return fits
}
