package stat

import (
	"math"
	"slices"
)

// order puts the value that sorting would put at s[k] there, none larger before it and none
// smaller behind it: a long log is asked for its median again and again, and selecting takes a
// fraction of sorting. NaN sorts first.
func order(s []float64, k int) {
	first := 0 // number
	for i, v := range s {
		if math.IsNaN(v) {
			s[i], s[first] = s[first], v
			first++
		}
	}
	if k < first {
		return
	}
	find(narrowed(s[first:], k-first))
}

const roundsEnough = 64 // of selecting, against an order of values made to be the worst case: then it is sorted

// narrowed orders a long row by pivots from a sample of it until what is left about the k-th value is
// short (Floyd and Rivest, "Expected time bounds for selection", Comm. ACM 18 (1975)). It is that, and
// which of it the value is; nothing where it is in its place already.
func narrowed(s []float64, k int) (rest []float64, at int) {
	const long = 600 // too few for a sample to pay
	for round := 0; len(s) > long && round < roundsEnough; round++ {
		pivot := samplePivot(s, k)
		smaller := toFront(s, func(v float64) bool { return v < pivot })
		if k < smaller {
			s = s[:smaller]
			continue
		}
		s, k = s[smaller:], k-smaller
		if smaller > 0 {
			continue
		}
		equal := toFront(s, func(v float64) bool { return v <= pivot })
		if k < equal {
			return nil, 0
		}
		s, k = s[equal:], k-equal
	}
	return s, k
}

// find orders a row as Hoare does ("Algorithm 65: find", Comm. ACM 4 (1961)).
func find(s []float64, k int) {
	const short = 24 // as soon sorted
	for round := 0; len(s) > short && round < roundsEnough; round++ {
		// The middle of three keeps a sorted or constant series from being the worst case.
		a, b, c := s[0], s[len(s)/2], s[len(s)-1]
		pivot := max(min(a, b), min(max(a, b), c))
		i, j := 0, len(s)-1
		for i <= j {
			for s[i] < pivot {
				i++
			}
			for s[j] > pivot {
				j--
			}
			if i <= j {
				s[i], s[j] = s[j], s[i]
				i++
				j--
			}
		}
		switch {
		case k <= j:
			s = s[:j+1]
		case k >= i:
			s, k = s[i:], k-i
		default:
			return
		}
	}
	slices.Sort(s)
}

// samplePivot is a value of s whose place, were s sorted, lies beyond k by a few standard errors
// of a place in the sample, on the side where more values are: so these fall away at once.
func samplePivot(s []float64, k int) float64 {
	count := int(math.Cbrt(float64(len(s))*float64(len(s))) / 2)
	stride := len(s) / count
	for i := range count {
		s[i], s[i*stride] = s[i*stride], s[i]
	}
	at, beyond := k*count/len(s), int(1.5*math.Sqrt(float64(count)))
	if k < len(s)/2 {
		at += beyond
	} else {
		at -= beyond
	}
	order(s[:count], at)
	return s[at]
}

// toFront moves the values that belong there to the front of s and says how many they are. It
// moves every value, so that no branch hangs on them: in noise a processor guesses every other
// branch wrong, and that takes several times as long as moving.
func toFront(s []float64, belongs func(v float64) bool) int {
	n := 0
	for i, v := range s {
		s[i], s[n] = s[n], v
		more := 0
		if belongs(v) {
			more = 1
		}
		n += more
	}
	return n
}
