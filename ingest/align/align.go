// Package align puts recordings of one match together that were made on different clocks:
// two computers of one robot, or a recorder and the robot. It finds by how much one clock is
// behind the other from what both saw.
//
// # How
//
// A change that both logs hold (the mode went to driver, a beam was broken, a counter went
// up) happened once. A log that shows it at t, and the value before it at t0, says that it
// happened after t0 and not after t; so each change that both saw puts the shift between two
// bounds, and all together put it between the closest of them. Which change of one log is
// which of the other is told by the shift itself: the one under which most changes find their
// fellow. Where both logs have only measured quantities in common, their changes are
// correlated instead.
//
// # What is promised
//
// A shift is only given when it is the only one: nothing but chance would have to be behind
// any other, and what was found by different signals agrees. Else the error is an *Unknown
// that says what is missing. The bound holds if both logs wrote each change down within their
// own step; what a computer is late with every time, a network say, cannot be seen from the
// logs and is in no bound.
package align

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Shift is what to add to the times of the other log to get those of the first.
type Shift struct {
	ShiftUS  int64    // at MidUS
	MidUS    int64    // middle of what both saw, in the first log's time
	DriftPPM float64  // what the shift grows by, in microseconds a second; 0 where it cannot be told from none
	BoundUS  int64    // the shift is right to within this where both logs were running
	Signals  []string // that told it
	Changes  int      // that both saw, or whole seconds of correlated signal
	Matched  bool     // by changes; else by correlation
}

// String is the shift in words, for the notes of a report.
func (s Shift) String() string {
	how := fmt.Sprintf("%d changes of %s that both saw", s.Changes, listed(s.Signals))
	if !s.Matched {
		how = fmt.Sprintf("the course of %s over %d s", listed(s.Signals), s.Changes)
	}
	drift := ""
	if s.DriftPPM != 0 {
		drift = fmt.Sprintf(", growing by %.0f µs a second", s.DriftPPM)
	}
	return fmt.Sprintf("shifted by %.3f s ± %.3f s%s, told by %s", schemas.Seconds(s.ShiftUS), schemas.Seconds(s.BoundUS), drift, how)
}

func listed(names []string) string {
	const most = 3
	if len(names) > most {
		return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
	}
	return strings.Join(names, ", ")
}

// Unknown says why no shift can be told.
type Unknown struct{ Why string }

func (e *Unknown) Error() string { return e.Why }

// Limits of the search; chosen by us.
const (
	second = int64(1e6)
	// mostDrift is how much faster one clock may run. Crystals are good for 100 ppm and hot or
	// cheap ones for 300 (common practice).
	mostDrift = 500e-6
	// mostChanges of one kind are looked at: what changes more often tells nothing apart.
	mostChanges = 400
	// leastChanges that find their fellow make a shift, and of no other shift more than half
	// as many.
	leastChanges = 3
	// mostTime is the farthest a clock may stand from zero: three centuries, in microseconds.
	mostTime = int64(1e16)
	// typicalStep stands in for the step of a log that has none to be seen.
	typicalStep = 50_000
)

// Find tells the shift of other against first, which are normalized and not changed. The error
// is an *Unknown.
func Find(first, other *schemas.Log) (Shift, error) {
	if len(shared(first, other)) == 0 {
		return Shift{}, &Unknown{"no signal is in both logs, so nothing says how their clocks lie to each other"}
	}
	for _, l := range []*schemas.Log{first, other} {
		if from, to, _ := l.Bounds(); from < -mostTime || to > mostTime {
			return Shift{}, &Unknown{"a log has times so far from zero that they are no clock's"}
		}
	}
	byChanges, why := matchChanges(first, other)
	byCourse, ok := correlate(first, other)
	switch {
	case why == nil && ok && disagree(byChanges, byCourse):
		return Shift{}, &Unknown{fmt.Sprintf("what both logs saw contradicts itself: %s, but %s", byChanges, byCourse)}
	case why == nil:
		return byChanges, nil
	case ok:
		return byCourse, nil
	}
	return Shift{}, why
}

