package sim

import "math"

const degree = math.Pi / 180

// How the body rocks.
const (
	bodyWn   = 2 * math.Pi * 3.4 // rad/s
	bodyZeta = 0.35
	bodyLean = 0.0018 // rad per m/s2
)

// body is how the robot itself rocks on its wheels: nose up when it starts, nose down when
// it stops or is hit, at a few hertz. The tilt a robot measures is the ground's plus this.
type body struct {
	rock, rate  float64 // rad, rad/s
	ground, was float64 // rad, slope under it now and a step ago

	floor *floor // nil for an even one
}

func (b *body) step(w *world, dt float64) {
	const wn, zeta = bodyWn, bodyZeta
	want := bodyLean * w.chassis.accel
	b.rate += (wn*wn*(want-b.rock) - 2*zeta*wn*b.rate) * dt
	b.rock += b.rate * dt
	b.was, b.ground = b.ground, w.platform.pitch(w.chassis)
	if b.floor != nil {
		b.ground += b.floor.under(w, dt)
		b.rate += b.floor.shake(w.chassis.v, dt, w.platform.carries(w.chassis))
	}
}

// tilt in degrees, nose up positive.
func (b *body) tilt() float64 { return (b.ground + b.rock) / degree }

// tiltRate in degrees a second.
func (b *body) tiltRate() float64 { return ((b.ground-b.was)/step + b.rate) / degree }
