package path

import (
	"fmt"
	"testing"
)

// BenchmarkDetect is one match as robots log it: 150 s, five stages, 200 Hz, all signals.
func BenchmarkDetect(b *testing.B) {
	in, _, _ := play(settings{seed: 1, hz: 200, jamRate: 0.04, stages: 5, noEye: []int{2}, cap: 2})
	b.ResetTimer()
	for b.Loop() {
		Detect(in, DefaultConfig())
	}
}

// BenchmarkDetectGrows is how time and memory grow with the length of the log, and so with
// the pieces in it, and with the stages: each beside the smallest of its kind. Both should
// grow as their number does.
func BenchmarkDetectGrows(b *testing.B) {
	run := func(name string, s settings) {
		in, _, pieces := play(s)
		b.Run(name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				Detect(in, DefaultConfig())
			}
			b.ReportMetric(float64(pieces), "pieces")
		})
	}
	for _, long := range []float64{150, 300, 600} {
		run(fmt.Sprintf("seconds=%.0f", long), settings{seed: 1, hz: 200, jamRate: 0.04, stages: 5, cap: 2, long: long})
	}
	for _, stages := range []int{2, 4, 6} {
		run(fmt.Sprintf("stages=%d", stages), settings{seed: 1, hz: 200, jamRate: 0.02, stages: stages, cap: 2, long: 150})
	}
}
