package balance

import (
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas"
)

const (
	kickOff    = 0.4  // deg RMS that a rig alone must be off by: a lasting push moves a platform by degrees, of which a rig follows some
	kickShare  = 0.35 // of the rest, RMS, that a push from one moment on must leave at most
	kickLeast  = 90.0 // deg/s²; a robot of half this one's weight that comes 0.4 m off the middle pushes more, friction and detents of a board hold by less
	kickEveryS = 0.25
	kickRoomS  = 0.5 // s from either end of the run: nothing can be told of less
)

// push is a lasting push on the platform that no drive command made: another robot that
// comes onto it, or shifts its place.
type push struct {
	at   float64 // s of the run
	size float64 // deg/s²
	off  float64 // deg RMS of the rest
}

// shoved looks for a push from one moment on that explains most of what the likeliest rig
// leaves unexplained.
func (r *run) shoved(g rig) (push, bool) {
	luck := rand.New(rand.NewPCG(20, 31))
	n := len(r.tilt)
	best := push{off: math.Inf(1)}
	defer func() { r.pushFrom = 0 }()
	r.force = false
	var at [rigPlaces]float64
	room := int(kickRoomS / r.step)
	try := func(x [rigPlaces]float64, k int) {
		r.pushFrom = k
		if h, ok := r.rigAt(x); ok {
			if off := math.Sqrt(h.rss / float64(n)); off < best.off {
				best, at = push{float64(k) * r.step, h.push, off}, x
			}
		}
	}
	for k := room; k < n-room; k += int(kickEveryS / r.step) {
		for range 25 {
			x := [rigPlaces]float64{2: math.Log(usualLagS), 3: math.Log(slideHeld * slidesOff / usualFull * usualLagS), 4: math.Log(usualRoll)} // of the drive at first
			for j := range 2 {
				x[j] = rigLow[j] + (rigHigh[j]-rigLow[j])*luck.Float64()
			}
			try(x, k)
		}
	}
	for i := range 120 {
		x, k := at, int(best.at/r.step+0.5)+luck.IntN(13)-6
		for j := range x {
			x[j] += 0.5 * luck.NormFloat64() * math.Exp(-float64(i)/60)
		}
		if k >= room && k < n-room {
			try(x, k)
		}
	}
	return best, best.off < kickShare*math.Sqrt(g.rss/float64(n)) && math.Abs(best.size) > kickLeast
}

// disturbed is when something other than the robot's own loop moved the platform, log s: a
// push in the middle of a swing, or a platform that tipped under a robot that was told to
// stand still. Nil where nothing of the kind is seen, and without a drive command.
func disturbed(tr trace, a attempt, in Input, cfg Config, u tuned, wasOn bool) *float64 {
	if tippedByOthers(a, in, cfg, wasOn) {
		return schemas.Some(seconds(a.startT))
	}
	if u.run == nil || u.off < max(kickOff, 3*tr.noise) || u.best.law.quiet > 0.9 {
		return nil
	}
	p, ok := u.run.shoved(u.best.rig)
	if !ok {
		return nil
	}
	t0, _ := freeStretch(tr, a, in)
	return schemas.Some(seconds(t0) + p.at)
}

// tippedByOthers says that the platform tipped under a robot that stood level on it and was
// told to stand still: for the second before, its command was next to nothing.
func tippedByOthers(a attempt, in Input, cfg Config, wasOn bool) bool {
	if !wasOn || in.Drive == nil || a.outcome == schemas.BalanceLeft {
		return false
	}
	const before, step = 1_000_000, 20_000
	for t := a.startT - before; t < a.startT-200_000; t += step {
		if d, ok := in.Drive.At(t); !ok || math.Abs(d) > cfg.DriveMin/2 {
			return false
		}
	}
	return true
}
