package balance

import (
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// scene is a simulated stretch of match, 1000 steps a second, without any noise. Its
// equations are not those of the analysis: platforms with stiffness, Coulomb friction,
// stops at both ends, and robots that drive on them with a lag.
type scene struct {
	tilt, drive, x []float64
	left           bool // what the driver did; the tilt alone cannot tell
}

const simStep = 0.001

func (s *scene) add(tilt, drive, speed float64) {
	x := 0.0
	if n := len(s.x); n > 0 {
		x = s.x[n-1]
	}
	s.tilt, s.drive, s.x = append(s.tilt, tilt), append(s.drive, drive), append(s.x, x+speed*simStep)
}

// onFloor drives about with a body that rocks a little.
func (s *scene) onFloor(r *rand.Rand, lengthS float64) {
	phase, hz := r.Float64()*6, 0.5+r.Float64()
	command := 0.2 + 0.3*r.Float64()
	for i := range int(lengthS / simStep) {
		t := float64(i) * simStep
		s.add(0.3*math.Sin(2*math.Pi*hz*t+phase)*math.Sin(0.7*t), command, 3*command)
	}
}

// climb drives up: the tilt rises to its stop within rise seconds and stays for stay seconds.
func (s *scene) climb(to, riseS, stayS, command float64) {
	for i := range int(riseS / simStep) {
		s.add(to*(1-math.Cos(math.Pi*float64(i)*simStep/riseS))/2, command, 1.5*command)
	}
	for range int(stayS / simStep) {
		s.add(to, command, 1.2*command)
	}
}

// swingOut lets the platform swing from where it is: second order with offset, Coulomb
// friction (deg/s²) and stops at ±stop, while the command answers tilt and rate with a lag.
func (s *scene) swingOut(zeta, wn, offset, friction, stop, lengthS float64) {
	v, rate, command := s.tilt[len(s.tilt)-1], 0.0, s.drive[len(s.drive)-1]
	sign := math.Copysign(1, v)
	for range int(lengthS / simStep) {
		pull := -wn*wn*(v-offset) - 2*zeta*wn*rate
		switch {
		case math.Abs(rate) > 0.05:
			pull -= math.Copysign(min(friction, math.Abs(rate)/simStep/2), rate)
		case math.Abs(pull) < friction:
			pull, rate = 0, 0
		}
		rate += pull * simStep
		v += rate * simStep
		if math.Abs(v) > stop {
			v, rate = math.Copysign(stop, v), -0.2*rate
		}
		command += (sign*0.03*(v-offset) - command) * simStep / 0.03
		s.add(v, command, 0.5*command)
	}
}

// answer lets a platform without stiffness of its own swing under a loop alone:
// command = kp tilt + kd rate, late by delay seconds, nothing under dead, limited; plant is
// what a full command does, deg/s².
type answer struct{ kp, kd, delayS, dead, limit, plant, friction float64 }

func (s *scene) swingUnder(l answer, lengthS float64) {
	v, rate := s.tilt[len(s.tilt)-1], 0.0
	var tilts, rates []float64
	for i := range int(lengthS / simStep) {
		tilts, rates = append(tilts, v), append(rates, rate)
		j := max(0, i-int(l.delayS/simStep))
		u := l.kp*tilts[j] + l.kd*rates[j]
		if math.Abs(u) < l.dead {
			u = 0
		}
		u = max(-l.limit, min(l.limit, u))
		pull := -l.plant * u
		switch {
		case math.Abs(rate) > 0.05:
			pull -= math.Copysign(min(l.friction, math.Abs(rate)/simStep/2), rate)
		case math.Abs(pull) < l.friction:
			pull, rate = 0, 0
		}
		rate += pull * simStep
		v += rate * simStep
		s.add(v, u, 0.3*u)
	}
}

// seesaw lets a platform tip about its middle, away meters ahead, under the weight of the
// robot, which drives uphill by kp tilt with a motor that lags; stops hold it at ±stop.
// Without gain a driver drives until the tilt falls, then lets go and brakes.
func (s *scene) seesaw(away, kp, stop, lengthS float64) {
	v, rate, speed, gone, x := s.tilt[len(s.tilt)-1], 0.0, 0.0, false, 0.0
	side := math.Copysign(1, v)
	for range int(lengthS / simStep) {
		u := max(-0.5, min(0.5, kp*v*side))
		if kp == 0 {
			gone = gone || v*side < 0.8*stop
			u = 0.3
			if gone {
				u = 0
			}
		}
		speed += (1.5*u - speed) * simStep / 0.08
		x += speed * simStep
		pull := -side*150*(x-away) - 3*rate
		switch {
		case math.Abs(rate) > 0.05:
			pull -= math.Copysign(min(12, math.Abs(rate)/simStep/2), rate)
		case math.Abs(pull) < 12:
			pull, rate = 0, 0
		}
		rate += pull * simStep
		v += rate * simStep
		if math.Abs(v) > stop {
			v, rate = math.Copysign(stop, v), 0
		}
		s.add(v, u, speed)
	}
}

// driveOff lets the tilt fall to zero within fall seconds as the robot drives on, and
// drives it on across the floor for at least the hold.
func (s *scene) driveOff(fallS, command, lengthS float64) {
	from := s.tilt[len(s.tilt)-1]
	for i := range int(fallS / simStep) {
		s.add(from*(1+math.Cos(math.Pi*float64(i)*simStep/fallS))/2, command, 2.5*command)
	}
	for i := range int(lengthS / simStep) {
		s.add(0.3*math.Sin(5*float64(i)*simStep), command, 3*command)
	}
	s.left = true
}

// truth is the definition read off the noise-free tilt at the log's own samples.
type truth struct {
	start, entry, end float64
	outcome           string
	overshoots        int
}

// readOff follows the definition sample by sample; it shares no code with the analysis.
func readOff(t, v []float64, left bool, mount, level, hold, matchEnd float64) (truth, bool) {
	i := 0
	for ; ; i++ {
		if i == len(v) {
			return truth{}, false
		}
		if math.Abs(v[i]) <= mount {
			continue
		}
		j := i
		for j < len(v) && math.Abs(v[j]) > mount {
			j++
		}
		if j < len(v) && t[j]-t[i] < 0.3 {
			i = j
			continue
		}
		break
	}
	out := truth{start: t[i], outcome: schemas.BalanceRanOut, end: matchEnd}
	side, inside := math.Copysign(1, v[i]), -1
	for ; i < len(v) && t[i] <= matchEnd; i++ {
		if math.Abs(v[i]) > level {
			inside = -1
			if now := math.Copysign(1, v[i]); now != side {
				side = now
				out.overshoots++
			}
			continue
		}
		if inside < 0 {
			inside = i
		}
		if t[i]-t[inside] >= hold-1e-9 {
			out.entry, out.outcome, out.end = t[inside], schemas.BalanceLevel, t[inside]+hold
			if left {
				out.outcome, out.end = schemas.BalanceLeft, t[inside]
			}
			break
		}
	}
	return out, true
}

// logged is what a robot writes down of a scene.
type logged struct {
	in   Input
	t, v []float64 // the tilt without noise at the log's own times
}

type sensor struct {
	rate, noise, bias float64
	spikes            float64 // share of samples
	jitter            float64 // share of the step
	drive, pose, gyro bool
}

func (s *scene) log(r *rand.Rand, w sensor) logged {
	in := Input{
		Tilt: &series.Float{Name: "imu/pitch"}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1,
		Periods: []schemas.Period{{Name: schemas.PeriodDriver, StartS: 0, EndS: float64(len(s.tilt)) * simStep}},
	}
	if w.drive {
		in.Drive = &series.Float{Name: "drive/command"}
	}
	if w.pose {
		in.X, in.Y = &series.Float{Name: "pose/x"}, &series.Float{Name: "pose/y"}
	}
	if w.gyro {
		in.Rate = &series.Float{Name: "imu/pitch_rate"}
	}
	var out logged
	spike, apart := 0, 0
	for at := 0.0; ; at += (1 + w.jitter*(2*r.Float64()-1)) / w.rate {
		us := int64(at * 1e6)
		i := int(us / 1000)
		if i >= len(s.tilt)-1 {
			break
		}
		f := float64(us%1000) / 1000
		v := s.tilt[i]*(1-f) + s.tilt[i+1]*f
		out.t, out.v = append(out.t, float64(us)/1e6), append(out.v, v)
		read := v + w.bias + w.noise*r.NormFloat64()
		apart++
		if spike > 0 || apart > 6 && r.Float64() < w.spikes {
			if spike == 0 {
				spike = 1 + r.IntN(2)
			}
			apart = 0
			spike--
			read += 15 + 20*r.Float64()
		}
		in.Tilt.T, in.Tilt.V = append(in.Tilt.T, us), append(in.Tilt.V, read)
		if w.gyro {
			turn := (s.tilt[min(i+1, len(s.tilt)-1)] - s.tilt[max(i-1, 0)]) / (2 * simStep)
			in.Rate.T, in.Rate.V = append(in.Rate.T, us), append(in.Rate.V, turn+0.5+2*w.noise*r.NormFloat64())
		}
		if w.drive {
			in.Drive.T, in.Drive.V = append(in.Drive.T, us), append(in.Drive.V, s.drive[i])
		}
		if w.pose {
			in.X.T, in.X.V = append(in.X.T, us), append(in.X.V, s.x[i]+0.01*r.NormFloat64())
			in.Y.T, in.Y.V = append(in.Y.T, us), append(in.Y.V, 2+0.01*r.NormFloat64())
		}
	}
	in.Start, in.End = in.Tilt.T[0], in.Tilt.T[len(in.Tilt.T)-1]
	out.in = in
	return out
}
