package power

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
)

// step is one change of the load: by how much current and voltage changed across it.
type step struct {
	t      int64
	di, dv float64 // A, V
	u      float64 // A s that flowed meanwhile beyond the flow of the last second or so: what relaxation takes up
	n      float64 // readings averaged on either side
	middle float64 // A, between before and after
}

// loadSteps are the steps of the load and the least change in A that counted as one. A
// step lies where the mean current of the readings within half seconds after differs most
// from that of those before. It is measured beside these, as the mean of some readings
// after them less that of some before: a reading that found a step cannot measure it, or
// the noise that lifted it over the limit would be taken for current.
func (a *aligned) loadSteps(half float64, cfg Config) (steps []step, least float64) {
	count := func(seconds float64, atLeast int) int {
		return max(atLeast, int(math.Round(seconds/a.stepS())))
	}
	skip, average := count(half, 1), count(cfg.AverageS, 1)
	reach := skip + average
	sums := a.sums(cfg)

	least = cfg.NoiseTimes * a.noiseI * math.Sqrt(2/float64(skip))
	change := make([]float64, len(a.T))
	var some []float64 // of the changes beyond noise, or a long rest would make small steps large
	for k := reach; k+reach <= len(a.T); k++ {
		if !sums.whole(k-reach, k+reach) || float64(a.T[k+reach-1]-a.T[k-reach]) > 1.5*float64(2*reach)*float64(a.step) {
			continue
		}
		change[k] = math.Abs(mean(sums.i, k, k+skip) - mean(sums.i, k-skip, k))
		if change[k] > least && k%(1+len(a.T)/40000) == 0 {
			some = append(some, change[k])
		}
	}
	if len(some) == 0 {
		return nil, least
	}
	least = max(least, cfg.LargeShare*stat.Quantile(0.9, some))
	for k, c := range change {
		if c == 0 || c < least || !peaks(change, k, reach) {
			continue
		}
		after, before := k+skip, k-skip
		steps = append(steps, step{
			t:  a.T[k],
			di: mean(sums.i, after, after+average) - mean(sums.i, before-average, before),
			dv: mean(sums.v, after, after+average) - mean(sums.v, before-average, before),
			u:  mean(sums.q, after, after+average) - mean(sums.q, before-average, before),
			n:  float64(average),

			middle: (mean(sums.i, after, after+average) + mean(sums.i, before-average, before)) / 2,
		})
	}
	return steps, least
}

// peaks says whether x[k] is the largest within reach on either side, the first of equals.
func peaks(x []float64, k, reach int) bool {
	for i := max(0, k-reach); i < min(len(x), k+reach); i++ {
		if x[i] > x[k] || x[i] == x[k] && i < k {
			return false
		}
	}
	return true
}

// sums are running sums: entry k is of the first k readings, those not known counted as 0
// and in lost.
type sums struct {
	v, i, q []float64
	lost    []int
}

func (a *aligned) sums(cfg Config) *sums {
	if a.running != nil {
		return a.running
	}
	n := len(a.T)
	s := &sums{make([]float64, n+1), make([]float64, n+1), make([]float64, n+1), make([]int, n+1)}
	slow := math.NaN() // the current of the last RelaxS seconds or so
	var charge, before, follows float64
	var lastStep int64 = -1
	for k := range n {
		v, i, lost := a.V[k], a.I[k], 0
		if math.IsNaN(v) || math.IsNaN(i) {
			v, i, lost = 0, 0, 1
		} else {
			if math.IsNaN(slow) {
				slow = i
			} else {
				step := a.T[k] - a.T[k-1]
				dt := float64(step) / 1e6
				if step != lastStep {
					follows, lastStep = 1-math.Exp(-dt/cfg.RelaxS), step
				}
				slow += (i - slow) * follows
				charge += dt * (before + i - slow) / 2
			}
			before = i - slow
		}
		s.v[k+1], s.i[k+1], s.q[k+1], s.lost[k+1] = s.v[k]+v, s.i[k]+i, s.q[k]+charge, s.lost[k]+lost
	}
	a.running = s
	return s
}

// whole says whether all readings from i up to j are known.
func (s *sums) whole(i, j int) bool { return s.lost[j] == s.lost[i] }

// mean is the mean of the readings from i up to j.
func mean(sum []float64, i, j int) float64 { return (sum[j] - sum[i]) / float64(j-i) }