// disagree is whether two shifts cannot both be right. Correlation is blurred by what sensors
// and filters are late with, so it is given a quarter of a second.
func disagree(a, b Shift) bool {
	const blur = second / 4
	return math.Abs(float64(a.at(b.MidUS)-b.ShiftUS)) > float64(a.BoundUS+b.BoundUS+blur)
}

// at is the shift at a time of the first log.
func (s Shift) at(t int64) int64 {
	return s.ShiftUS + int64(math.Round(float64(t-s.MidUS)*s.DriftPPM*1e-6))
}

// Apply is other in the time of the first log, its power-ups numbered from boot on. It shares
// values with other, and no times.
func (s Shift) Apply(other *schemas.Log, boot int32) *schemas.Log {
	out := &schemas.Log{Signals: make([]*schemas.Signal, len(other.Signals))}
	for i, sig := range other.Signals {
		c := *sig
		c.Time = make([]int64, len(sig.Time))
		c.Boot = make([]int32, len(sig.Time))
		for j, t := range sig.Time {
			c.Time[j] = t + s.at(t+s.ShiftUS)
			c.Boot[j] = boot + sig.BootAt(j)
		}
		out.Signals[i] = &c
	}
	out.Normalize()
	return out
}

// shared are the signals that are in both logs with samples, in order of name.
func shared(first, other *schemas.Log) []string {
	var out []string
	for _, s := range first.Signals {
		if o := other.Find(s.Name); o != nil && s.Len() > 1 && o.Len() > 1 && (s.Kind == schemas.Text) == (o.Kind == schemas.Text) {
			out = append(out, s.Name)
		}
	}
	return out
}

// change is one change of a value: it happened after From and not after At.
type change struct {
	key      string // signal and both values
	from, at int64
}

// changesOf are the changes of a signal that holds its values; nil for a measured quantity.
func changesOf(s *schemas.Signal, step int64) []change {
	if s.Kind == schemas.Float64 && !counts(s) {
		return nil
	}
	var out []change
	for i := 1; i < s.Len(); i++ {
		if s.BootAt(i) != s.BootAt(i-1) {
			continue
		}
		before, after := word(s, i-1), word(s, i)
		if before == after {
			continue
		}
		// A log that writes changes only has its last sample long before: then it wrote this one
		// at once, within its step.
		out = append(out, change{s.Name + "\x00" + before + "\x00" + after, max(s.Time[i-1], s.Time[i]-max(step, 1)*2), s.Time[i]})
	}
	return out
}

// counts is whether a float signal holds small whole numbers: a mode, a counter, a beam.
func counts(s *schemas.Signal) bool {
	for _, v := range s.Float {
		if v != math.Trunc(v) || math.Abs(v) > 1e6 {
			return false
		}
	}
	return true
}

// word is a value as text that is equal for a bool, an int and a float of one value.
func word(s *schemas.Signal, i int) string {
	if s.Kind == schemas.Text {
		return s.Text[i]
	}
	return fmt.Sprint(s.Number(i))
}

// step is the median time from sample to sample of the log's densest signal.
func step(l *schemas.Log) int64 {
	best := int64(0)
	for _, s := range l.Signals {
		if s.Len() < 50 || s.Boot != nil {
			continue
		}
		gaps := make([]int64, 0, s.Len())
		for i := 1; i < s.Len(); i++ {
			gaps = append(gaps, s.Time[i]-s.Time[i-1])
		}
		slices.Sort(gaps)
		if g := gaps[len(gaps)/2]; best == 0 || g < best {
			best = g
		}
	}
	if best == 0 {
		return typicalStep
	}
	return min(best, second/2)
}

// fellow is a change that both logs hold, if the shift is right: it lies in [lo, hi] at the
// time at of the first log.
type fellow struct {
	lo, hi, at int64
	key        string
	i, j       int // its places in both lists
}

