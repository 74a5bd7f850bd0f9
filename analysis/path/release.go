package path

import (
	"fmt"
	"math"
	"sort"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// releaseClock is the last stage's clock with only those moments counted as onward in
// which it was driven to release. A piece pressed against the gate with a small command is
// waiting. Without a command the two cannot be told apart, and it counts as waiting.
func (w *way) releaseClock() *clock {
	d := w.drives[len(w.drives)-1]
	if !d.hasCommand {
		return newClock([]int64{w.in.Start}, []float64{0}, w.in.End, false)
	}
	limit := w.releaseLevel(d)
	rate := make([]float64, len(d.t))
	for i := range rate {
		r := d.clock.rate[i]
		if r > 0 && d.command[i] < limit {
			r = 0
		}
		rate[i] = r
	}
	return newClock(d.t, rate, d.clock.end, d.clock.told)
}

// releaseLevel is the command from which the last stage is driven to release: half of the
// one at which pieces left it, but above the one they waited at.
func (w *way) releaseLevel(d *drive) float64 {
	var leaving, waiting []float64
	for _, b := range w.beams[len(w.beams)-1].blocks {
		if b.open || b.real < 0.5 {
			continue
		}
		if c := d.meanCommand(b.to-150_000, b.to); c > w.cfg.MinCommand {
			leaving = append(leaving, c)
		}
		if long := b.to - b.from; long > 1_000_000 {
			if c := d.meanCommand(b.from+300_000, b.to-300_000); c > 0 {
				waiting = append(waiting, c)
			}
		}
	}
	if len(leaving) == 0 {
		const slow = 0.3 // hardly any robot releases with less
		return slow
	}
	level := stat.Median(leaving)
	limit := w.cfg.ReleaseShare * level
	if hold := stat.Median(waiting); hold < 0.9*level { // false without any
		limit = max(limit, math.Sqrt(hold*level))
	}
	return limit
}

// meanCommand is the mean command over the time between two times, 0 without readings.
func (d *drive) meanCommand(t0, t1 int64) float64 {
	sum, whole := 0.0, 0.0
	for i := max(series.Before(d.t, t0), 0); i < len(d.t) && d.t[i] < t1; i++ {
		to := t1
		if i+1 < len(d.t) {
			to = min(to, d.t[i+1])
		}
		if long := float64(to - max(d.t[i], t0)); long > 0 && !math.IsNaN(d.command[i]) {
			sum, whole = sum+long*d.command[i], whole+long
		}
	}
	if whole == 0 {
		return 0
	}
	return sum / whole
}

// waits is when a piece that came into the slot in which pieces wait began to wait: the
// drive that brought it in does not count as driven to release. Elsewhere it is since, and
// so it is for one that was never let stand, or driven for far longer than it takes to come
// in.
func (w *way) waits(slot int, since, until int64) int64 {
	if slot < w.wait {
		return since
	}
	c := w.clocks[slot]
	i := sort.Search(len(c.t), func(i int) bool { return c.t[i] > since }) - 1
	for i = max(i, 0); i < len(c.t) && c.t[i] < until; i++ {
		if c.rate[i] > 0 {
			continue
		}
		stood := max(c.t[i], since)
		if c.onward(since, stood) > w.laws[slot].within(in99)+w.cfg.ArriveS {
			return since
		}
		return stood
	}
	return since
}

// mostReleases is more than any robot releases in a match; a counter that says so is noise.
const mostReleases = 300

// matchReleases pairs counted releases with the moments the last beam cleared; what is left
// over left unseen. Most counts come when the piece is out, a moment after its beam
// cleared, some just before; a score follows by the time of flight.
func (w *way) matchReleases() {
	counter, sure := w.in.Release, true
	before, after := int64(2_500_000), int64(700_000) // µs
	if !has(counter) {
		counter, sure = w.in.Score, false
		before, after = 4_000_000, 200_000
	}
	if !has(counter) {
		return
	}
	var counts []int64
	for _, r := range counter.Rises() {
		for range min(r.N, 20) { // a counter that leaps by more was set, not counted up
			counts = append(counts, r.T)
		}
	}
	if len(counts) > mostReleases {
		w.notes = append(w.notes, fmt.Sprintf("%s rose %d times: no count of pieces, left out", counter.Name, len(counts)))
		return
	}
	end := w.beams[len(w.beams)-1]
	if end.stage == len(w.in.Stages)-1 {
		counts = w.pair(counts, before, 0)
		counts = w.pair(counts, 0, after)
	}
	for _, t := range counts {
		w.gone = append(w.gone, gone{at: t, sure: sure})
	}
}

// pair takes from counts those that have a clearing of the last beam up to before µs before
// or after µs after, each the nearest that is not taken, and returns the others.
func (w *way) pair(counts []int64, before, after int64) (left []int64) {
	for _, t := range counts {
		best, found := int64(0), false
		for _, b := range w.beams[len(w.beams)-1].blocks {
			if b.open || b.real < 0.5 || w.falls[b.to] || b.to < t-before || b.to > t+after {
				continue
			}
			if !found || max(b.to-t, t-b.to) < max(best-t, t-best) {
				best, found = b.to, true
			}
		}
		if !found {
			left = append(left, t)
			continue
		}
		w.falls[best] = true
	}
	return left
}
