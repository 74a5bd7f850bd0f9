package power

import (
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/afterbell/afterbell/schemas"
)

// A whole match of 150 s with eight branches, brownouts and the bootstrap.
func BenchmarkDetect(b *testing.B) {
	for _, hz := range []float64{50, 200, 1000} {
		b.Run(fmt.Sprintf("%.0fHz", hz), func(b *testing.B) {
			rng := rand.New(rand.NewPCG(1, 1))
			load := drive(rng, 150)
			weak := healthy
			weak.ohm = 0.05
			volts, amps := board(hz, 0)
			in := Input{
				Voltage: volts.read(rng, weak.volts(load, fine)), Current: amps.read(rng, load), EnterV: 6.8, LeaveV: 7.4,
				Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: 150}}, End: 150_000_000,
			}
			for k := range 8 {
				in.Branches = append(in.Branches, Branch{fmt.Sprint("branch ", k), amps.read(rng, load)})
			}
			b.ReportAllocs()
			for b.Loop() {
				if r := Detect(in, DefaultConfig()); r.Line == nil || len(r.Brownouts) == 0 {
					b.Fatal("nothing found")
				}
			}
		})
	}
}
