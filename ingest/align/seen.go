package align

import (
	"cmp"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/schemas"
)

// Seen is what two logs say of a shift: whether, where both were running, they saw the same.
type Seen struct {
	Places int // changes that both saw
	// Telling are those places that tell one match from another: of signals that do not go
	// alike in every match. A measured quantity that went the same way counts as leastChanges.
	Telling int
	Agree   []string // signals that went the same way in both
	Against []string // signals that went another way
	// OverlapUS is the longest that a signal of both logs was running in both.
	OverlapUS int64
}

// Limits of what counts as the same; chosen by us.
const (
	leastFound   = 0.5  // of a signal's changes find their fellow, of the log that saw fewer
	leastCourse  = 50   // steps of a measured quantity that are compared, or nothing is said of it
	mostAgainst  = 0.15 // correlation of what it changes by, under which it went another way
	levelAgainst = 0.3  // and of its level
	steady       = 0.1  // spread of the time between the changes of a clock, of its mean
)

// Seen holds both logs against each other under the shift. alike are the signals that go alike
// in every match, such as the mode.
func (s Shift) Seen(first, other *schemas.Log, alike []string) Seen {
	moved := s.Apply(other, 0)
	slack := s.BoundUS + 2*(step(first)+step(other))
	var out Seen
	for _, name := range shared(first, other) {
		a, b := inTime(first.Find(name)), inTime(moved.Find(name))
		from, to := max(a.times[0], b.times[0]), min(a.times[len(a.times)-1], b.times[len(b.times)-1])
		if to <= from {
			continue
		}
		out.OverlapUS = max(out.OverlapUS, to-from)
		agree, against := false, false
		if a.holds() && b.holds() {
			var found int
			var clock bool
			found, clock, agree, against = sameSteps(a, b, from, to, slack)
			if agree {
				out.Places += found
				if !clock && !slices.Contains(alike, name) {
					out.Telling += found
				}
			}
		} else if a.Kind != schemas.Text && b.Kind != schemas.Text {
			if agree, against = sameCourse(a, b, from, to); agree && !slices.Contains(alike, name) {
				out.Telling += leastChanges
			}
		}
		if agree {
			out.Agree = append(out.Agree, name)
		} else if against {
			out.Against = append(out.Against, name)
		}
	}
	return out
}

// ordered is a signal with its samples in order of time, whatever their power-ups.
type ordered struct {
	*schemas.Signal
	times []int64
	at    []int // place of each in the signal
}

func inTime(s *schemas.Signal) ordered {
	out := ordered{s, make([]int64, s.Len()), make([]int, s.Len())}
	for i := range out.at {
		out.at[i] = i
	}
	if s.Boot != nil {
		slices.SortStableFunc(out.at, func(i, j int) int { return cmp.Compare(s.Time[i], s.Time[j]) })
	}
	for i, k := range out.at {
		out.times[i] = s.Time[k]
	}
	return out
}

func (o ordered) holds() bool { return o.Kind != schemas.Float64 || counts(o.Signal) }

// steps are the changes in [from, to], by both values.
func (o ordered) steps(from, to int64) (at map[string][]int64, all []int64) {
	at = map[string][]int64{}
	for i := 1; i < len(o.times); i++ {
		if o.times[i] < from || o.times[i] > to {
			continue
		}
		if before, after := word(o.Signal, o.at[i-1]), word(o.Signal, o.at[i]); before != after {
			key := before + "\x00" + after
			at[key] = append(at[key], o.times[i])
			all = append(all, o.times[i])
		}
	}
	return at, all
}

// sameSteps is whether a signal that holds its values changed in both logs alike, by how many
// changes, and whether it is a clock.
func sameSteps(a, b ordered, from, to, slack int64) (found int, clock, agree, against bool) {
	one, allA := a.steps(from, to)
	two, allB := b.steps(from, to)
	for key, times := range one {
		found += pairsWithin(times, two[key], slack)
	}
	less, more := min(len(allA), len(allB)), max(len(allA), len(allB))
	if less > 0 && float64(found) >= leastFound*float64(less) {
		return found, even(allA), true, false
	}
	return found, false, false, more >= leastChanges || differs(a, b, from, to, slack)
}

// pairsWithin is how many times of two lists lie within slack of each other, each used once.
func pairsWithin(a, b []int64, slack int64) (n int) {
	for i, j := 0, 0; i < len(a) && j < len(b); {
		switch d := b[j] - a[i]; {
		case d > slack:
			i++
		case d < -slack:
			j++
		default:
			n, i, j = n+1, i+1, j+1
		}
	}
	return n
}

// even is whether changes come as regularly as those of a clock or countdown, which say
// nothing of the match.
func even(times []int64) bool {
	if len(times) < 5 {
		return false
	}
	gaps := make([]float64, len(times)-1)
	for i := range gaps {
		gaps[i] = float64(times[i+1] - times[i])
	}
	mean, spread := stat.MeanStdDev(gaps, nil)
	return spread < steady*mean
}

// differs is whether a held value is another in both logs most of the time.
func differs(a, b ordered, from, to, slack int64) bool {
	n, other := 0, 0
	for j, t := range b.times {
		if t < from || t > to {
			continue
		}
		i, found := slices.BinarySearch(a.times, t)
		if !found {
			i--
		}
		if i < 0 || t-a.times[i] < slack && i > 0 { // it may just have changed
			continue
		}
		n++
		if word(a.Signal, a.at[i]) != word(b.Signal, b.at[j]) {
			other++
		}
	}
	return n >= 10 && 2*other > n
}

