package cost

import "slices"

// shared is the time between the first and the last of cuts, every piece between two cuts
// divided by the number that share it.
func shared(cuts []float64, number func(at float64) int) float64 {
	slices.Sort(cuts)
	sum := 0.0
	for i := 1; i < len(cuts); i++ {
		if d := cuts[i] - cuts[i-1]; d > 0 {
			sum += d / float64(number(cuts[i-1]))
		}
	}
	return sum
}
