package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
)

// A first-order low-pass answers a step with 1-exp(-t/tau) (circuit theory, common practice);
// a delay moves that.
func TestBehindAnswersAStep(t *testing.T) {
	for _, c := range []struct {
		lag int
		tau float64
	}{{0, 0.05}, {30, 0}, {20, 0.04}} {
		b := &behind{lag: c.lag, tau: c.tau}
		b.step(0)
		for k := range 300 {
			b.step(1)
			since := float64(k-c.lag+1) * step
			want := 0.0
			if since > 0 {
				want = 1 - math.Exp(-since/max(c.tau, 1e-9))
			}
			assert.InDelta(t, want, b.out, 1e-9, "lag %d tau %g step %d", c.lag, c.tau, k)
		}
	}
}

// A beam that is slow each way says blocked and clear that much later, and forgets what was
// shorter.
func TestSlowBeam(t *testing.T) {
	p := &path{belts: []*belt{{beam: 0.5}}}
	c := &piece{length: 0.2}
	b := &slowBeam{onAfter: 20, offAfter: 40}
	on, off := -1, -1
	for k := range 300 {
		p.pieces = nil
		if k < 10 || 100 <= k && k < 200 {
			c.x, p.pieces = 0.6, []*piece{c}
		}
		b.step(p)
		if b.sees != nil && on < 0 {
			on = k
		}
		if b.sees == nil && on >= 0 && off < 0 {
			off = k
		}
	}
	assert.Equal(t, 120, on, "ten steps were too short")
	assert.Equal(t, 240, off)
}

// The hardest log to make: all signals a thousand times a second.
func BenchmarkMatchAt1000Hz(b *testing.B) {
	for b.Loop() {
		if _, err := RunOptions(Options{Scenario: "demo", With: []string{"log-1000-hz"}}); err != nil {
			b.Fatal(err)
		}
	}
}
