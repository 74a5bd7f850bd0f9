package quality

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// frozenOdds is the logarithm of how many times likelier than chance a repeat must be: one
// signal in a thousand freezes in a match, chosen by us, and is 20 to 1 behind that.
const frozenOdds = 8.0

// mostFreezes is how often a sensor may freeze in a match: what happens oftener is
// something the signal does.
const mostFreezes = 2

// longTail is how many of the longest repeats tell how the length of a repeat runs out.
const longTail = 10

// frozen are the stretches in which a sensor that is never still repeats one value. How
// long a repeat may be is learned from the other repeats of the same signal where it does
// the same thing (a motor that turns, a motor that rests), by two laws of what comes after
// the longest of them, and the one that finds the repeat more likely is believed: lengths
// that run out by a constant share a sample, as noise over steps of a converter does, and
// lengths that run out by a power, as a signal does that is quiet at times.
func frozen(s *schemas.Signal, v []float64, m Mapped, in Input, cfg Config) []schemas.Fault {
	var out []schemas.Fault
	times, runs, quantum := s.Time, runsOf(v, s.Time), 0.0
	if !slices.ContainsFunc(runs, func(r run) bool { return r.length >= cfg.FrozenMin }) {
		return nil // every repeat is too short to be news
	}
	if m.RestsAtZero {
		quantum = quantumOf(v)
	}
	resting := func(r run) bool { return m.RestsAtZero && math.Abs(r.value) <= 2*quantum }
	isDropped := func(r run) bool {
		return slices.ContainsFunc(in.DropOuts, func(f schemas.Fault) bool {
			return f.Signal == s.Name && f.StartS == schemas.Seconds(times[r.from])
		})
	}
	for class := range 2 { // what moves, what rests
		var alike []run
		for _, r := range runs {
			if resting(r) == (class == 1) && !isDropped(r) {
				alike = append(alike, r)
			}
		}
		if !slices.ContainsFunc(alike, func(r run) bool { return r.length >= cfg.FrozenMin }) {
			continue // every one is too short to be news: as good as always, and putting them in order is most of the work
		}
		alike = byLength(alike)
		for n := min(mostFreezes, len(alike)); n > 0; n-- {
			if alike[n-1].length < cfg.FrozenMin || tooLong(alike[n-1], alike[n:]) < frozenOdds {
				continue
			}
			for _, r := range alike[:n] {
				if !inPeriod(times[r.to-1], in.Periods) || m.Restless && !restlessBefore(v, times, r.from, cfg) {
					continue
				}
				if restsFilled(r, runs, m.Works, times) > quietAtRest {
					continue // it repeats until its mechanism works again, and that may take long
				}
				f := fault(s, Frozen, times[r.from], times[min(r.to, len(times)-1)], fmt.Sprintf("repeats %v for %.2f s; its next longest repeat is %.2f s",
					r.value, schemas.Seconds(r.length), schemas.Seconds(alike[n].length)))
				f.Confidence = schemas.Some(1 / (1 + math.Exp(frozenOdds-3-tooLong(r, alike[n:]))))
				out = append(out, f)
			}
			break
		}
	}
	return out
}

// restsFilled is how much of the time between two works of a mechanism lies in rests that one
// repeat fills for half or more, the rest of run r left out; 0 where r lasts through a work, or no
// work is known. A coarse reading of a mechanism that stands is the same all that time.
func restsFilled(r run, runs []run, works []series.Interval, times []int64) float64 {
	mine := series.Interval{Start: times[r.from], End: times[r.to-1]}
	sorted := slices.SortedFunc(slices.Values(works), func(a, b series.Interval) int { return cmp.Compare(a.Start, b.Start) })
	filled, all := int64(0), int64(0)
	from := times[0]
	for _, w := range append(sorted, series.Interval{Start: times[len(times)-1], End: times[len(times)-1]}) {
		rest := series.Interval{Start: from, End: w.Start}
		from = max(from, w.End)
		if 2*w.Overlap(mine) > w.Len() || len(works) == 0 {
			return 0
		}
		if rest.Len() <= 0 || rest.Overlap(mine) > 0 {
			continue
		}
		all += rest.Len()
		if slices.ContainsFunc(runs, func(o run) bool {
			return 2*rest.Overlap(series.Interval{Start: times[o.from], End: times[o.to-1]}) >= rest.Len()
		}) {
			filled += rest.Len()
		}
	}
	if all == 0 {
		return 0
	}
	return float64(filled) / float64(all)
}

// byLength are runs with the longest first.
func byLength(runs []run) []run {
	return slices.SortedStableFunc(slices.Values(runs), func(a, b run) int { return cmp.Compare(b.samples(), a.samples()) })
}

// tooLong is the logarithm of how unlikely a run is among others, sorted with the longest
// first; 0 when they are too few to tell.
func tooLong(r run, others []run) float64 {
	if len(others) < 3*longTail {
		return 0
	}
	n, next := float64(r.samples()), float64(others[0].samples())
	byShare := (n/max(next, 2) - 1) * math.Log(float64(len(others)))
	spread := 0.0
	for _, o := range others[:longTail] {
		spread += math.Log(float64(o.samples()+1) / float64(others[longTail].samples()+1))
	}
	byPower := (longTail - 1) / max(spread, 0.5) * math.Log((n+1)/(next+1))
	return max(0, min(byShare, byPower))
}
