package quality

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Kinds of faults.
const (
	NoReading = "no reading"
	Dead      = "dead"
	Frozen    = "frozen"
	Outlier   = "outlier"
)

// noReadings are the stretches of NaN or infinite samples, each from its first such sample
// to the first real one after it.
func noReadings(s *schemas.Signal, times []int64) []schemas.Fault {
	if s.Kind != schemas.Float64 || s.Boot != nil {
		return nil
	}
	var out []schemas.Fault
	for i := 0; i < len(s.Float); i++ {
		if isReading(s.Float[i]) {
			continue
		}
		from := i
		for i < len(s.Float) && !isReading(s.Float[i]) {
			i++
		}
		out = append(out, fault(s, NoReading, times[from], times[min(i, len(times)-1)],
			fmt.Sprintf("%d samples hold no number", i-from)))
	}
	return out
}

// stillness finds an analogue sensor that repeats one value: "dead" when it never said
// anything else, "frozen" where it stopped moving. A frozen stretch is FrozenMin long and
// FrozenTimes its next longest repeat, lies in a period (a disabled robot is still), and
// follows on readings that were restless: a log without noise is still by itself.
func stillness(s *schemas.Signal, times []int64, periods []schemas.Period, cfg Config) []schemas.Fault {
	n := len(s.Float)
	if s.Boot != nil || n < 100 {
		return nil // too few samples to know how restless it is
	}
	if !slices.ContainsFunc(s.Float, func(v float64) bool { return v != s.Float[0] }) {
		return []schemas.Fault{fault(s, Dead, times[0], times[n-1], fmt.Sprintf("reads %v from first to last sample", s.Float[0]))}
	}
	repeats := repeatsOf(s.Float, times)
	var out []schemas.Fault
	for k, r := range repeats {
		next := nextRepeat(repeats[k+1:], periods)
		if r.length < cfg.FrozenMin {
			break
		}
		if float64(r.length) < cfg.FrozenTimes*float64(next) {
			continue
		}
		if !inPeriod(times[r.to-1], periods) || !restlessBefore(s.Float, times, r.from, cfg) {
			continue
		}
		out = append(out, fault(s, Frozen, times[r.from], times[min(r.to, n-1)],
			fmt.Sprintf("repeats %v for %.2f s; its next longest repeat is %.2f s", s.Float[r.from], schemas.Seconds(r.length), schemas.Seconds(next))))
	}
	return out
}

// repeatsOf are the runs of one value, the longest first. A gap ends a run: what was
// repeated on both sides of it was not repeated in it.
func repeatsOf(v []float64, times []int64) []repeat {
	const apart = 5 // usual steps
	steps := make([]float64, 0, len(times))
	for i := 1; i < len(times); i++ {
		steps = append(steps, float64(times[i]-times[i-1]))
	}
	far := int64(apart * medianOf(thinned(steps, 4096)))
	var out []repeat
	for i := 0; i < len(v); {
		j := i + 1
		for j < len(v) && v[j] == v[i] && times[j]-times[j-1] <= far {
			j++
		}
		if j-i > 1 {
			out = append(out, repeat{i, j, times[j-1] - times[i], times[i]})
		}
		i = j
	}
	slices.SortStableFunc(out, func(a, b repeat) int { return int(b.length - a.length) })
	return out
}

// nextRepeat is the length of the longest repeat in a period, 0 without one.
func nextRepeat(repeats []repeat, periods []schemas.Period) int64 {
	for _, r := range repeats {
		if inPeriod(r.start, periods) {
			return r.length
		}
	}
	return 0
}

// restlessBefore tells whether at least half of the readings of the RestlessMin before
// sample i differ from the one before them.
func restlessBefore(v []float64, times []int64, i int, cfg Config) bool {
	changed, n := 0, 0
	for k := i; k > 0 && times[i]-times[k-1] <= cfg.RestlessMin; k-- {
		if v[k] != v[k-1] {
			changed++
		}
		n++
	}
	return i > 0 && times[i]-times[0] >= cfg.RestlessMin && 2*changed >= n
}

// repeat is a run of one value: samples from up to, not including, to.
type repeat struct {
	from, to int
	length   int64
	start    int64
}

func inPeriod(t int64, periods []schemas.Period) bool {
	s := schemas.Seconds(t)
	return slices.ContainsFunc(periods, func(p schemas.Period) bool { return p.StartS <= s && s < p.EndS })
}

// baselineBlock is how many samples make the baseline an excursion is measured from.
const baselineBlock = 48

// newUsual is after how many deviating blocks a level that stays is the new usual.
const newUsual = 30