// sameCourse is whether a measured quantity went the same way in both logs.
func sameCourse(a, b ordered, from, to int64) (agree, against bool) {
	width := max(gridUS, 2*medianGap(a.times), 2*medianGap(b.times))
	n := int((to - from) / width)
	if n < leastCourse || n > mostGrid || width > second/2 {
		return false, false
	}
	va, vb := a.means(from, width, n), b.means(from, width, n)
	best, level, enough := -1.0, -1.0, false
	for lag := -1; lag <= 1; lag++ {
		var xs, ys, dx, dy []float64
		for i := 1; i < n; i++ {
			j := i + lag
			if j < 1 || j >= n || math.IsNaN(va[i]+va[i-1]+vb[j]+vb[j-1]) {
				continue
			}
			xs, ys = append(xs, va[i]), append(ys, vb[j])
			dx, dy = append(dx, va[i]-va[i-1]), append(dy, vb[j]-vb[j-1])
		}
		if len(dx) < leastCourse {
			continue
		}
		r, l := stat.Correlation(dx, dy, nil), stat.Correlation(xs, ys, nil)
		if math.IsNaN(r) || math.IsNaN(l) { // one of them never changes
			continue
		}
		enough, best, level = true, max(best, r), max(level, l)
	}
	return enough && best >= leastAlike, enough && best < mostAgainst && level < levelAgainst
}

// means are the mean of each stretch of that width, NaN where there is none.
func (o ordered) means(from, width int64, n int) []float64 {
	out, count := make([]float64, n), make([]int, n)
	for i, t := range o.times {
		v := o.Number(o.at[i])
		if k := (t - from) / width; t >= from && k < int64(n) && !math.IsNaN(v) && !math.IsInf(v, 0) {
			out[k] += v
			count[k]++
		}
	}
	for k := range out {
		out[k] /= float64(count[k]) // NaN for 0/0
	}
	return out
}

func medianGap(times []int64) int64 {
	if len(times) < 2 {
		return 0
	}
	gaps := make([]int64, len(times)-1)
	for i := range gaps {
		gaps[i] = times[i+1] - times[i]
	}
	slices.Sort(gaps)
	return gaps[len(gaps)/2]
}

// leastRepeated samples that are in both logs make them copies of one recording.
const (
	leastRepeated = 20
	mostProbed    = 200
)

// Exact is the shift between two copies of one recording, whole or in part, near a shift: under
// it the samples that both hold are the same to the microsecond and to the bit. ok is false for
// what two computers wrote.
func (s Shift) Exact(first, other *schemas.Log) (exact Shift, repeated int, ok bool) {
	names := shared(first, other)
	var probe string
	for _, name := range names {
		if probe == "" || other.Find(name).Len() > other.Find(probe).Len() {
			probe = name
		}
	}
	if probe == "" {
		return Shift{}, 0, false
	}
	by, ok := s.commonest(inTime(first.Find(probe)), inTime(other.Find(probe)), s.BoundUS+step(first)+step(other))
	if !ok {
		return Shift{}, 0, false
	}
	within := 0
	for _, name := range names {
		n, of := repeats(inTime(first.Find(name)), inTime(other.Find(name)), by)
		repeated, within = repeated+n, within+of
	}
	if repeated < leastRepeated || float64(repeated) < 0.98*float64(within) {
		return Shift{}, 0, false
	}
	return Shift{ShiftUS: by, MidUS: s.MidUS, Signals: s.Signals, Changes: s.Changes, Matched: s.Matched}, repeated, true
}

// commonest is the difference in time that most samples of equal value have.
func (s Shift) commonest(a, b ordered, slack int64) (by int64, ok bool) {
	votes := map[int64]int{}
	stride := max(1, len(b.times)/mostProbed)
	for j := 0; j < len(b.times); j += stride {
		at := b.times[j] + s.ShiftUS
		i, _ := slices.BinarySearch(a.times, at-slack)
		for ; i < len(a.times) && a.times[i] <= at+slack; i++ {
			if equal(a, a.at[i], b, b.at[j]) {
				votes[a.times[i]-b.times[j]]++
			}
		}
	}
	most := 0
	for d, n := range votes {
		if n > most || n == most && (abs(d-s.ShiftUS) < abs(by-s.ShiftUS) || abs(d-s.ShiftUS) == abs(by-s.ShiftUS) && d < by) {
			most, by = n, d
		}
	}
	return by, most > 0
}

// repeats is how many of b's samples a has too, and of how many where a was running: not in its
// holes, which the copy may fill.
func repeats(a, b ordered, by int64) (n, of int) {
	near := medianGap(a.times)
	for j, t := range b.times {
		t += by
		i, found := slices.BinarySearch(a.times, t)
		if i == 0 && !found || i == len(a.times) || !found && a.times[i]-a.times[i-1] > 2*near {
			continue
		}
		of++
		if found && equal(a, a.at[i], b, b.at[j]) {
			n++
		}
	}
	return n, of
}

func equal(a ordered, i int, b ordered, j int) bool {
	if a.Kind == schemas.Text || b.Kind == schemas.Text {
		return a.Kind == b.Kind && a.Text[i] == b.Text[j]
	}
	return math.Float64bits(a.Number(i)) == math.Float64bits(b.Number(j))
}

func abs(v int64) int64 { return max(v, -v) }
