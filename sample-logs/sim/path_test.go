package sim

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// bench is one long roller stage on a stiff 12 V supply.
func bench(u, limit float64) (*path, *belt) {
	b := &belt{
		name: "roller", from: 0, to: 10, beam: 5, axis: &axis{motor: motor{r: 0.3, ke: 0.022, windingMax: limit}, command: u},
		radius: 0.03, gear: 18, yield: 0.75, inertia: 0.006, friction: 0.62,
	}
	return &path{belts: []*belt{b}, end: 20}, b
}

func always(*belt) bool { return true }

// runPath steps a path on a stiff supply.
func runPath(p *path, seconds, dt float64, each func()) {
	for range int(math.Round(seconds / dt)) {
		for _, b := range p.belts {
			b.axis.settle(12, false, dt)
		}
		p.step(always, dt)
		if each != nil {
			each()
		}
	}
}

// A free roller ends where V = I*R + Ke*w with the current that carries its friction, and
// gets there with the time constant J*R/(Ke^2*G^2*eta) (permanent-magnet motor, Fitzgerald,
// Kingsley and Umans, Electric Machinery; the geared form is common practice).
func TestFreeRollerAgainstClosedForm(t *testing.T) {
	for _, u := range []float64{0.3, 0.6, 1} {
		p, b := bench(u, 0)
		kt := 0.022 * 18 * 0.75
		amps := b.friction / kt
		final := (u*12 - amps*0.3) / 0.022 / 18
		tau := b.inertia * 0.3 / (0.022 * 18 * kt)
		runPath(p, tau, 1e-5, nil)
		assert.InEpsilon(t, final*(1-math.Exp(-1)), b.speed(), 0.02, "u %g", u)
		runPath(p, 12*tau, 1e-5, nil)
		assert.InEpsilon(t, final, b.speed(), 0.001, "u %g", u)
		assert.InEpsilon(t, amps, b.axis.winding, 0.001, "u %g", u)
	}
}

// A roller locked by a wedged piece draws V/R, or its limit where that is less, and pulls on
// the piece with what that current gives less nothing: it does not turn.
func TestLockedRollerDrawsStallCurrent(t *testing.T) {
	for _, limit := range []float64{0, 20} {
		p, b := bench(0.5, limit)
		c := newPiece(stream(1, "piece"))
		c.x = 0.5
		c.catch = &catch{at: 0.6, deepen: 1e5, most: 1e4, hold: math.Inf(1), left: 1}
		p.pieces = []*piece{c}
		runPath(p, 2, step, nil)
		want := 0.5 * 12 / 0.3
		if limit > 0 {
			want = math.Min(want, limit)
		}
		assert.InEpsilon(t, want, b.axis.winding, 0.01)
		assert.Less(t, math.Abs(b.surface()), 0.01)
		assert.InEpsilon(t, want*0.022*18*0.75/0.03, p.push[0], 0.05)
		assert.Equal(t, 0.6, c.x)
	}
}

// Under a piece that is held and not wedged a roller slips: it pulls with mu*N (Coulomb), and
// its motor carries just that and its own friction.
func TestSlippingRollerPullsByFriction(t *testing.T) {
	for _, mu := range []float64{0.45, 0.8} {
		p, b := bench(0.9, 40)
		c := newPiece(stream(1, "piece"))
		c.x, c.mu = 0.5, mu
		c.catch = &catch{at: 0.6, hold: math.Inf(1), left: 1}
		p.pieces = []*piece{c}
		runPath(p, 2, step, nil)
		assert.InEpsilon(t, mu*c.press, p.push[0], 0.001)
		amps := (mu*c.press*0.03 + b.friction) / (0.022 * 18 * 0.75)
		assert.InEpsilon(t, amps, b.axis.winding, 0.002)
		assert.InEpsilon(t, (0.9*12-amps*0.3)/0.022, b.axis.speed, 0.002)
	}
}

