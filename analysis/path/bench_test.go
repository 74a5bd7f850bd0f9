package path

import "testing"

// BenchmarkDetect is one match as robots log it: 150 s, five stages, 200 Hz, all signals.
func BenchmarkDetect(b *testing.B) {
	in, _, _ := play(settings{seed: 1, hz: 200, jamRate: 0.04, stages: 5, noEye: []int{2}, cap: 2})
	b.ResetTimer()
	for b.Loop() {
		Detect(in, DefaultConfig())
	}
}
