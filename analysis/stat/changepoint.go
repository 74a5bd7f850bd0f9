package stat

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
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

// Sharpest is the sharpest difference between two parts of a row of readings.
type Sharpest struct {
	T  float64 // Student's, of the difference of the means of both parts
	At int     // where the stretch ends that differs from all others
	// P is the chance of a T as large somewhere in a row of normal readings whose order says
	// nothing, at most: all places counted (Bonferroni). The smaller it is the less it is too large.
	P float64
}

// SharpestStep answers whether the level of readings changed at a place not known: of all cuts
// that leave least readings (2 and up) on both sides, the one with the largest difference of
// means. One odd reading can make it sharp: hand it readings that are clipped, or ranks. Without
// a place, or with readings that are all equal, P is 1.
func SharpestStep(y []float64, least int) Sharpest { return sharpest(y, cutsOf(len(y), least)) }

// SharpestSpell is as SharpestStep, of a level that may also come back: of any stretch of
// readings against all others, where stretch and what is left before and behind it, if anything,
// are no shorter than least. Such stretches are those of circular binary segmentation. Rows of
// more than 60 readings are cut at every so-manyth only.
//
// Olshen, Venkatraman, Lucito and Wigler, Biostatistics 5 (2004).
func SharpestSpell(y []float64, least int) Sharpest { return sharpest(y, spellsOf(len(y), least)) }

func sharpest(y []float64, stretches [][2]int) Sharpest {
	n := len(y)
	sums, square := make([]float64, n+1), 0.0
	mean := 0.0
	for _, v := range y {
		mean += v / float64(n)
	}
	for i, v := range y {
		sums[i+1] = sums[i] + v - mean
		square += (v - mean) * (v - mean)
	}
	out := Sharpest{P: 1}
	if square <= 1e-24*mean*mean*float64(n) { // equal but for rounding
		return out
	}
	explained := 0.0 // share of the variance
	for _, s := range stretches {
		d, k := sums[s[1]]-sums[s[0]], s[1]-s[0]
		if r := d * d * float64(n) / (float64(k) * float64(n-k) * square); r > explained {
			explained, out.At = r, s[1]
		}
	}
	if explained == 0 || n < 3 {
		return out
	}
	freedom := float64(n - 2)
	out.T = math.Sqrt(freedom * explained / math.Max(1e-15, 1-explained))
	out.P = math.Min(1, 2*float64(len(stretches))*distuv.StudentsT{Mu: 0, Sigma: 1, Nu: freedom}.Survival(out.T))
	return out
}

// cutsOf are the stretches from the first reading to each cut.
func cutsOf(n, least int) [][2]int {
	var out [][2]int
	for j := least; j+least <= n; j++ {
		out = append(out, [2]int{0, j})
	}
	return out
}

// finelyUpTo is how many readings have all their stretches looked at.
const finelyUpTo = 60

// spellsOf are the stretches whose level may differ from that of the rest.
func spellsOf(n, least int) [][2]int {
	step := (n + finelyUpTo - 1) / finelyUpTo
	out := cutsOf(n, least)
	for i := least; i+least <= n; i += step {
		for j := i + least; j+least <= n; j += step { // those that end with the last reading are cuts
			out = append(out, [2]int{i, j})
		}
	}
	return out
}

// SharpestRateStep answers whether the chance of events changed at a place not known: k events in
// n tries of each reading, both whole and tries at least 1. Of all cuts that leave least readings
// on both sides it is the one with the largest likelihood ratio of two chances against one. No
// reading counts with a larger share of events than least readings have at least, so that one with
// a bunch of events makes no change; and the ratio is divided by how much more readings differ within both parts
// than chance makes them (Pearson's statistic, no less than 1). T is its root.
//
// Dispersion as McCullagh and Nelder, Generalized Linear Models (1989), section 4.5.
func SharpestRateStep(k, n []float64, least int) Sharpest {
	return sharpestRate(backed(k, n, least), n, cutsOf(len(k), least))
}

// SharpestRateSpell is to SharpestRateStep what SharpestSpell is to SharpestStep.
func SharpestRateSpell(k, n []float64, least int) Sharpest {
	return sharpestRate(backed(k, n, least), n, spellsOf(len(k), least))
}

// backed are the events, of no reading more than a share that least readings reach.
func backed(k, n []float64, least int) []float64 {
	shares := make([]float64, len(k))
	for i := range k {
		shares[i] = k[i] / n[i]
	}
	slices.Sort(shares)
	out := slices.Clone(k)
	if len(k) < least {
		return out
	}
	most := shares[len(shares)-least]
	for i := range out {
		out[i] = math.Min(k[i], math.Ceil(most*n[i]-1e-9))
	}
	return out
}

