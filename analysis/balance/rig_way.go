package balance

import "math"

const (
	wayCrooked = 0.005 // m by which a way told by wheels is off over some seconds, beside what its readings are off by; chosen by us
	wayOffMost = 0.03  // m RMS by which no drivetrain may be off for the pose to be believed
	wayLeast   = 0.02  // m RMS; a robot that moved less shows nothing of its drive
	wayFollows = 0.95  // part of its square that the command must explain
)

// wayAlong is where the robot was by the pose, m along the line that it drove on, at n times; nil
// without a pose there, and not a number before it begins.
func wayAlong(in Input, cfg Config, at func(int) int64, n int) []float64 {
	w, ok := wayOf(in, cfg, at(0), at(n))
	if !ok {
		return nil
	}
	x, y := make([]float64, n), make([]float64, n)
	meanX, meanY, known := 0.0, 0.0, 0.0
	k := 0
	for i := range n {
		t := at(i)
		if t < w.t[0] {
			x[i], y[i] = math.NaN(), math.NaN()
			continue
		}
		for k+1 < len(w.t) && w.t[k+1] <= t {
			k++
		}
		x[i], y[i] = w.x[k], w.y[k]
		if k+1 < len(w.t) && t > w.t[k] {
			part := float64(t-w.t[k]) / float64(w.t[k+1]-w.t[k])
			x[i], y[i] = x[i]+part*(w.x[k+1]-w.x[k]), y[i]+part*(w.y[k+1]-w.y[k])
		}
		meanX, meanY, known = meanX+x[i], meanY+y[i], known+1
	}
	xx, xy, yy := 0.0, 0.0, 0.0
	for i := range n {
		x[i], y[i] = x[i]-meanX/known, y[i]-meanY/known
		if math.IsNaN(x[i]) {
			continue
		}
		xx, xy, yy = xx+x[i]*x[i], xy+x[i]*y[i], yy+y[i]*y[i]
	}
	sin, cos := math.Sincos(math.Atan2(2*xy, xx-yy) / 2) // the longer axis of where it was
	for i := range n {
		x[i] = cos*x[i] + sin*y[i]
	}
	return x
}

// waySums compare a way with the one that a drivetrain would have gone, which is in full commands
// for a second: what a full command is worth, and where it began, come out of it.
type waySums struct{ n, p, pp, m, mm, pm float64 }

func (s *waySums) add(way []float64, i int, place float64) {
	if way == nil || math.IsNaN(way[i]) {
		return
	}
	m := way[i]
	s.n++
	s.p, s.pp, s.m, s.mm, s.pm = s.p+place, s.pp+place*place, s.m+m, s.mm+m*m, s.pm+place*m
}

// size is how far it went, m RMS about its mean.
func (s waySums) size() float64 {
	if s.n == 0 {
		return 0
	}
	return math.Sqrt(max(0, s.mm/s.n-s.m*s.m/s.n/s.n))
}

// off is by how much the two differ, m RMS.
func (s waySums) off() float64 {
	if s.n == 0 {
		return 0
	}
	pp, pm, mm := s.pp-s.p*s.p/s.n, s.pm-s.p*s.m/s.n, s.mm-s.m*s.m/s.n
	if pp > 0 {
		mm -= pm * pm / pp
	}
	return math.Sqrt(max(0, mm) / s.n)
}

// full is how fast full command is, m/s: the slope of the way there was by the one it would have gone;
// the usual where that is none.
func (s waySums) full() float64 {
	if pp, pm := s.pp-s.p*s.p/max(1, s.n), s.pm-s.p*s.m/max(1, s.n); pp > 0 && pm != 0 {
		return math.Abs(pm / pp)
	}
	return usualFull
}

// followWay forgets a way that no usual drivetrain goes by this command, and says of one that some
// do what it is worth: readings of a pose hang together.
func (r *run) followWay() {
	var all waySums
	for i := range r.way {
		all.add(r.way, i, 0)
	}
	r.wayLooks = float64(len(r.way)) * r.step / wayEveryS
	best := r.leaveOutDead()
	size := all.size()
	if size < wayLeast || best > wayOffMost || best*best > max(wayCrooked*wayCrooked, (1-wayFollows)*size*size) {
		r.way = nil
	}
}

// nearestWay is by how much, m RMS, the way differs from that of the usual drivetrain nearest to it.
func (r *run) nearestWay() float64 {
	off := math.Inf(1)
	for _, lag := range [...]float64{0.02, 0.05, 0.1, 0.2} {
		for _, slide := range [...]float64{0.0003, 0.001, 0.0025, 0.005, 0.01} {
			drive := drivetrain{lag, slide, usualRoll}.every(r.step, r.sign)
			var way waySums
			speed, place := r.command[0]-drive.slide*r.slope[0], 0.0
			for i, u := range r.command {
				next := drive.next(speed, u, r.slope[i])
				way.add(r.way, i, place)
				speed, place = next, place+r.step*(speed+next)/2
			}
			off = min(off, way.off())
		}
	}
	return off
}

// leaveOutDead takes commands that do not move the robot for none, where the way shows that there are
// such beyond doubt: friction holds a drivetrain that is hardly driven. It tells how far off, m RMS, the
// way then is.
func (r *run) leaveOutDead() float64 {
	logged, off := r.command, r.nearestWay()
	moves, least := logged, off*math.Exp(-deadEvidence/r.wayLooks)
	for most := deadStep; most <= deadMost; most += deadStep {
		r.command = make([]float64, len(logged))
		for i, u := range logged {
			if math.Abs(u) > most {
				r.command[i] = u
			}
		}
		if now := r.nearestWay(); now < least {
			off, least, moves, r.dead = now, now, r.command, most
		}
	}
	r.command = moves
	return off
}

const (
	deadStep     = 0.01
	deadMost     = 0.1 // of full command; a drivetrain that needs more to move is broken
	deadEvidence = 5.0 // by which it must be likelier, as a logarithm
)

const wayEveryS = 0.2 // s after which the error of a pose is another