// matchChanges finds the shift under which most changes find their fellow.
func matchChanges(first, other *schemas.Log) (Shift, *Unknown) {
	a, b := allChanges(first, other)
	pairs := pairsOf(a, b)
	if len(pairs) < leastChanges {
		return Shift{}, &Unknown{"both logs saw fewer than 3 changes of the same signals, too few to tell how their clocks lie to each other"}
	}
	best, second := fullest(pairs, len(a), len(b))
	switch {
	case len(best) < leastChanges:
		return Shift{}, &Unknown{fmt.Sprintf("no shift lets more than %d changes agree in both logs: they hardly were of one match", len(best))}
	case 2*second > len(best):
		return Shift{}, &Unknown{fmt.Sprintf("under one shift %d changes agree in both logs and under another %d: the log does not say which is right", len(best), second)}
	}
	return fitted(best)
}

// allChanges are the changes of shared signals in both logs, in order of time.
func allChanges(first, other *schemas.Log) (a, b []change) {
	stepA, stepB := step(first), step(other)
	for _, name := range shared(first, other) {
		one, two := changesOf(first.Find(name), stepA), changesOf(other.Find(name), stepB)
		if len(one) == 0 || len(two) == 0 || len(one) > mostChanges || len(two) > mostChanges {
			continue
		}
		a, b = append(a, one...), append(b, two...)
	}
	byTime := func(x, y change) int { return cmp.Or(cmp.Compare(x.at, y.at), cmp.Compare(x.key, y.key)) }
	slices.SortFunc(a, byTime)
	slices.SortFunc(b, byTime)
	return a, b
}

func pairsOf(a, b []change) []fellow {
	byKey := map[string][]int{}
	for j, c := range b {
		byKey[c.key] = append(byKey[c.key], j)
	}
	var out []fellow
	for i, c := range a {
		for _, j := range byKey[c.key] {
			out = append(out, fellow{lo: c.from - b[j].at, hi: c.at - b[j].from, at: c.at, key: c.key, i: i, j: j})
		}
	}
	slices.SortFunc(out, func(x, y fellow) int {
		return cmp.Or(cmp.Compare(x.lo+x.hi, y.lo+y.hi), cmp.Compare(x.i, y.i), cmp.Compare(x.j, y.j))
	})
	return out
}

// fullest finds the window of shifts that holds most pairs, each change used once, and how
// many the fullest window apart from it holds. A window is as wide as the pairs' own
// uncertainty and what drift may add over the log.
func fullest(pairs []fellow, na, nb int) (best []fellow, next int) {
	span := int64(0)
	for _, p := range pairs {
		span = max(span, p.at-pairs[0].at, pairs[0].at-p.at)
	}
	var unsure []int64
	for _, p := range pairs {
		unsure = append(unsure, p.hi-p.lo)
	}
	slices.Sort(unsure)
	width := unsure[len(unsure)*9/10] + int64(float64(span)*mostDrift)
	used := func(lo, hi int) []fellow {
		one, two := make([]bool, na), make([]bool, nb)
		var out []fellow
		for _, p := range pairs[lo:hi] {
			if !one[p.i] && !two[p.j] {
				one[p.i], two[p.j] = true, true
				out = append(out, p)
			}
		}
		return out
	}
	type window struct{ lo, hi, n int }
	var windows []window
	hi := 0
	for lo := range pairs {
		for hi < len(pairs) && (pairs[hi].lo+pairs[hi].hi)-(pairs[lo].lo+pairs[lo].hi) <= 2*width {
			hi++
		}
		windows = append(windows, window{lo, hi, hi - lo})
	}
	slices.SortStableFunc(windows, func(x, y window) int { return cmp.Compare(y.n, x.n) })
	const most = 400 // of the fullest by count are looked at closely
	top := windows[:min(len(windows), most)]
	var at window
	for _, w := range top {
		if got := used(w.lo, w.hi); len(got) > len(best) {
			best, at = got, w
		}
	}
	centre := func(w window) int64 { return pairs[w.lo].lo + pairs[w.hi-1].hi }
	for _, w := range windows {
		if w.n <= next {
			break // no fuller one follows
		}
		if d := centre(w) - centre(at); d > 4*width || d < -4*width {
			next = max(next, len(used(w.lo, w.hi)))
		}
	}
	return best, next
}

