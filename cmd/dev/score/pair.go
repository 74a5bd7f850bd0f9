package score

import (
	"math"
	"slices"
)

// pairing says what of the truth was found: pairs of indices into truth and report, what
// was missed and what is extra, all in order.
type pairing struct {
	pairs         [][2]int
	missed, extra []int
}

// inOrder pairs n true events with m reported ones, each once at most, in order on both
// sides: as many pairs as can be, and of those the least total cost. fits says whether i
// and j may be a pair and what that costs (not negative).
//
// Dynamic programming over prefixes, as in the alignment of Needleman and Wunsch (1970);
// quadratic, and there are some tens of events in a match.
func inOrder(n, m int, fits func(i, j int) (cost float64, ok bool)) pairing {
	type best struct {
		pairs int
		cost  float64
		step  byte // how this prefix was reached: p pair, t truth left over, r report left over
	}
	at := make([][]best, n+1)
	for i := range at {
		at[i] = make([]best, m+1)
		for j := range at[i] {
			if i == 0 && j == 0 {
				continue
			}
			var b best
			offer := func(from best, pairs int, cost float64, step byte) {
				o := best{from.pairs + pairs, from.cost + cost, step}
				if b.step == 0 || o.pairs > b.pairs || o.pairs == b.pairs && o.cost < b.cost {
					b = o
				}
			}
			if i > 0 && j > 0 {
				if cost, ok := fits(i-1, j-1); ok {
					offer(at[i-1][j-1], 1, cost, 'p')
				}
			}
			if i > 0 {
				offer(at[i-1][j], 0, 0, 't')
			}
			if j > 0 {
				offer(at[i][j-1], 0, 0, 'r')
			}
			at[i][j] = b
		}
	}
	var out pairing
	for i, j := n, m; i > 0 || j > 0; {
		switch at[i][j].step {
		case 'p':
			i, j = i-1, j-1
			out.pairs = append(out.pairs, [2]int{i, j})
		case 't':
			i--
			out.missed = append(out.missed, i)
		default:
			j--
			out.extra = append(out.extra, j)
		}
	}
	slices.Reverse(out.pairs)
	slices.Reverse(out.missed)
	slices.Reverse(out.extra)
	return out
}

// overlapOrNear says whether two stretches overlap, or begin within near of each other; the
// cost is how far apart their starts are.
func overlapOrNear(a0, a1, b0, b1, near float64) (float64, bool) {
	apart := math.Abs(a0 - b0)
	return apart, a0 < b1 && b0 < a1 || apart <= near
}
