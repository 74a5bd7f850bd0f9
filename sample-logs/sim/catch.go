package sim

import "math"

// catch is an edge in the path that a torn or tilted piece hangs on. The piece cannot pass
// it. A belt that goes on running drags the piece deeper into the edge, which presses piece
// and belt together (wedge) until the belt's motor stalls; with a stiff edge (small deepen)
// the belt only slips on it. Backwards the piece comes free once the belt pulls harder than
// hold, and pulling backwards works it loose over time.
type catch struct {
	at      float64 // m along the path, front of the piece
	deepen  float64 // N of wedge for each metre the belt slips by
	most    float64 // N, the tightest wedge
	hold    float64 // N, what it takes to pull the piece back out
	loosen  float64 // s, how fast pulling back lowers hold; 0 for never
	left    int     // times it will still catch
	engaged bool
	wedge   float64 // N
}

func (c *piece) held() bool { return c.catch != nil && c.catch.engaged }

// takes says whether a piece that moved from was to x is caught now.
func (k *catch) takes(was, x float64) bool {
	if k.left == 0 || k.engaged || was >= k.at || x < k.at {
		return false
	}
	k.engaged, k.wedge = true, 0
	return true
}

// letsGo says whether the piece comes free under force (N, onward positive) by belt b.
func (k *catch) letsGo(force float64, b *belt, dt float64) bool {
	if s := b.surface(); s > 0 {
		k.wedge = math.Min(k.most, k.wedge+k.deepen*s*dt)
		return false
	}
	if b.axis.command < 0 && k.loosen > 0 {
		k.hold *= math.Exp(-dt / k.loosen)
	}
	if force > -k.hold {
		return false
	}
	k.engaged, k.wedge = false, 0
	k.left--
	return true
}
