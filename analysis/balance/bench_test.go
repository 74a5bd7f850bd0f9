package balance

import (
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// matchLog is 150 s with two attempts, one in the middle and one at the end.
func matchLog(w sensor) logged {
	r := rand.New(rand.NewPCG(1, 1))
	s := &scene{}
	s.onFloor(r, 40)
	s.climb(12, 0.4, 1, 0.4)
	s.swingOut(0.12, 5, 0.5, 5, 14, 9)
	s.climb(-11, 0.3, 0.5, 0.4)
	s.driveOff(0.3, 0.4, 70)
	s.climb(12, 0.4, 1, 0.4)
	s.swingOut(0.05, 6, 0, 0, 14, 150-0.001*float64(len(s.tilt)))
	return s.log(r, w)
}

func BenchmarkMatch(b *testing.B) {
	for _, c := range []struct {
		name string
		w    sensor
	}{
		{"200Hz", sensor{rate: 200, noise: 0.3, spikes: 0.001, jitter: 0.1, drive: true, pose: true}},
		{"200HzQuiet", sensor{rate: 200, drive: true, pose: true}},
		{"1000Hz", sensor{rate: 1000, noise: 0.3, spikes: 0.001, jitter: 0.1, drive: true, pose: true}},
		{"50Hz", sensor{rate: 50, noise: 0.3, spikes: 0.001, jitter: 0.1, drive: true, pose: true}},
	} {
		b.Run(c.name, func(b *testing.B) {
			l := matchLog(c.w)
			require.NotEmpty(b, Detect(l.in, DefaultConfig()).Balances)
			for b.Loop() {
				Detect(l.in, DefaultConfig())
			}
		})
	}
}
