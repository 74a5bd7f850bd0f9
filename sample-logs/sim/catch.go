package sim

import "math"

// catch is an edge in the path that a torn or tilted piece hangs on. The piece cannot pass
// it. A belt that goes on running drags the piece deeper into the edge, which presses piece
// and belt together (wedge) until the belt's motor stalls; with a stiff edge (small deepen
// or most) the belt only slips on it. Backwards the piece comes free once the belt pulls
// harder than hold, and pulling backwards works it loose over time. Onward it comes free
// when the edge gives way after some time of driving.
type catch struct {
	at      float64 // m along the path, front of the piece
	deepen  float64 // N of wedge for each metre the belt slips by
	most    float64 // N, the tightest wedge
	hold    float64 // N, what it takes to pull the piece back out
	loosen  float64 // s, how fast pulling back lowers hold; 0 for never
	gives   float64 // s of driving on until it gives way; 0 for never
	pair    float64 // m: takes a piece only when the next is as near behind it; 0 for any
	left    int     // times it will still catch
	engaged bool
	wedge   float64 // N
	forced  float64 // s driven on so far
}

func (c *piece) held() bool { return c.catch != nil && c.catch.engaged }

// takes says whether a piece that moved from was to x is caught now, with the next one gap
// behind it.
func (k *catch) takes(was, x, gap float64) bool {
	if k.left == 0 || k.engaged || was >= k.at || x < k.at || k.pair > 0 && gap > k.pair {
		return false
	}
	k.engaged, k.wedge, k.forced = true, 0, 0
	return true
}

// letsGo says whether the piece comes free under force (N, onward positive) by belt b.
func (k *catch) letsGo(force float64, b *belt, dt float64) bool {
	if k.gives > 0 && b.axis.command > 0.05 {
		if k.forced += dt; k.forced >= k.gives {
			return k.open()
		}
	}
	if s := b.surface(); s > 0 {
		k.wedge = min(k.most, k.wedge+k.deepen*s*dt)
		return false
	}
	if b.axis.command < 0 && k.loosen > 0 {
		k.hold *= math.Exp(-dt / k.loosen)
	}
	return force <= -k.hold && k.open()
}

func (k *catch) open() bool {
	k.engaged, k.wedge = false, 0
	k.left--
	return true
}
