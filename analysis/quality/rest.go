package quality

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/series"
)

// quiet is how much of the time at rest the runs take, by how long they are.
type quiet struct {
	samples []int     // of the runs that reach into it, the longest first
	share   []float64 // of the time at rest in the runs up to that one
}

func quietAt(runs []run, times []int64, rest []series.Interval) quiet {
	var in []run
	all := int64(0)
	for _, i := range rest {
		all += i.Overlap(series.Interval{Start: times[0], End: times[len(times)-1]})
		for _, r := range runs {
			if r.length = i.Overlap(series.Interval{Start: times[r.from], End: times[r.to-1]}); r.length > 0 {
				in = append(in, r)
			}
		}
	}
	slices.SortStableFunc(in, func(a, b run) int { return cmp.Compare(b.samples(), a.samples()) })
	var q quiet
	sum := int64(0)
	for _, r := range in {
		sum += r.length
		q.samples, q.share = append(q.samples, r.samples()), append(q.share, float64(sum)/float64(all))
	}
	return q
}

// zerosAt is how much of a whole log the runs of 0 take, by how long they are, and whether the
// sensor is so coarse that it reads 0 by itself time and again.
func zerosAt(runs []run, times []int64) (q quiet, coarse bool) {
	var zeros []run
	short := 0
	for _, r := range runs {
		if r.value == 0 {
			zeros = append(zeros, r)
			if r.samples() < fewestDropped {
				short++
			}
		}
	}
	return quietAt(zeros, times, []series.Interval{{Start: times[0], End: times[len(times)-1]}}), short >= coarseZeros
}

// repeats is the share of the time at rest in runs of that many samples and more.
func (q quiet) repeats(samples int) float64 {
	n, _ := slices.BinarySearchFunc(q.samples, samples, func(have, want int) int {
		if have >= want {
			return -1
		}
		return 1
	})
	if n == 0 {
		return 0
	}
	return q.share[n-1]
}

// repeatsAtZero is the probability that a reading of 0 is followed by another one, at most:
// as by all readings but those in the longest runs, with room for stretches that are
// quieter than others, and as in the stretch at rest in which it is likeliest: where the robot
// stands the level is another each time, and with it how often a coarse reading repeats. The
// longest run of each stretch is left out of it, as it may be the one in question. Known is
// whether it is known to rest.
func repeatsAtZero(v []float64, times []int64, runs []run, rest []series.Interval) (p float64, known bool) {
	var lengths []int
	for _, r := range runs {
		if r.value == 0 {
			lengths = append(lengths, r.samples())
		}
	}
	slices.SortFunc(lengths, func(a, b int) int { return cmp.Compare(b, a) })
	samples, repeats := 2, 1
	for _, n := range lengths[min(len(lengths), max(len(lengths)/20, min(20, len(lengths)/2))):] {
		samples, repeats = samples+n, repeats+n-1
	}
	p = math.Pow(float64(repeats)/float64(samples), 0.8)

	samples, repeats = 0, 0
	zeros, again := 0, 0
	for _, i := range rest {
		here := zerosIn(v, times, i)
		samples, repeats = samples+here.samples, repeats+here.repeats
		zeros, again = zeros+here.zeros, again+here.again
		if here.zeros-here.longest >= fewestAtRest {
			_, high := stat.Wilson(here.again-max(0, here.longest-1), here.zeros-here.longest, 0.95)
			p = max(p, high)
		}
	}
	switch {
	case zeros >= fewestAtRest:
		_, high := stat.Wilson(again, zeros, 0.95)
		return max(p, high), true
	case samples >= fewestAtRest:
		// Of readings spread over some steps of the converter the middle one comes at most
		// as often as the root of how often two are equal.
		return max(p, math.Sqrt(float64(repeats+1)/float64(samples+2))), true
	}
	return max(p, 0.2), false
}

// counted is what is told of repeats in a stretch: readings with one before them, those that
// repeat it, those behind a 0, those of them that are 0 too, and the longest run of 0.
type counted struct{ samples, repeats, zeros, again, longest int }

func zerosIn(v []float64, times []int64, i series.Interval) (c counted) {
	run := 0
	for k := series.From(times, i.Start) + 1; k < len(v) && times[k] < i.End; k++ {
		c.samples++
		if v[k] == v[k-1] {
			c.repeats++
		}
		if v[k-1] != 0 {
			run = 0
			continue
		}
		c.zeros++
		run++
		c.longest = max(c.longest, run)
		if v[k] == 0 {
			c.again++
		}
	}
	return c
}
