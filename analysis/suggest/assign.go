package suggest

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/profile"
)

// use is one signal in one role of the profile.
type use struct {
	role string // "path.stages.sensor"; see Mapped.Role
	of   int    // which stage, branch or move, from 0
	s    *signal
	ref  profile.Ref // how it is read; Signal is filled in later
	sure float64     // that this signal is the right one if its option is right
	why  string
}

// option is one way to fill a slot: the signals that fill it together, and how much likelier
// what is seen of them is if they do than if they do not, in natural logarithms.
type option struct {
	uses []use
	odds float64
	// shares is true for an option that may have its signals together with other slots: the
	// current of a branch may be that of a stage too.
	shares bool
}

// slot is a part of the profile that one option fills, or none. The odds of none are 0.
type slot struct {
	name    string
	options []option
}

// solve gives every option of every slot its probability, under the two rules that tie the
// slots together: a slot is filled once, and a signal is used once. It is the soft assignment
// of Gold and Rangarajan, "A graduated assignment algorithm for graph matching", IEEE Trans.
// PAMI 18 (1996), at one temperature: probabilities proportional to the odds, scaled by one
// factor for each signal until none is used more than once. What is above a half in the result
// therefore never collides.
func solve(slots []slot, signals int) [][]float64 {
	p := make([][]float64, len(slots))
	for i, s := range slots {
		p[i] = make([]float64, len(s.options))
	}
	scale := make([]float64, signals) // log of each signal's factor
	used := make([]float64, signals)
	const rounds = 3000
	for range rounds {
		clear(used)
		for i, s := range slots {
			share(p[i], s.options, scale)
			for j, o := range s.options {
				for _, u := range o.uses {
					if !o.shares {
						used[u.s.at] += p[i][j] * u.sure
					}
				}
			}
		}
		moved := 0.0
		for at, u := range used {
			if u > 1 || scale[at] < 0 {
				next := min(0, scale[at]-math.Log(max(u, 1e-12)))
				moved = max(moved, math.Abs(next-scale[at]))
				scale[at] = next
			}
		}
		if moved < 1e-5 {
			break
		}
	}
	return p
}

// share writes the probabilities of the options of one slot.
func share(p []float64, options []option, scale []float64) {
	top := 0.0
	for j, o := range options {
		p[j] = o.odds
		for _, u := range o.uses {
			if !o.shares {
				p[j] += scale[u.s.at]
			}
		}
		top = max(top, p[j])
	}
	sum := math.Exp(-top)
	for j := range p {
		p[j] = math.Exp(p[j] - top)
		sum += p[j]
	}
	for j := range p {
		p[j] /= sum
	}
}

// claim is a signal for a role with its probability over all options that have it there.
type claim struct {
	use
	p, most float64
}

// claims are the signals each role may have, the likeliest first, by role and of.
func claims(slots []slot, p [][]float64) map[place][]claim {
	out := map[place][]claim{}
	for i, s := range slots {
		for j, o := range s.options {
			for _, u := range o.uses {
				at := place{u.role, u.of}
				k := slices.IndexFunc(out[at], func(c claim) bool { return c.s == u.s && c.ref == u.ref })
				if k < 0 {
					out[at] = append(out[at], claim{use: u})
					k = len(out[at]) - 1
				}
				c, more := &out[at][k], p[i][j]*u.sure
				c.p += more
				if more > c.most {
					c.most, c.why = more, u.why // the reason of the likeliest way
				}
			}
		}
	}
	for at := range out {
		slices.SortStableFunc(out[at], func(a, b claim) int { return cmp.Compare(b.p, a.p) })
	}
	return out
}

// place is one role of one stage, branch or move.
type place struct {
	role string
	of   int
}
