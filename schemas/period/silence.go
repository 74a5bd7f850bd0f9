package period

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// Silences are the stretches longer than limit microseconds, between two samples of the
// log, in which no signal has a sample. Start and end are the samples around each.
func Silences(log *schemas.Log, limit int64) [][2]int64 {
	first, last, ok := log.Bounds()
	if !ok {
		return nil
	}
	quiet := [][2]int64{{first, last}}
	for _, s := range log.Signals {
		times := s.Time
		if s.Boot != nil { // sorted by boot first
			times = slices.Clone(times)
			slices.Sort(times)
		}
		quiet = split(quiet, times, limit)
	}
	return quiet
}

// split cuts each quiet stretch at the samples that fall into it.
func split(quiet [][2]int64, times []int64, limit int64) [][2]int64 {
	var out [][2]int64
	for _, q := range quiet {
		from := q[0]
		i, _ := slices.BinarySearch(times, q[0])
		for ; i < len(times) && times[i] < q[1]; i++ {
			if times[i]-from > limit {
				out = append(out, [2]int64{from, times[i]})
			}
			from = times[i]
		}
		if q[1]-from > limit {
			out = append(out, [2]int64{from, q[1]})
		}
	}
	return out
}
