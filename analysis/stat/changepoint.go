package stat

import (
	"math"
	"math/rand/v2"
	"slices"
)

// Segmentation is where a row of readings is cut, and what that costs.
type Segmentation struct {
	At   []int // first reading of each segment but the first, in order
	Cost float64
}

// Segmentations answers where the level of n readings changes, for each number of changes from
// 0 to most: the cuts of least total cost with no segment shorter than least (1 and up). cost is
// that of the readings from i up to, not including, j as one segment. The result ends with the
// last number of changes that fits. Adding a penalty to each change and taking the least gives
// what penalized methods find; having all of them leaves the choice to a criterion that need
// not be linear. O(most n²) sums and n²/2 costs.
//
// Auger and Lawrence, Bulletin of Mathematical Biology 51 (1989).
func Segmentations(n, most, least int, cost func(i, j int) float64) []Segmentation {
	if n < 1 || least < 1 {
		return nil
	}
	table := make([][]float64, n+1) // table[i][j-i] is the cost from i to j
	for i := range n {
		table[i] = make([]float64, n-i+1)
		for j := i + least; j <= n; j++ {
			table[i][j-i] = cost(i, j)
		}
	}
	best := make([]float64, n+1) // of the readings before j, with as many changes as so far
	for j := range best {
		best[j] = math.Inf(1)
		if j >= least {
			best[j] = table[0][j]
		}
	}
	var from [][]int // by number of changes: where the last segment before j begins
	out := []Segmentation{{Cost: best[n]}}
	for range most {
		next, at := make([]float64, n+1), make([]int, n+1)
		for j := range next {
			next[j] = math.Inf(1)
			for i := least; i+least <= j; i++ {
				if c := best[i] + table[i][j-i]; c < next[j] {
					next[j], at[j] = c, i
				}
			}
		}
		if math.IsInf(next[n], 1) {
			break
		}
		best, from = next, append(from, at)
		s := Segmentation{Cost: best[n]}
		for k, j := len(from)-1, n; k >= 0; k-- {
			j = from[k][j]
			s.At = append(s.At, j)
		}
		slices.Reverse(s.At)
		out = append(out, s)
	}
	return out
}

// SquaredError is the cost of a segment whose level is its mean: the sum of squared residuals.
func SquaredError(y []float64) func(i, j int) float64 {
	sum, square := make([]float64, len(y)+1), make([]float64, len(y)+1)
	for i, v := range y {
		v -= y[0] // against cancellation
		sum[i+1], square[i+1] = sum[i]+v, square[i]+v*v
	}
	return func(i, j int) float64 {
		s := sum[j] - sum[i]
		return math.Max(0, square[j]-square[i]-s*s/float64(j-i))
	}
}

// AbsoluteError is the cost of a segment whose level is its median: the sum of the sizes of its
// residuals. A single odd reading costs it no more than itself.
func AbsoluteError(y []float64) func(i, j int) float64 {
	return func(i, j int) float64 {
		s := slices.Sorted(slices.Values(y[i:j]))
		sum := 0.0
		for k := range s {
			if k < len(s)/2 {
				sum -= s[k]
			} else if k >= (len(s)+1)/2 {
				sum += s[k]
			}
		}
		return sum
	}
}

// Binomial is the cost of a segment with one chance for all: twice the negative log-likelihood
// of k events in n tries of each reading, less what is the same for all segmentations.
func Binomial(k, n []float64) func(i, j int) float64 {
	events, tries := make([]float64, len(k)+1), make([]float64, len(k)+1)
	for i := range k {
		events[i+1], tries[i+1] = events[i]+k[i], tries[i]+n[i]
	}
	return func(i, j int) float64 {
		a, m := events[j]-events[i], tries[j]-tries[i]
		return -2 * (xlogx(a) + xlogx(m-a) - xlogx(m))
	}
}

func xlogx(x float64) float64 {
	if x <= 0 {
		return 0
	}
	return x * math.Log(x)
}

// Draws of a permutation test. A chance that is not small needs no many: it ends when so many
// draws were as far as what was seen.
const (
	mostDraws   = 19_999
	enoughDraws = 100
)

// Permuted is the chance, when order says nothing, of a statistic as large as that of the
// readings as they came: the statistic is handed orders of n readings. Deterministic: the draws
// come from a generator that always begins alike.
//
// The sequential form is by Besag and Clifford, Biometrika 78 (1991).
func Permuted(n int, statistic func(order []int) float64) (p float64) {
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	seen := statistic(order) * (1 - 1e-12) // equal but for rounding counts as equal
	rng := rand.New(rand.NewPCG(1, uint64(n)))
	far := 0
	for draw := 1; draw <= mostDraws; draw++ {
		rng.Shuffle(n, func(i, j int) { order[i], order[j] = order[j], order[i] })
		if statistic(order) >= seen {
			if far++; far == enoughDraws {
				return float64(far) / float64(draw)
			}
		}
	}
	return float64(far+1) / (mostDraws + 1)
}

// StepStatistic is that of one change of level at a place not known, for Permuted: the largest
// standardized rank sum over all cuts that leave least readings (1 and up) on both sides. Ranks
// let a single odd reading weigh no more than any other. It is also the place of that cut for
// the readings as they came.
func StepStatistic(y []float64, least int) (statistic func(order []int) float64, at int) {
	n := len(y)
	ranks := midRanks(y)
	mean, square := float64(n+1)/2, 0.0
	for _, r := range ranks {
		square += (r - mean) * (r - mean)
	}
	place := 0
	statistic = func(order []int) float64 {
		largest, sum := 0.0, 0.0
		for k, i := range order {
			if k >= least && n-k >= least {
				// Variance of a sum of k of n numbers drawn without putting back.
				if z := sum * sum / (float64(k) * float64(n-k)); z > largest {
					largest, place = z, k
				}
			}
			sum += ranks[i] - mean
		}
		if square == 0 {
			return 0
		}
		return largest * float64(n) * float64(n-1) / square
	}
	inOrder := make([]int, n)
	for i := range inOrder {
		inOrder[i] = i
	}
	statistic(inOrder)
	return statistic, place
}

// RateStepStatistic is as StepStatistic for readings of k events in n tries: the largest
// likelihood ratio of two chances against one. The readings are reordered as they are, with
// their tries, so that events that come in bunches do not look like a change.
func RateStepStatistic(k, n []float64, least int) func(order []int) float64 {
	var events, tries float64
	for i := range k {
		events, tries = events+k[i], tries+n[i]
	}
	whole := xlogx(events) + xlogx(tries-events) - xlogx(tries)
	return func(order []int) float64 {
		largest, a, m := 0.0, 0.0, 0.0
		for i, at := range order {
			if i >= least && len(order)-i >= least {
				ratio := xlogx(a) + xlogx(m-a) - xlogx(m) +
					xlogx(events-a) + xlogx(tries-m-events+a) - xlogx(tries-m) - whole
				largest = math.Max(largest, 2*ratio)
			}
			a, m = a+k[at], m+n[at]
		}
		return largest
	}
}
