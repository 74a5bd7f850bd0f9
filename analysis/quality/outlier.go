package quality

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// baselineBlock is how many samples make the baseline an excursion is measured from.
const baselineBlock = 48

// newUsual is after how many deviating blocks a level that stays is the new usual.
const newUsual = 30

// excursions are stretches in which a signal left the range of its own past and of all
// its future: the deviation from the median of the block before exceeds ExcursionMin
// robust standard deviations (1.4826 MAD of all deviations), and its peak stands
// ExcursionLead above the largest deviation outside such stretches. A signal that often
// deviates much, as a current does, has no stretch that stands apart and gives none.
//
// A quantity comes to a level it never was at in its own time, as a place on the field does on the
// way to the platform, or a motor's temperature. Only a stretch in which the signal also moves
// ExcursionLead times faster than elsewhere is a fault.
func excursions(s *schemas.Signal, times []int64, cfg Config) []schemas.Fault {
	if s.Boot != nil || len(s.Float) < 10*baselineBlock {
		return nil
	}
	away := deviations(s.Float)
	sigma := 1.4826 * medianOf(thinned(away, 4096))
	if sigma == 0 {
		return nil // rests on one value most of the time: no scale to measure by
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
	limit := cfg.ExcursionLead * fastestOutside(s.Float, times, all[:apart])
	var out []schemas.Fault
	for _, e := range all[:apart] {
		if e.to-e.from < 3 {
			continue // a spike of one or two samples is noise, not a fault that lasts
		}
		if !leavesRange(s.Float, e.from, e.to) {
			continue // it went quickly to where it is at other times too: a turn, not a fault
		}
		if !jumps(s.Float, times, e, limit) {
			continue
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

// stretch is samples from up to before to that deviate, by peak at most.
type stretch struct {
	from, to int
	peak     float64
}

// jumps tells whether a signal comes into a stretch, moves in it or leaves it faster than a limit
// in its units a µs.
func jumps(v []float64, times []int64, e stretch, limit float64) bool {
	// Where a sensor goes off it deviates at once, but a baseline that is a block old makes one
	// that is driven away deviate a block late.
	for i := max(1, e.from-baselineBlock); i < min(len(v), e.to+baselineBlock); i++ {
		if speedAt(v, times, i) > limit {
			return true
		}
	}
	return false
}

// fastestOutside is the fastest that a signal moves outside some stretches and the blocks around
// them, in its units a µs; 0 when there are no such stretches.
func fastestOutside(v []float64, times []int64, but []stretch) float64 {
	if len(but) == 0 {
		return 0
	}
	fastest := 0.0
	for i := 1; i < len(v); i++ {
		if !slices.ContainsFunc(but, func(e stretch) bool { return i >= e.from-baselineBlock && i < e.to+baselineBlock }) {
			fastest = max(fastest, speedAt(v, times, i))
		}
	}
	return fastest
}

// speedAt is how fast a signal came to sample i from the one before, 0 where it was not read.
func speedAt(v []float64, times []int64, i int) float64 {
	if !isReading(v[i]) || !isReading(v[i-1]) || times[i] <= times[i-1] {
		return 0
	}
	return math.Abs(v[i]-v[i-1]) / float64(times[i]-times[i-1])
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