// fitted is the shift and drift that all pairs allow. Where none does exactly, because logs
// write some changes late, the bounds are widened by as little as it takes, with at most a
// tenth of the pairs left out.
func fitted(pairs []fellow) (Shift, *Unknown) {
	first, last := pairs[0].at, pairs[0].at
	for _, p := range pairs {
		first, last = min(first, p.at), max(last, p.at)
	}
	mid := (first + last) / 2
	slack, flat := room(pairs, mid, 0)
	out := Shift{MidUS: mid, Changes: len(pairs), Matched: true, Signals: namesOf(pairs)}
	drift, bestSlack, bestAt := 0.0, slack, flat
	// The room is concave in the drift: it is a minimum of linear functions less a maximum.
	lo, hi := -mostDrift, mostDrift
	for range 60 {
		m1, m2 := lo+(hi-lo)/3, hi-(hi-lo)/3
		s1, _ := room(pairs, mid, m1)
		s2, _ := room(pairs, mid, m2)
		if s1 < s2 {
			lo = m1
		} else {
			hi = m2
		}
	}
	if s, at := room(pairs, mid, (lo+hi)/2); s > bestSlack+1 && slack < 0 {
		drift, bestSlack, bestAt = (lo+hi)/2, s, at // no drift does not fit, and this does better
	}
	if bestSlack < 0 && len(pairs) >= 10*leastChanges {
		if rest := without(pairs, mid, drift, bestAt, len(pairs)/10); len(rest) < len(pairs) {
			return fitted(rest)
		}
	}
	out.ShiftUS, out.DriftPPM = int64(math.Round(bestAt)), drift*1e6
	half := math.Abs(bestSlack) / 2
	// What drift the room leaves open widens the bound at the ends of what both saw.
	out.BoundUS = int64(math.Ceil(half)) + int64(math.Ceil(openDrift(pairs, mid, drift, bestSlack)*float64(last-first)/2))
	if out.BoundUS > second/2 {
		return Shift{}, &Unknown{fmt.Sprintf("the changes that both logs saw agree to within ±%.2f s only, too far to lay one log over the other", schemas.Seconds(out.BoundUS))}
	}
	return out, nil
}

// room is how far the shift can move under a drift and still meet all pairs (negative: by how
// much they miss), and the middle of that.
func room(pairs []fellow, mid int64, drift float64) (width, at float64) {
	lo, hi := math.Inf(-1), math.Inf(1)
	for _, p := range pairs {
		d := drift * float64(p.at-mid)
		lo, hi = max(lo, float64(p.lo)-d), min(hi, float64(p.hi)-d)
	}
	return hi - lo, (hi + lo) / 2
}

// openDrift is how much the drift may differ from the one taken before the pairs are no longer
// met; 0 when they are not met as it is.
func openDrift(pairs []fellow, mid int64, drift, slack float64) float64 {
	if slack < 0 {
		return 0
	}
	open := 0.0
	for _, sign := range []float64{-1, 1} {
		lo, hi := 0.0, mostDrift
		for range 40 {
			m := (lo + hi) / 2
			if s, _ := room(pairs, mid, drift+sign*m); s >= 0 {
				lo = m
			} else {
				hi = m
			}
		}
		open = max(open, lo)
	}
	return open
}

// without leaves out the pairs that miss by most, at most n of them.
func without(pairs []fellow, mid int64, drift, at float64, n int) []fellow {
	miss := func(p fellow) float64 {
		d := at + drift*float64(p.at-mid)
		return max(float64(p.lo)-d, d-float64(p.hi))
	}
	rest := slices.Clone(pairs)
	slices.SortStableFunc(rest, func(x, y fellow) int { return cmp.Compare(miss(x), miss(y)) })
	rest = rest[:len(rest)-min(n, len(rest)-leastChanges)]
	slices.SortStableFunc(rest, func(x, y fellow) int { return cmp.Compare(x.at, y.at) })
	return rest
}

func namesOf(pairs []fellow) []string {
	var out []string
	for _, p := range pairs {
		name, _, _ := strings.Cut(p.key, "\x00")
		out = append(out, name)
	}
	slices.Sort(out)
	return slices.Compact(out)
}
