// Package series holds typed time series and the few questions every analysis asks of
// them: what was the value at a time, where are the edges, where is nothing known.
//
// Time is int64 microseconds in the robot's clock and strictly increasing. Samples that
// are no reading (NaN, infinite) are not in a series: missing data is an absence here,
// never a number. Functions do not change their arguments.
package series

import (
	"math"
	"slices"
	"sort"
)

// Float is a measured quantity: V[i] was read at T[i].
type Float struct {
	Name string
	T    []int64
	V    []float64
}

// Bool is a state that holds from each sample until the next.
type Bool struct {
	Name string
	T    []int64
	V    []bool
}

// Text is a state in words that holds from each sample until the next.
type Text struct {
	Name string
	T    []int64
	V    []string
}

// Interval is the stretch from Start up to End, in microseconds.
type Interval struct{ Start, End int64 }

// Len is the length in microseconds.
func (i Interval) Len() int64 { return i.End - i.Start }

// Overlap is how many microseconds a and b share.
func (i Interval) Overlap(b Interval) int64 {
	return max(0, min(i.End, b.End)-max(i.Start, b.Start))
}

// Before is the index of the last sample at or before t, -1 if there is none.
func Before(T []int64, t int64) int {
	return sort.Search(len(T), func(i int) bool { return T[i] > t }) - 1
}

// From is the index of the first sample at or after t, len(T) if there is none.
func From(T []int64, t int64) int {
	i, _ := slices.BinarySearch(T, t)
	return i
}

// At is the held value at t; ok is false before the first sample.
func (s *Float) At(t int64) (v float64, ok bool) {
	if i := Before(s.T, t); i >= 0 {
		return s.V[i], true
	}
	return 0, false
}

// At is the state at t; ok is false before the first sample.
func (s *Bool) At(t int64) (v, ok bool) {
	if i := Before(s.T, t); i >= 0 {
		return s.V[i], true
	}
	return false, false
}

// At is the state at t; ok is false before the first sample.
func (s *Text) At(t int64) (v string, ok bool) {
	if i := Before(s.T, t); i >= 0 {
		return s.V[i], true
	}
	return "", false
}

// Between is the part of s with samples from t0 up to, not including, t1. It shares memory.
func (s *Float) Between(t0, t1 int64) *Float {
	i, j := From(s.T, t0), From(s.T, t1)
	if j < i {
		j = i
	}
	return &Float{Name: s.Name, T: s.T[i:j:j], V: s.V[i:j:j]}
}

// Without is s without its samples inside the stretches, which are in order of time. It is s
// itself when there are none.
func (s *Float) Without(not []Interval) *Float {
	if s == nil || len(not) == 0 {
		return s
	}
	out := &Float{Name: s.Name}
	from := 0
	for _, n := range not {
		to := max(from, From(s.T, n.Start))
		out.T, out.V = append(out.T, s.T[from:to]...), append(out.V, s.V[from:to]...)
		from = max(to, From(s.T, n.End))
	}
	out.T, out.V = append(out.T, s.T[from:]...), append(out.V, s.V[from:]...)
	return out
}

// Runs are the stretches in which s was true: each from its first true sample to the first
// false one after it, the last to end (exclusive) when the log ends true.
func (s *Bool) Runs(end int64) []Interval {
	var out []Interval
	open := false
	for i, v := range s.V {
		switch {
		case v && !open:
			out, open = append(out, Interval{s.T[i], end}), true
		case !v && open:
			out[len(out)-1].End, open = s.T[i], false
		}
	}
	return out
}

// Step is the usual time between samples: the median difference in microseconds, of at
// most 4096 differences spread evenly over the series; 0 with fewer than two samples.
func Step(T []int64) int64 {
	n := len(T) - 1
	if n < 1 {
		return 0
	}
	d := make([]int64, min(n, 4096))
	for i := range d {
		at := i * n / len(d)
		d[i] = T[at+1] - T[at]
	}
	return nth(d, len(d)/2)
}

// nth is what would stand at place n of d if it were sorted; d is put in another order. It is
// Hoare's selection (CACM 4(7), 1961, algorithm 65): every signal of a match has its step taken
// when the match is stored, and sorting took longer than all else that is done with it then.
func nth(d []int64, n int) int64 {
	for lo, hi := 0, len(d)-1; ; {
		if hi-lo < 16 {
			slices.Sort(d[lo : hi+1])
			return d[n]
		}
		pivot := max(min(d[lo], d[hi]), min(max(d[lo], d[hi]), d[(lo+hi)/2])) // the middle one of three
		i, j := lo, hi
		for i <= j {
			for d[i] < pivot {
				i++
			}
			for d[j] > pivot {
				j--
			}
			if i <= j {
				d[i], d[j] = d[j], d[i]
				i++
				j--
			}
		}
		switch {
		case n <= j:
			hi = j
		case n >= i:
			lo = i
		default:
			return d[n]
		}
	}
}

// GapLimit is the time between neighbours, in microseconds, beyond which samples are missing
// between them and no line should lead across: eight usual steps, and a quarter of a second
// at least. A signal that comes when it changes, not at a steady rate, is then cut only where
// it is silent for much longer than is usual for it. Both are chosen by us.
func GapLimit(T []int64) int64 { return max(8*Step(T), 250_000) }

// Gaps are the stretches between neighbouring samples longer than limit microseconds.
func Gaps(T []int64, limit int64) []Interval {
	var out []Interval
	for i := 1; i < len(T); i++ {
		if T[i]-T[i-1] > limit {
			out = append(out, Interval{T[i-1], T[i]})
		}
	}
	return out
}

// Rise is one step of a counter upwards: at time T it rose by N.
type Rise struct {
	T int64
	N int
}

// Rises are the upward steps of a counter. The first sample is the start of counting and
// scores nothing; a fall is a reset and scores nothing. A bool pulse taken as a number
// (0, 1) gives one rise of 1 a pulse.
func (s *Float) Rises() []Rise {
	var out []Rise
	for i := 1; i < len(s.V); i++ {
		if d := s.V[i] - s.V[i-1]; d >= 0.5 {
			out = append(out, Rise{s.T[i], int(d + 0.5)})
		}
	}
	return out
}

// OnChange says whether a signal was only written when it changed, so that it held its value
// while it was silent: many readings lie one step of its converter from the one before, and none
// lies on it. Of a signal with a rate and noise, about as many would.
func OnChange(v []float64) bool {
	const many = 20 // chosen by us: by chance none of as many is one in a million
	smallest := math.Inf(1)
	for i := 1; i < len(v); i++ {
		d := math.Abs(v[i] - v[i-1])
		if d == 0 {
			return false
		}
		if d < smallest { // false for NaN
			smallest = d
		}
	}
	single := 0
	for i := 1; i < len(v); i++ {
		if math.Abs(v[i]-v[i-1]) < 1.5*smallest {
			single++
		}
	}
	return single >= many
}
