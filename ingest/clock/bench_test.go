package clock

import (
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkTrack takes in a minute of a robot that is asked once a second and sends 50 batches
// in each, behind ten minutes of the same, and reports what one exchange or batch costs. The
// simplex, once a minute instead of at every batch.
func BenchmarkTrack(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	late := func() int64 { return int64(500 + 2000*r.ExpFloat64()) }
	var track Track
	var upper, lower []point
	var now int64
	minute := func(keep bool) (calls int) {
		for range 60 {
			there, back := late(), late()
			e := Exchange{T0: now, T1: now + there, T2: now + there, T3: now + there + back}
			track.Add(e)
			if keep {
				upper = append(upper, point{float64(e.T0) / 1e6, float64(there)})
				lower = append(lower, point{float64(e.T3) / 1e6, -float64(back)})
			}
			for range 50 {
				now += 20_000
				travelled := late()
				track.Arrived(now, now+travelled)
				if keep {
					upper = append(upper, point{float64(now) / 1e6, float64(travelled)})
				}
			}
			calls += 51
		}
		return calls
	}
	for range 10 {
		minute(false)
	}
	minute(true)
	var ours, simplex []float64
	b.ReportAllocs()
	for b.Loop() {
		start := time.Now()
		calls := minute(false)
		ours = append(ours, float64(time.Since(start).Nanoseconds())/float64(calls))
		start = time.Now()
		greatest := simplexGreatest(b, upper, lower, 0)
		simplex = append(simplex, float64(time.Since(start).Nanoseconds()))
		require.Positive(b, greatest)
	}
	median := func(v []float64) float64 { slices.Sort(v); return v[len(v)/2] }
	b.ReportMetric(median(ours), "ns/call")
	b.ReportMetric(median(simplex)/median(ours), "x-simplex")
	b.ReportMetric(0, "ns/op") // of both together: says nothing
}
