package path

import (
	"fmt"
	"math"
	"sort"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// releaseClock is the last stage's clock with only those moments counted as onward in
// which it was driven to release: a piece pressed against the gate is waiting. Where the two
// cannot be told apart it counts as waiting.
func (w *way) releaseClock() *clock {
	d := w.drives[len(w.drives)-1]
	releasing := w.releasing(d)
	if releasing == nil {
		return newClock([]int64{w.in.Start}, []float64{0}, w.in.End, false)
	}
	rate := make([]float64, len(d.t))
	for i, r := range d.clock.rate {
		if r <= 0 || releasing(i) {
			rate[i] = r
		}
	}
	return newClock(d.t, rate, d.clock.end, d.clock.told)
}

// releasing tells of a sample whether the last stage, if it was driven onward, was driven to
// release; it is nil where nothing tells. Without a command it was when its roller turned as it
// does when pieces leave, or stood and drew clearly more than while they waited before they left
// well: with what presses a piece on, no robot reverses or heats its motor.
func (w *way) releasing(d *drive) func(i int) bool {
	if d.hasCommand {
		limit := w.releaseLevel(d)
		return func(i int) bool { return !(d.command[i] < limit) }
	}
	const clearly = 1.5 // times, chosen by us
	leaving, pressing := w.leavingSpeed(d)
	if math.IsNaN(leaving) || math.IsNaN(pressing) {
		return nil
	}
	return func(i int) bool {
		return d.speed[i] > w.cfg.ReleaseShare*leaving || d.amps[i] > clearly*pressing
	}
}

// leavingSpeed is how fast the last roller turns when pieces leave it, and what its motor draws
// while they wait there: the upper quartile, since some robots press only now and then. NaN where
// none left or waited, or speed and current are not logged.
func (w *way) leavingSpeed(d *drive) (leaving, pressing float64) {
	var speeds, amps []float64
	for _, b := range w.beams[len(w.beams)-1].blocks {
		if b.open || b.real < 0.5 {
			continue
		}
		if v := stat.Median(d.readings(d.speed, b.to-leavesUs, b.to)); v > 0 {
			speeds = append(speeds, v)
		}
		if b.to-b.from > waitsUs {
			if a := d.readings(d.amps, b.from+arrivesUs, b.to-arrivesUs); len(a) > 0 {
				amps = append(amps, max(0, stat.Median(a)))
			}
		}
	}
	return stat.Median(speeds), stat.Quantile(0.75, amps)
}

// readings are those of one of the drive's signals from one time to before another.
func (d *drive) readings(v []float64, from, to int64) []float64 {
	i, j := series.From(d.t, from), series.From(d.t, to)
	return sample(v[i:max(i, j)], always)
}

// A piece in front of the last beam: it is on its way out for the last moments, it waits when it
// is there for long, and not while it arrives or leaves. µs, chosen by us.
const (
	leavesUs  = 150_000
	waitsUs   = 1_000_000
	arrivesUs = 300_000
)

// releaseLevel is the command from which the last stage is driven to release: half of the
// one at which pieces left it, but above the one they waited at.
func (w *way) releaseLevel(d *drive) float64 {
	var leaving, waiting []float64
	for _, b := range w.beams[len(w.beams)-1].blocks {
		if b.open || b.real < 0.5 {
			continue
		}
		if c := d.meanCommand(b.to-leavesUs, b.to); c > w.cfg.MinCommand {
			leaving = append(leaving, c)
		}
		if b.to-b.from > waitsUs {
			if c := d.meanCommand(b.from+arrivesUs, b.to-arrivesUs); c > 0 {
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
// drive that brought it in, through all stages behind the last beam, does not count as driven to
// release. Elsewhere it is since, and so it is for one that was never let stand, or driven for far
// longer than it takes to come in.
func (w *way) waits(slot int, since, until int64) int64 {
	if slot < w.wait {
		return since
	}
	c := w.clocks[slot]
	arrives := w.laws[slot].within(in99) + w.cfg.ArriveS + w.cfg.PriorTransitS*float64(len(w.in.Stages)-1-w.beams[len(w.beams)-1].stage)
	i := sort.Search(len(c.t), func(i int) bool { return c.t[i] > since }) - 1
	for i = max(i, 0); i < len(c.t) && c.t[i] < until; i++ {
		if c.rate[i] > 0 {
			continue
		}
		stood := max(c.t[i], since)
		if c.onward(since, stood) > arrives {
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
