package power

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// supply is the currents: of the whole robot, measured or added up, and of each branch.
type supply struct {
	whole    *trace // nil without any current
	added    bool   // whole is the sum of the branches
	branches []namedTrace
	noise    []float64 // A, of the readings of each branch; nil until asked for
	beyond   float64   // the sum of the branches over the whole, in the log together; 0 when not known
}

type namedTrace struct {
	name string
	trace
}

func supplyOf(in Input, cfg Config, r *Result) supply {
	var s supply
	for _, b := range in.Branches {
		if b.Current != nil && len(b.Current.T) > 0 {
			s.branches = append(s.branches, namedTrace{b.Name, newTrace(b.Current, in.Gaps, cfg)})
		}
	}
	switch {
	case in.Current != nil && len(in.Current.T) > 0:
		c := newTrace(in.Current, in.Gaps, cfg)
		s.whole = &c
		s.beyond = s.beyondWhole(in.Start, in.End)
	case len(s.branches) > 0:
		if c := sum(s.branches); len(c.T) > 0 {
			s.whole, s.added = &c, true
			r.note("no current of the whole robot: the sum of the %d branches stands in for it; what is not in them is missing", len(s.branches))
		}
	}
	return s
}

// beyondWhole is the charge of all branches over that of the whole; 0 when one is not known.
func (s supply) beyondWhole(from, to int64) float64 {
	whole, known := s.whole.integral(from, to)
	if known == 0 || !(whole > 0) {
		return 0
	}
	sum := 0.0
	for _, b := range s.branches {
		charge, seen := b.integral(from, to)
		if seen == 0 {
			return 0
		}
		sum += charge / seen
	}
	return sum / (whole / known)
}

// sum adds up the branches at the times of the fastest one. A time at which one of them is
// not known has no sum.
func sum(branches []namedTrace) trace {
	fastest := branches[0].trace
	for _, b := range branches[1:] {
		if b.step < fastest.step || b.step == fastest.step && len(b.T) > len(fastest.T) {
			fastest = b.trace
		}
	}
	total := make([]float64, len(fastest.T))
	for _, b := range branches {
		for i, v := range b.sample(fastest.T, 0) {
			total[i] += v
		}
	}
	out := fastest
	out.T, out.V = make([]int64, 0, len(total)), make([]float64, 0, len(total))
	for i, v := range total {
		if !math.IsNaN(v) {
			out.T, out.V = append(out.T, fastest.T[i]), append(out.V, v)
		}
	}
	return out
}

// leastA is a current, A; less is none.
const leastA = 1e-3

// blame shares the current over dip d among the branches: each branch's charge over the
// whole charge from start to end, both read straight between their own samples, so that
// signals of different rates and a dip shorter than their step come out right as far as
// they can. A branch that fed current back has share 0. Where the branches add up to more than the
// whole over the dip, but not over the log, the two were read at other moments: then the shares
// are of what the branches drew together. Nothing is shared when the whole
// current is known for less than half of the dip, or is not above zero.
func (s supply) blame(b *schemas.Brownout, d dip, voltage trace, pair *aligned, r *Result) {
	if s.whole == nil {
		return
	}
	from, to := d.start+pair.delayUs(), d.end+pair.delayUs()
	if to == from {
		to += voltage.step // the log ends with the first sample under
	}
	length := schemas.Seconds(to - from)
	whole, known := s.whole.integral(from, to)
	if known < length/2 || whole <= leastA*known {
		r.note("who drew the current in the brownout at %.2f s is not known: no reading of the whole current over it", b.StartS)
		return
	}
	b.CurrentA = schemas.Some(whole / known)
	if len(s.branches) == 0 {
		return
	}
	if to-from < s.whole.step {
		r.note("the brownout at %.2f s (%.0f ms) is shorter than a step of the current (%.0f ms): shares come from the samples around it", b.StartS, length*1e3, schemas.Seconds(s.whole.step)*1e3)
	}
	var shares float64
	complete := true
	for _, branch := range s.branches {
		charge, seen := branch.integral(from, to)
		if seen < length/2 {
			complete = false
			continue
		}
		mean := charge / seen
		share := mean / (whole / known)
		shares += share
		b.Branches = append(b.Branches, schemas.Share{Name: branch.name, Share: max(share, 0)})
	}
	const tooMuch = 1.1
	readApart := complete && !s.added && shares > tooMuch && s.beyond <= tooMuch
	if readApart {
		shareAmong(b)
	}
	for n := range b.Branches {
		b.Branches[n].Share = min(b.Branches[n].Share, 1)
	}
	if shift := s.shifted(b, from, to); len(b.Branches) > 0 {
		b.ShareShift = schemas.Some(shift)
	}
	if !complete {
		r.note("over the brownout at %.2f s some branches have no reading: what they drew is not in the shares", b.StartS)
		return
	}
	if !s.added && !readApart {
		b.OtherShare = schemas.Some(min(max(1-shares, 0), 1))
		if shares > tooMuch {
			r.note("over the brownout at %.2f s the branches add up to %.0f %% of the whole current: check the scale of their sensors", b.StartS, 100*shares)
		}
	}
}

// shareAmong makes the shares parts of what the branches drew together, where that is more than
// the reading of the whole current.
func shareAmong(b *schemas.Brownout) {
	sum := 0.0
	for _, share := range b.Branches {
		sum += share.Share
	}
	for n := range b.Branches {
		b.Branches[n].Share /= sum
	}
}
