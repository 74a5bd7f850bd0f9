package anylog

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// OfAMatch is a log as a match of that many seconds leaves it: 200 signals at 50 Hz, 80 at 200 Hz
// and 20 at 1 kHz, with jitter of their own; numbers mostly, each eighth a counter, state or
// mode. 150 s are 6.9 million samples.
func OfAMatch(seconds int) *schemas.Log {
	random := rand.New(rand.NewPCG(1, 2))
	log := &schemas.Log{}
	for i := range 300 {
		hz := 50
		switch {
		case i >= 280:
			hz = 1000
		case i >= 200:
			hz = 200
		}
		n := hz * seconds
		s := &schemas.Signal{Name: fmt.Sprintf("drive/module %03d/reading", i), Time: make([]int64, n)}
		if i%3 == 0 {
			s.Unit = "A"
		}
		step := int64(1_000_000 / hz)
		for j := range s.Time {
			s.Time[j] = int64(j)*step + random.Int64N(step/4)
		}
		switch {
		case i%24 == 7:
			s.Kind = schemas.Int64
			for j := range n {
				s.Int = append(s.Int, int64(j/100))
			}
		case i%24 == 15:
			s.Kind = schemas.Bool
			for j := range n {
				s.Bool = append(s.Bool, j/70%3 == 0)
			}
		case i%24 == 23:
			s.Kind = schemas.Text
			for j := range n {
				s.Text = append(s.Text, []string{"disabled", "autonomous", "driver"}[j/400%3])
			}
		default:
			for j := range n {
				s.Float = append(s.Float, math.Round((20+15*math.Sin(float64(j)/500)+random.NormFloat64())*1000)/1000)
			}
		}
		log.Signals = append(log.Signals, s)
	}
	return log
}

// Way is one way of doing what a benchmark measures. It returns how many samples it read.
type Way struct {
	Name string
	Run  func() int
}

// Compare runs the ways in turns and reports the median of each, and how many times as long the
// others take as the first. All must read as many samples, but those that say 0.
func Compare(b *testing.B, samples int, ways ...Way) {
	took := make([][]float64, len(ways))
	for b.Loop() {
		for i, w := range ways {
			start := time.Now()
			n := w.Run()
			took[i] = append(took[i], time.Since(start).Seconds())
			if n != 0 && n != samples {
				b.Fatalf("%s: %d samples, want %d", w.Name, n, samples)
			}
		}
	}
	first := 0.0
	for i, w := range ways {
		slices.Sort(took[i])
		median := took[i][len(took[i])/2]
		b.ReportMetric(median*1e3, w.Name+"-ms")
		if i == 0 {
			first = median
			b.ReportMetric(float64(samples)/median/1e6, w.Name+"-Msamples/s")
		} else {
			b.ReportMetric(median/first, "x-"+w.Name)
		}
	}
	b.ReportMetric(0, "ns/op") // of all ways together: says nothing
}