func sharpestRate(k, n []float64, stretches [][2]int) Sharpest {
	a, m, square := make([]float64, len(k)+1), make([]float64, len(k)+1), make([]float64, len(k)+1)
	for i := range k {
		a[i+1], m[i+1], square[i+1] = a[i]+k[i], m[i]+n[i], square[i]+k[i]*k[i]/n[i]
	}
	events, tries := a[len(k)], m[len(k)]
	out := Sharpest{P: 1}
	freedom := float64(len(k) - 2)
	if freedom < 1 || events == 0 || events == tries {
		return out
	}
	chances := func(a, m float64) float64 { return xlogx(a) + xlogx(m-a) - xlogx(m) }
	// pearson is the sum of n (k/n - p)² / (p (1 - p)) over readings of one part.
	pearson := func(a, m, square float64) float64 {
		if p := a / m; p > 0 && p < 1 {
			return (square - a*p) / (p * (1 - p))
		}
		return 0
	}
	largest, whole := 0.0, chances(events, tries)
	for _, s := range stretches {
		in, of, own := a[s[1]]-a[s[0]], m[s[1]]-m[s[0]], square[s[1]]-square[s[0]]
		ratio := 2 * (chances(in, of) + chances(events-in, tries-of) - whole)
		if ratio <= largest {
			continue
		}
		excess := (pearson(in, of, own) + pearson(events-in, tries-of, square[len(k)]-own)) / freedom
		if ratio /= math.Max(1, excess); ratio > largest {
			largest, out.At = ratio, s[1]
		}
	}
	out.T = math.Sqrt(largest)
	if largest > 0 {
		out.P = math.Min(1, float64(len(stretches))*distuv.F{D1: 1, D2: freedom}.Survival(largest))
	}
	return out
}

// RateTrend answers whether the chance of events drifts: the chi-squared statistic of a linear
// trend of k events in n tries over x, divided by how much more readings differ about that line
// than chance makes them (no less than 1), and the chance of one as large. Where nothing can
// drift it is 0 and p 1.
//
// Cochran, Biometrics 10 (1954); Armitage, Biometrics 11 (1955).
func RateTrend(x, k, n []float64) (chi2, p float64) {
	var events, tries, mean float64
	for i := range x {
		events, tries, mean = events+k[i], tries+n[i], mean+n[i]*x[i]
	}
	mean /= tries
	share := events / tries
	var both, own float64
	for i := range x {
		both += (x[i] - mean) * k[i]
		own += n[i] * (x[i] - mean) * (x[i] - mean)
	}
	if own == 0 || share <= 0 || share >= 1 || len(x) < 4 {
		return 0, 1
	}
	chi2 = both * both / (own * share * (1 - share))
	pearson := 0.0
	for i := range x {
		r := k[i] - n[i]*(share+both/own*(x[i]-mean))
		pearson += r * r / (n[i] * share * (1 - share))
	}
	freedom := float64(len(x) - 2)
	if excess := pearson / freedom; excess > 1 {
		return chi2 / excess, distuv.F{D1: 1, D2: freedom}.Survival(chi2 / excess)
	}
	return chi2, distuv.ChiSquared{K: 1}.Survival(chi2)
}

// StepPlaces is, for each reading, the chance that it is the first of a new level, where the level of
// normal readings steps once, no fewer than least (1 and up) from either end, and neither the levels nor
// the scatter is known beforehand. Places that cannot be have 0. nil without a place.
//
// Smith, Biometrika 62 (1975), with flat priors of place and levels and one of the scatter flat in its
// logarithm.
func StepPlaces(y []float64, least int) []float64 {
	n := float64(len(y))
	cost := SquaredError(y)
	floor := 1e-12 * cost(0, len(y)) // of readings that a step explains wholly
	return placeChances(len(y), least, func(at int) float64 {
		loss := max(cost(0, at)+cost(at, len(y)), floor, math.SmallestNonzeroFloat64)
		return -(n-2)/2*math.Log(loss) - math.Log(float64(at)*(n-float64(at)))/2
	})
}

// ShareStepPlaces is the same of events in tries, whose chance steps once; of both chances nothing is
// known beforehand (Jeffreys' prior).
func ShareStepPlaces(events, tries []float64, least int) []float64 {
	half := func(events, tries []float64) float64 {
		k, n := floats.Sum(events), floats.Sum(tries)
		return mathext.Lbeta(k+0.5, n-k+0.5)
	}
	return placeChances(len(events), least, func(at int) float64 {
		return half(events[:at], tries[:at]) + half(events[at:], tries[at:])
	})
}

// placeChances turns the logarithms of what speaks for each place into chances.
func placeChances(n, least int, log func(at int) float64) []float64 {
	if n < 2*least {
		return nil
	}
	out := make([]float64, n)
	for at := range out {
		out[at] = math.Inf(-1)
		if at >= least && at+least <= n {
			out[at] = log(at)
		}
	}
	total := floats.LogSumExp(out)
	for at := range out {
		out[at] = math.Exp(out[at] - total)
	}
	return out
}

// Likeliest is the first and the last of the fewest places that together hold level (0.95) of the chance.
func Likeliest(chance []float64, level float64) (first, last int) {
	order := make([]int, len(chance))
	floats.ArgsortStable(slices.Clone(chance), order)
	first, last = len(chance), -1
	held := 0.0
	for i := len(order) - 1; i >= 0 && held < level; i-- {
		held += chance[order[i]]
		first, last = min(first, order[i]), max(last, order[i])
	}
	return first, last
}
