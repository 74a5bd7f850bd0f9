package sim

import "math"

// leveller drives the robot level on a platform from its tilt and tilt rate, by signals
// that are some cycles old. The zero of each of the later fields leaves that feature out.
type leveller struct {
	kp    float64 // command per degree
	kd    float64 // command per degree a second
	most  float64 // largest command
	quiet float64 // deg, band in which it stands still
	hold  float64 // command for each m/s the wheels are off
	late  int     // program runs from tilt to wheels
	tilts []float64
	rates []float64

	zero    float64 // deg that it takes for level
	ki      float64 // command per degree and second
	sum     float64 // command the integral has come to
	sumMost float64 // and may come to; it is not held when the command is at its limit
	bang    float64 // command of a loop that only asks which end is up
	ramp    float64 // command it may change by in a second
	sticky  float64 // command under which the drive does not move
	jitter  float64 // deg/s, noise of the rate it uses
	share   float64 // part of a new rate that is taken on each run
	r       random

	climbing, swinging *Gains  // those up the slope and from the tip on, where they are not the same
	steepest           float64 // deg, since it was switched on

	smooth  float64
	word    float64 // the command given last
	clamped bool    // it was at a limit
}

func newLeveller(w *world) leveller {
	l := leveller{kp: 0.0075, kd: 0.0045, most: 0.30, quiet: 1.2, hold: 0.8, late: 2, share: 0.3}
	if w.scenario.leveller != nil {
		w.scenario.leveller(&l, stream(w.seed, "gains"))
	}
	l.r = stream(w.seed, "leveller")
	return l
}

// begin forgets what the loop knew: it has just been switched on.
func (l *leveller) begin() {
	l.sum, l.word, l.steepest = 0, 0, 0
	if l.climbing != nil {
		l.kp, l.kd = l.climbing.Tilt, l.climbing.Rate
	}
}

// take is for gains that a match is played with in place of the scenario's own.
func (l *leveller) take(g Gains) {
	if g.FromTip {
		l.climbing, l.swinging = &Gains{Tilt: l.kp, Rate: l.kd}, &g
		return
	}
	l.kp, l.kd = g.Tilt, g.Rate
}

// tips gives the loop the gains for the swing, where it has such, once the platform has tipped. By
// then the tilt is clearly less than it was on the way up; nine tenths are what a crew is told.
func (l *leveller) tips(tilt float64) {
	if l.swinging == nil {
		return
	}
	if l.steepest = max(l.steepest, math.Abs(tilt)); l.steepest > mountDeg && math.Abs(tilt) < 0.9*l.steepest {
		l.kp, l.kd = l.swinging.Tilt, l.swinging.Rate
	}
}

// command is the leveller's drive command, -1..1, for a tilt in deg and its rate in deg/s
// as they are now; dt is the time since the run before.
func (l *leveller) command(tilt, rate, dt float64) float64 {
	if l.jitter > 0 {
		rate += l.jitter * l.r.NormFloat64()
	}
	l.tilts = append(l.tilts, tilt-l.zero)
	l.smooth += (rate - l.smooth) * l.share // gyros are noisy: some 30 ms of smoothing
	l.rates = append(l.rates, l.smooth)
	n := len(l.tilts) - 1 - l.late
	if n < 0 {
		return 0
	}
	l.tips(l.tilts[n])
	want := l.want(l.tilts[n], l.rates[n], dt)
	l.clamped = math.Abs(want) >= l.most
	want = clamp(want, l.most)
	if l.ramp > 0 {
		limit := l.ramp * dt
		l.clamped = l.clamped || math.Abs(want-l.word) > limit
		want = l.word + clamp(want-l.word, limit)
	}
	l.word = want
	return want
}

// want is the command before limits.
func (l *leveller) want(tilt, rate, dt float64) float64 {
	if math.Abs(tilt) < l.quiet {
		return 0
	}
	if l.bang > 0 {
		return math.Copysign(l.bang, tilt)
	}
	want := l.kp*tilt + l.kd*rate
	if l.ki > 0 {
		l.sum = clamp(l.sum+l.ki*tilt*dt, l.sumMost)
		want += l.sum
	}
	return want
}

// level gives the two sides their commands while the leveller drives: what it says, and
// what holds the wheels to that speed whatever the slope.
func (p *program) levelWheels(w *world, dt float64) (forward, left, right float64) {
	c := w.chassis
	if !p.wasLevel {
		p.level.begin()
	}
	forward = p.level.command(w.body.tilt(), w.body.tiltRate(), dt)
	w.levelled = append(w.levelled, levelledAt(w))
	if math.Abs(forward) < p.level.sticky {
		return forward, -forward, -forward
	}
	left = p.level.hold * (forward*fullSpeed - c.wheelSpeed(c.left))
	right = p.level.hold * (forward*fullSpeed - c.wheelSpeed(c.right))
	return forward, left, right
}
