package path

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// way is the path as the analysis sees it: the beams in order and the slots they divide it
// into. Slot 2k is in front of beam k, slot 2k+1 the stretch from there to the next beam.
// Stages without a beam lie inside odd slots. A piece is always in one slot; it is outside
// before the first and beyond the last.
type way struct {
	cfg    Config
	in     Input
	drives []*drive // by stage
	beams  []beam
	clocks []*clock       // by slot: how far a piece in it was driven onward or back
	hands  [][]hand       // by slot, between beams only: the stages that move a piece, in order
	push   []*clock       // by beam: its own stage's clock, to tell which way a piece left
	ways   [][]law        // from beam to beam: the laws of odd slots one after another
	laws   []law          // by slot; for odd ones from beam to beam, from entering to entering
	wait   int            // slot in which pieces wait to be released; -1 when it cannot be told
	last   int            // last slot
	left   []float64      // by beam: misses, learned chance that it does not see a piece
	gone   []gone         // releases that no beam saw
	falls  map[int64]bool // times at which the last beam cleared because of a release
}

// gone is a piece that was counted as released although no beam saw it leave.
type gone struct {
	at   int64
	sure bool // from the release signal; a score may come from elsewhere
}

// slotOf is the slot in front of beam k.
func slotOf(beam int) int { return 2 * beam }

// inFront is whether a slot is in front of a beam, and of which.
func inFront(slot int) (beam int, ok bool) { return slot / 2, slot%2 == 0 }

// newWay reads the signals of every stage and divides the path by its beams.
func newWay(in Input, cfg Config) *way {
	w := &way{cfg: cfg, in: in, falls: map[int64]bool{}}
	for _, st := range in.Stages {
		w.drives = append(w.drives, readDrive(st, in, cfg))
	}
	borrow(w.drives)
	for i, st := range in.Stages {
		if st.Sensor != nil && len(st.Sensor.T) > 0 {
			w.beams = append(w.beams, watch(st.Sensor, i, in.End, cfg))
		}
	}
	if len(w.beams) == 0 {
		return w
	}
	m := len(w.beams)
	lastStage := len(in.Stages) - 1
	w.last = slotOf(m - 1)
	w.wait = w.last + 2
	if w.beams[m-1].stage == lastStage {
		w.wait = w.last
	}
	counted := has(in.Release) && len(in.Release.Rises()) > 0
	if counted || w.wait > w.last && has(in.Score) {
		w.last++ // a piece past the last beam is in the path until it is counted out
		w.wait = min(w.wait, w.last)
	}
	w.matchReleases()
	for k := range w.beams {
		w.push = append(w.push, w.drives[w.beams[k].stage].clock)
	}
	for slot := 0; slot <= w.last; slot++ {
		c, hands := w.slotClock(slot)
		w.clocks, w.hands = append(w.clocks, c), append(w.hands, hands)
	}
	w.left = make([]float64, m)
	for k := range w.left {
		w.left[k] = cfg.MissRate
	}
	w.firstLaws()
	return w
}

// stages are the stages that may hold a piece in a slot: the beam's own, or all from one
// beam to the next.
func (w *way) stages(slot int) (first, last int) {
	k, front := inFront(slot)
	first = w.beams[k].stage
	switch {
	case front:
		return first, first
	case k+1 < len(w.beams):
		return first, w.beams[k+1].stage
	default:
		return first, len(w.in.Stages) - 1
	}
}

// hand is a stage that takes part in moving pieces from one beam to the next, and how many
// seconds of its drive that usually takes.
type hand struct {
	clock *clock
	share float64
}

// slotClock is the clock of a slot: its stage's, the last stage's as far as it is driven
// to release, and between two beams that of any stage which takes part in that hop.
func (w *way) slotClock(slot int) (*clock, []hand) {
	k, front := inFront(slot)
	switch {
	case slot >= w.wait:
		return w.releaseClock(), nil
	case front:
		return w.push[k], nil
	}
	var all []*clock
	var hands []hand
	hops := w.rawHops(k)
	for i, last := w.stages(slot); i <= last; i++ {
		c := w.drives[i].clock
		all = append(all, c)
		var share, whole []float64
		for _, h := range hops {
			share = append(share, c.onward(h.fall, h.next))
			whole = append(whole, schemas.Seconds(h.next-h.fall))
		}
		const part = 0.15 // of the way; a stage driven for less of it does not move the piece
		if d := stat.Median(share); len(hops) >= 3 && d > part*stat.Median(whole) {
			hands = append(hands, hand{c, d})
		}
	}
	if len(hands) > 0 {
		all = all[:0]
		for _, h := range hands {
			all = append(all, h.clock)
		}
	}
	return combine(all, slices.Max[[]float64]), hands
}

// driven is the clock of a piece that came into a slot at a time. Between two beams it
// passes from hand to hand: once a stage further on has been driven for a quarter of its
// usual share, the piece is in that stage's hands, and when that one stops the piece is
// held, whatever the stages behind it do for the next piece. Until clear, the stages
// further on are still busy with the piece ahead.
func (w *way) driven(slot int, since, clear int64) relay {
	legs := relay{{math.MinInt64, w.clocks[slot]}}
	for i, h := range w.hands[slot] {
		if i == 0 {
			continue
		}
		t := h.clock.after(max(since, clear), h.share/4)
		if t >= w.in.End {
			continue
		}
		for len(legs) > 1 && legs[len(legs)-1].from >= t {
			legs = legs[:len(legs)-1]
		}
		legs = append(legs, leg{t, h.clock})
	}
	return legs
}

// hop is one way from beam to beam, straight from the readings.
type hop struct{ rise, fall, next int64 }

// rawHops pairs each block of beam k with the next block of the beam after it, without
// asking which pieces they were: right often enough for a first look at what is usual.
func (w *way) rawHops(k int) []hop {
	const far = 4_000_000 // µs; later than this it is hardly the same move
	var out []hop
	if k+1 >= len(w.beams) {
		return nil
	}
	next, i := w.beams[k+1].blocks, 0
	for _, b := range w.beams[k].blocks {
		for i < len(next) && (next[i].from < b.from || next[i].real < 0.5) {
			i++
		}
		if b.real < 0.5 || b.atStart || i == len(next) || next[i].from-b.from > far {
			continue
		}
		out = append(out, hop{rise: b.from, fall: min(b.to, next[i].from), next: next[i].from})
	}
	return out
}

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
		return max(w.cfg.ReleaseShare*0.6, w.cfg.MinCommand)
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