// No piece gains energy from nowhere: what three pieces have in motion, height and squeeze
// grows by no more than what the rollers brought, in any 20 ms, through starts, reversals,
// blows, a shut gate and an edge that catches and gives way.
func TestPiecesTakeEnergyFromRollersOnly(t *testing.T) {
	r := stream(9, "energy")
	for range 40 {
		p := newPath(r)
		p.end, p.bar, p.open = 10, 1.5, r.Float64() < 0.4
		var all []*piece
		for k := range 3 {
			c := newPiece(r)
			c.mass = r.between(0.18, 0.9)
			c.x = 1.0 - 0.3*float64(k)
			all = append(all, c)
		}
		all[1].catch = &catch{at: r.between(0.75, 1), deepen: 3000, most: 600, hold: 300, gives: r.between(0.1, 1), left: 2}
		p.pieces = append(p.pieces, all...)
		work, lift, least, before := 0.0, 0.0, 0.0, 0.0
		for k := range 3000 {
			if k%300 == 0 {
				for _, b := range p.belts {
					b.axis.command = r.between(-1, 1)
				}
			}
			surface := make([]float64, len(p.belts))
			for i, b := range p.belts {
				surface[i] = b.surface()
			}
			var was []float64
			for _, c := range all {
				was = append(was, c.x)
			}
			runPath(p, step, step, nil)
			if len(p.pieces) < 3 {
				break
			}
			energy := 0.0
			for i := range p.belts {
				work += math.Max(0, p.push[i]*surface[i]*step) // a roller that brakes brings nothing
			}
			for i, c := range all {
				lift += riseOf(p, c, was[i]) * c.mass * gravity * (c.x - was[i])
				energy += c.mass * c.v * c.v / 2
				if over := -p.gapBehind(i); over > 0 {
					energy += softN * over * over / 2
				}
				if over := c.x - p.bar; !p.open && !c.past && over > 0 {
					energy += softN * over * over
				}
			}
			if k%20 == 0 {
				lost := work - lift - energy
				if k > 0 {
					least = math.Min(least, lost-before)
				}
				before = lost
			}
		}
		assert.Greater(t, least, -0.001, "J that came from nowhere")
		assert.Greater(t, work, 1.0)
	}
}

// riseOf is the part of gravity against a piece whose front is at x.
func riseOf(p *path, c *piece, x float64) float64 {
	total := 0.0
	for _, b := range p.belts {
		total += b.rise * math.Max(0, math.Min(x, b.to)-math.Max(x-c.length, b.from)) / c.length
	}
	return total
}

// A shut gate holds a piece that is pressed on it; opened, it lets the piece go.
func TestBarHoldsUntilItOpens(t *testing.T) {
	p, _ := bench(0.3, 40)
	c := newPiece(stream(1, "piece"))
	c.x = 0.5
	p.bar, p.pieces = 0.8, []*piece{c}
	runPath(p, 3, step, nil)
	assert.InDelta(t, 0.8+c.mu*c.press/(2*softN), c.x, 0.002, "pressed as far as it gives")
	p.open = true
	runPath(p, 1, step, nil)
	assert.Greater(t, c.x, 0.9)
}

// Drawn paths are whole: stages follow each other, beams lie in their stages, pieces wait a
// piece apart, and the first and the last stage have a beam.
func TestDrawnPathsAreWhole(t *testing.T) {
	counts, blind := map[int]int{}, 0
	for seed := uint64(1); seed <= 300; seed++ {
		p := drawPath(stream(seed, "path"))
		n := len(p.belts)
		counts[n]++
		names := map[string]bool{}
		for i, b := range p.belts {
			assert.Less(t, b.from, b.beam)
			assert.Less(t, b.beam, b.to)
			names[b.name] = true
			if b.blind {
				blind++
			}
			if i > 0 {
				assert.Equal(t, p.belts[i-1].to, b.from)
				assert.GreaterOrEqual(t, b.beam-p.belts[i-1].beam, waitingRoom-1e-9)
			}
		}
		require.Len(t, names, n)
		assert.False(t, p.belts[0].blind || p.belts[n-1].blind)
		assert.Equal(t, p.end, p.belts[n-1].to)
		assert.Greater(t, p.end-p.last().beam, 0.12)
	}
	assert.Len(t, counts, 4, "3 to 6 stages")
	assert.Greater(t, blind, 50)
}
