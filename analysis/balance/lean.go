package balance

import (
	"math"

	"github.com/afterbell/afterbell/schemas/series"
)

const gravity = 9.80665 // m/s², standard (CGPM 1901)

// withoutLean is the tilt without what turning at speed puts into it. A sensor that tells
// tilt from gravity also feels the v·w m/s² a robot leans into a turn with, and where it is
// not mounted square some of atan(v w/g) shows as tilt: many degrees in a fast turn, and no
// platform anywhere. The share of it is that which the log itself shows, by least squares
// over every moment in which the robot turned hard; it counts only where it explains most of the
// tilt then. The tilt comes back as it is without a pose, without such moments or when they
// show no lean. It changes nothing while the robot goes straight, as one on a platform does.
func withoutLean(tilt *series.Float, in Input, cfg Config) (clean *series.Float, share float64) {
	lean := leanOf(tilt.T, in, cfg)
	if lean == nil {
		return tilt, 0
	}
	both, own, other, n := 0.0, 0.0, 0.0, 0
	for i, l := range lean {
		if math.Abs(l) < cfg.LeanMinDeg || math.IsNaN(tilt.V[i]) || math.Abs(tilt.V[i]) > 2*math.Abs(l) {
			continue
		}
		both, own, other, n = both+l*tilt.V[i], own+l*l, other+tilt.V[i]*tilt.V[i], n+1
	}
	if n < 50 || both*both < 0.5*own*other || math.Abs(both/own) < 0.05 {
		return tilt, 0
	}
	share = both / own
	clean = &series.Float{Name: tilt.Name, T: tilt.T, V: make([]float64, len(tilt.V))}
	for i, v := range tilt.V {
		clean.V[i] = v - share*lean[i]
	}
	return clean, share
}

// leanOf is atan(v w/g) in degrees at each time, v forward and w the yaw rate, by the pose a
// tenth of a second either way; nil without a pose. Where the pose jumps or is silent it is 0.
func leanOf(t []int64, in Input, cfg Config) []float64 {
	if in.X == nil || in.Y == nil || in.Heading == nil || len(in.X.T) < 2 {
		return nil
	}
	const half = 100_000 // µs
	out := make([]float64, len(t))
	for i, now := range t {
		x0, a := between(in.X, now-half)
		x1, b := between(in.X, now+half)
		y0, c := between(in.Y, now-half)
		y1, d := between(in.Y, now+half)
		h0, e := between(in.Heading, now-half)
		h1, f := between(in.Heading, now+half)
		if !(a && b && c && d && e && f) {
			continue
		}
		turn := math.Remainder(h1-h0, 2*math.Pi)
		sin, cos := math.Sincos(h0 + turn/2)
		const span = 2 * half / 1e6
		v, w := ((x1-x0)*cos+(y1-y0)*sin)/span, turn/span
		if math.Abs(v) > cfg.JumpMS || math.Abs(w) > cfg.SpinMax {
			continue
		}
		out[i] = math.Atan(v*w/gravity) * 180 / math.Pi
	}
	return out
}

// between is a signal at t, straight between its samples; ok is false at its ends and in a
// silence of over half a second.
func between(f *series.Float, t int64) (v float64, ok bool) {
	i := series.From(f.T, t)
	if i == 0 || i == len(f.T) || f.T[i]-f.T[i-1] > 500_000 {
		return 0, false
	}
	part := float64(t-f.T[i-1]) / float64(f.T[i]-f.T[i-1])
	if d := f.V[i] - f.V[i-1]; math.Abs(d) > math.Pi { // an angle that went round
		return f.V[i], true
	}
	v = f.V[i-1] + part*(f.V[i]-f.V[i-1])
	return v, !math.IsNaN(v)
}
