package pyramid

import (
	"math"
	"sort"
)

// Window is what is drawn of a line in a stretch of time.
type Window struct {
	// At are samples of the line in order: of every pixel column the first, the last, the
	// least and the greatest reading, or all samples when they are at most four; and before
	// and behind them the neighbours outside of the stretch, to which lines lead.
	At []int
	// Broken is, for each of At, whether no line leads to it from the one before it in At.
	// Breaks between samples of one column are not told where the column has more than
	// four: nothing narrower than a column is.
	Broken []bool
	// First and Behind are the samples of the stretch itself: First up to Behind.
	First, Behind int
}

// Window cuts t0 to t1 into so many pixel columns. Column c holds the times t with
// floor(columns (t-t0) / (t1-t0)) = c, and t1 itself belongs to the last; a time outside
// belongs to none. There is nothing when t1 <= t0 or columns < 1.
func (p *Pyramid) Window(t0, t1 int64, columns int) Window {
	var w Window
	if t1 <= t0 || columns < 1 {
		return w
	}
	T := p.line.T
	w.First = sort.Search(len(T), func(i int) bool { return T[i] >= t0 })
	w.Behind = sort.Search(len(T), func(i int) bool { return T[i] > t1 })
	room := min(4*columns, w.Behind-w.First) + 2
	w.At, w.Broken = make([]int, 0, room), make([]bool, 0, room)
	if w.First > 0 && reading(p.line.V[w.First-1]) {
		p.put(&w, w.First-1)
	}
	for i, guess := w.First, 1; i < w.Behind; {
		j := behindColumn(T, i, w.Behind, guess, t0, t1, columns)
		p.column(&w, i, j)
		i, guess = j, j-i
	}
	if w.Behind < len(T) && reading(p.line.V[w.Behind]) {
		p.put(&w, w.Behind)
	}
	return w
}

// column adds what is drawn of samples i up to j.
func (p *Pyramid) column(w *Window, i, j int) {
	if j-i <= 4 {
		for ; i < j; i++ {
			if reading(p.line.V[i]) {
				p.put(w, i)
			}
		}
		return
	}
	first := p.firstReading(i, j)
	if first == j {
		return
	}
	last := p.lastReading(first, j)
	least, greatest := p.Extremes(first, last+1)
	p.put(w, first)
	for _, k := range [3]int{min(least, greatest), max(least, greatest), last} {
		if k > w.At[len(w.At)-1] {
			w.At, w.Broken = append(w.At, k), append(w.Broken, false)
		}
	}
}

// put adds a reading, and whether a line leads to it.
func (p *Pyramid) put(w *Window, i int) {
	n := len(w.At)
	w.At, w.Broken = append(w.At, i), append(w.Broken, n > 0 && p.line.broken(w.At[n-1], i))
}

// Column is the pixel column of a time between t0 and t1.
func Column(t, t0, t1 int64, columns int) int {
	// Unsigned, so that stretches longer than an int64 can tell are right too.
	at := float64(columns) * float64(uint64(t)-uint64(t0)) / float64(uint64(t1)-uint64(t0))
	return min(int(math.Floor(at)), columns-1)
}

// columnEnd is the least time that lies behind column c, which is not the last.
func columnEnd(c int, t0, t1 int64, columns int) int64 {
	span := float64(uint64(t1) - uint64(t0))
	t := int64(uint64(t0) + uint64(span/float64(columns)*float64(c+1)))
	for t > t0 && Column(t-1, t0, t1, columns) > c { // rounding puts it a little off
		t--
	}
	for Column(t, t0, t1, columns) <= c {
		t++
	}
	return t
}

// behindColumn is the first of samples i up to n that lies behind the column of sample i.
// Guess is how many samples the column may hold: the search goes from there.
func behindColumn(T []int64, i, n, guess int, t0, t1 int64, columns int) int {
	c := Column(T[i], t0, t1, columns)
	if c == columns-1 {
		return n
	}
	end := columnEnd(c, t0, t1, columns)
	lo, hi := i, min(i+guess, n) // T[lo] < end; hi is n or to be looked at
	for step := 1; hi < n && T[hi] < end; step *= 2 {
		lo, hi = hi, min(hi+step, n)
	}
	for step := 1; hi-step > lo && T[hi-step] >= end; step *= 2 {
		hi -= step
	}
	for hi-lo > 1 {
		if mid := int(uint(lo+hi) / 2); T[mid] < end {
			lo = mid
		} else {
			hi = mid
		}
	}
	return hi
}
