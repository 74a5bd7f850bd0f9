package path

import (
	"sort"

	"github.com/afterbell/afterbell/schemas"
)

// clock tells how long a stage was driven. Between t[i] and t[i+1] it runs at rate[i]: 1
// is the stage's usual command at the match's usual voltage, 0 is not driven, negative is
// backward. What counts for a piece is this time and not the wall's: a piece held on
// purpose for a minute has not used up a second of it.
type clock struct {
	t    []int64 // µs, strictly increasing
	rate []float64
	on   []float64 // onward seconds from t[0] to t[i]
	back []float64 // backward seconds from t[0] to t[i]
	end  int64
	per  float64 // samples a µs, on the whole
	told bool    // false when nothing of this stage says whether it was driven
	lent bool    // then it may be a neighbour's
}

func newClock(t []int64, rate []float64, end int64, told bool) *clock {
	c := &clock{t: t, rate: rate, end: end, told: told, on: make([]float64, len(t)), back: make([]float64, len(t))}
	if n := len(t) - 1; n > 0 {
		c.per = float64(n) / float64(t[n]-t[0])
	}
	for i := 1; i < len(t); i++ {
		d := schemas.Seconds(t[i] - t[i-1])
		c.on[i] = c.on[i-1] + max(rate[i-1], 0)*d
		c.back[i] = c.back[i-1] + max(-rate[i-1], 0)*d
	}
	return c
}

// read is the onward and backward seconds from t[0] to time at.
func (c *clock) read(at int64) (on, back float64) {
	at = min(at, c.end)
	i := c.index(at)
	if i < 0 {
		return 0, 0
	}
	d := schemas.Seconds(at - c.t[i])
	return c.on[i] + max(c.rate[i], 0)*d, c.back[i] + max(-c.rate[i], 0)*d
}

// index is the last i with t[i] at or before a time, -1 without any. Logs are sampled about
// evenly, so the search begins where an even one would have it and widens from there: that
// is a few steps where halving all of a match takes fifteen, and it is asked for all the time.
func (c *clock) index(at int64) int {
	n := len(c.t)
	switch {
	case n == 0 || at < c.t[0]:
		return -1
	case at >= c.t[n-1]:
		return n - 1
	}
	low := min(int(float64(at-c.t[0])*c.per), n-1)
	high := low
	for step := 1; c.t[low] > at; step *= 2 {
		low, high = max(low-step, 0), low
	}
	for step := 1; c.t[high] <= at; step *= 2 {
		low, high = high, min(high+step, n-1)
	}
	for low+1 < high {
		if mid := (low + high) / 2; c.t[mid] <= at {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// onward is how many seconds the stage was driven onward from a to b.
func (c *clock) onward(a, b int64) float64 {
	on, _ := c.read(b)
	was, _ := c.read(a)
	return max(on-was, 0)
}

// backward is how many seconds the stage was driven backward from a to b.
func (c *clock) backward(a, b int64) float64 {
	_, back := c.read(b)
	_, was := c.read(a)
	return max(back-was, 0)
}

// after is the time at which the stage, from a on, has been driven onward for x seconds;
// the end of the log when it never was.
func (c *clock) after(a int64, x float64) int64 {
	was, _ := c.read(a)
	want := was + x
	if len(c.t) == 0 {
		return c.end
	}
	since := max(c.index(min(a, c.end)), 0)
	if c.on[since] >= want {
		return max(a, c.t[0])
	}
	i := since + first(len(c.t)-since, func(i int) bool { return c.on[since+i] >= want })
	rate := c.rate[i-1]
	if rate <= 0 { // only past the last sample: the clock stands from here on
		return c.end
	}
	at := c.t[i-1] + schemas.Micros((want-c.on[i-1])/rate)
	return min(max(at, a), c.end)
}

// first is the smallest i from 0 to n at which a condition that then stays true is so, n
// without any: as sort.Search, but quick when it is near 0.
func first(n int, yes func(i int) bool) int {
	high := 1
	for high < n && !yes(high-1) {
		high *= 2
	}
	low := high / 2
	return low + sort.Search(min(high, n)-low, func(i int) bool { return yes(low + i) })
}

// returning is the time from which to b the stage was driven backward for x seconds; when
// it was for less, the time it began to be after a.
func (c *clock) returning(b int64, x float64, a int64) int64 {
	_, whole := c.read(b)
	x = min(x, c.backward(a, b))
	d := sort.Search(int(b-a), func(d int) bool {
		_, was := c.read(b - int64(d))
		return whole-was >= x-1e-9
	})
	return b - int64(d)
}

// reversal is when, between two times, the stage began to be driven backward last; the first of
// them when it never did.
func (c *clock) reversal(a, b int64) int64 {
	for i := c.index(b - 1); i >= 0 && c.t[i] >= a; i-- {
		if c.rate[i] < 0 && (i == 0 || c.rate[i-1] >= 0) {
			return c.t[i]
		}
	}
	return a
}

// combine is the clock whose rate is that of pick over the rates of all.
func combine(all []*clock, pick func(rates []float64) float64) *clock {
	if len(all) == 1 {
		return all[0]
	}
	size, told := 0, false
	for _, c := range all {
		size = max(size, len(c.t)) // clocks of one log mostly change at the same times
		told = told || c.told
	}
	t, rate := make([]int64, 0, size), make([]float64, 0, size)
	next := make([]int, len(all))
	now := make([]float64, len(all))
	for {
		at, more := int64(0), false
		for k, c := range all {
			if next[k] < len(c.t) && (!more || c.t[next[k]] < at) {
				at, more = c.t[next[k]], true
			}
		}
		if !more {
			break
		}
		for k, c := range all {
			if next[k] < len(c.t) && c.t[next[k]] == at {
				now[k] = c.rate[next[k]]
				next[k]++
			}
		}
		r := pick(now)
		if n := len(rate); n > 0 && rate[n-1] == r {
			continue // nothing changed: the stretch goes on
		}
		t, rate = append(t, at), append(rate, r)
	}
	return newClock(t, rate, all[0].end, told)
}

// relay is a clock that is handed on: each leg counts from its time until the next's.
type relay []leg

type leg struct {
	from int64
	*clock
}

// onward is how many seconds a piece was driven onward from a to b.
func (r relay) onward(a, b int64) float64 {
	sum := 0.0
	for i, l := range r {
		from, to := max(a, l.from), b
		if i+1 < len(r) {
			to = min(to, r[i+1].from)
		}
		if from < to {
			sum += l.clock.onward(from, to)
		}
	}
	return sum
}

// after is the time at which, from a on, the piece has been driven onward for x seconds;
// the end of the log when it never was.
func (r relay) after(a int64, x float64) int64 {
	for i, l := range r {
		from := max(a, l.from)
		if i+1 == len(r) {
			return l.clock.after(from, x)
		}
		to := r[i+1].from
		if to <= from {
			continue
		}
		took := l.clock.onward(from, to)
		if took >= x {
			return l.clock.after(from, x)
		}
		x -= took
	}
	return a
}

// before is the time from which to b the piece was driven onward for x seconds, not before
// a.
func (r relay) before(b int64, x float64, a int64) int64 {
	whole := r.onward(a, b)
	if whole <= x {
		return a
	}
	return min(r.after(a, whole-x), b)
}