// excursions are stretches in which a signal left the range of its own past and of all
// its future: the deviation from the median of the block before exceeds ExcursionMin
// robust standard deviations (1.4826 MAD of all deviations), and its peak stands
// ExcursionLead above the largest deviation outside such stretches. A signal that often
// deviates much, as a current does, has no stretch that stands apart and gives none.
func excursions(s *schemas.Signal, times []int64, cfg Config) []schemas.Fault {
	if s.Boot != nil || len(s.Float) < 10*baselineBlock {
		return nil
	}
	away := deviations(s.Float)
	sigma := 1.4826 * medianOf(thinned(away, 4096))
	if sigma == 0 {
		return nil // rests on one value most of the time: no scale to measure by
	}
	type stretch struct {
		from, to int
		peak     float64
	}
	var all []stretch
	for i := 0; i < len(away); i++ {
		if away[i] < cfg.ExcursionMin*sigma {
			continue
		}
		if n := len(all); n > 0 && i-all[n-1].to <= baselineBlock {
			all[n-1].to, all[n-1].peak = i+1, max(all[n-1].peak, away[i])
			continue
		}
		all = append(all, stretch{i, i + 1, away[i]})
	}
	slices.SortStableFunc(all, func(a, b stretch) int {
		switch {
		case a.peak > b.peak:
			return -1
		case a.peak < b.peak:
			return 1
		}
		return 0
	})
	apart := 0
	for k := range all {
		ordinary := cfg.ExcursionMin * sigma
		if k+1 < len(all) {
			ordinary = all[k+1].peak
		}
		if all[k].peak >= cfg.ExcursionLead*ordinary {
			apart = k + 1
		}
	}
	if apart > 3 {
		return nil // not rare, so it is something this signal does
	}
	ordinary := cfg.ExcursionMin * sigma
	if apart < len(all) {
		ordinary = max(ordinary, all[apart].peak)
	}
	var out []schemas.Fault
	for _, e := range all[:apart] {
		if e.to-e.from < 3 {
			continue // a spike of one or two samples is noise, not a fault that lasts
		}
		if !leavesRange(s.Float, e.from, e.to) {
			continue // it went quickly to where it is at other times too: a turn, not a fault
		}
		from := e.from
		for from < e.to-1 && away[from] < ordinary {
			from++
		}
		out = append(out, fault(s, Outlier, times[from], times[min(e.to, len(times)-1)],
			fmt.Sprintf("%.3g away from its past; its next largest deviation is %.3g", e.peak, ordinary)))
	}
	return out
}

// leavesRange tells whether the samples from i up to j reach values that no other sample does.
func leavesRange(v []float64, i, j int) bool {
	lowest, highest := math.Inf(1), math.Inf(-1)
	for k, x := range v {
		if (k < i || k >= j) && isReading(x) {
			lowest, highest = min(lowest, x), max(highest, x)
		}
	}
	return slices.ContainsFunc(v[i:j], func(x float64) bool { return x < lowest || x > highest })
}

// deviations are the distances of each sample from the median of the last whole block
// before it that was not itself deviating; 0 in the first block and where nothing was read.
func deviations(v []float64) []float64 {
	away := make([]float64, len(v))
	block := make([]float64, 0, baselineBlock)
	base, spread := math.NaN(), math.NaN()
	deviating := 0
	for i := 0; i < len(v); i += baselineBlock {
		block = block[:0]
		for j := i; j < min(i+baselineBlock, len(v)); j++ {
			if !isReading(v[j]) {
				continue
			}
			block = append(block, v[j])
			if !math.IsNaN(base) {
				away[j] = math.Abs(v[j] - base)
			}
		}
		if len(block) == 0 {
			continue
		}
		m := medianOf(block)
		s := block[len(block)*9/10] - block[len(block)/10] // medianOf sorted it
		if math.IsNaN(base) || math.Abs(m-base) <= 20*spread {
			base, spread, deviating = m, s, 0
		} else if deviating++; deviating > newUsual {
			base, spread, deviating = m, s, 0
		}
	}
	return away
}

// thinned is a copy of at most n values spread evenly over v.
func thinned(v []float64, n int) []float64 {
	n = min(n, len(v))
	out := make([]float64, n)
	for i := range out {
		out[i] = v[i*len(v)/n]
	}
	return out
}

// medianOf sorts v and returns its median; 0 when empty.
func medianOf(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	slices.Sort(v)
	return (v[len(v)/2] + v[(len(v)-1)/2]) / 2
}

func isReading(v float64) bool { return !math.IsNaN(v) && !math.IsInf(v, 0) }

func fault(s *schemas.Signal, kind string, from, to int64, note string) schemas.Fault {
	return schemas.Fault{Signal: s.Name, Kind: kind, StartS: schemas.Seconds(from), EndS: schemas.Seconds(to), Note: note}
}
