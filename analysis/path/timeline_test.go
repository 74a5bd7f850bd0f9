package path

import (
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A timeline is a log written down by hand: what each beam, command and roller did, second
// by second. Nothing in it moves by itself.
type timeline struct {
	hz      float64
	end     float64 // s
	names   []string
	blocked map[string][]span
	asked   map[string][]setting
	held    map[string][]span // roller held fast
	dead    []span            // no power: rollers coast to a stop and draw nothing
	out     []float64         // releases
	volts   func(t float64) float64
	silent  []span          // nothing at all is logged
	lacks   map[string]bool // "lift/beam", "command", "current", "speed", "release", "volts"
	periods []schemas.Period
	seed    uint64
}

type span struct{ from, to float64 }

type setting struct {
	span
	value float64
}

func newTimeline(end float64, names ...string) *timeline {
	return &timeline{
		hz: 100, end: end, names: names, blocked: map[string][]span{}, asked: map[string][]setting{},
		held: map[string][]span{}, lacks: map[string]bool{}, volts: func(float64) float64 { return 12 }, seed: 1,
	}
}

func (l *timeline) block(name string, from, to float64) {
	l.blocked[name] = append(l.blocked[name], span{from, to})
}

func (l *timeline) drive(from, to, value float64, names ...string) {
	if len(names) == 0 {
		names = l.names
	}
	for _, n := range names {
		l.asked[n] = append(l.asked[n], setting{span{from, to}, value})
	}
}

func (l *timeline) hold(name string, from, to float64) {
	l.held[name] = append(l.held[name], span{from, to})
}

const (
	dwell = 0.25 // s in front of a beam
	apart = 0.5  // s from beam to beam
)

// come is a piece that enters at t and runs up to the last stage under full drive; the
// robot stops when it is there. It returns when that is.
func (l *timeline) come(t, speed float64) float64 {
	last := len(l.names) - 1
	for i, n := range l.names[:last] {
		at := t + float64(i)*apart/speed
		l.block(n, at, at+dwell/speed)
	}
	there := t + float64(last)*apart/speed
	l.drive(t-0.5, there+0.05, 0.8)
	return there
}

// usual is a whole pass: in at t, at the gate, out on command.
func (l *timeline) usual(t float64) {
	there := l.come(t, 1)
	l.leave(there, there+1)
}

// leave is a piece that stands at the gate since there and is released at t.
func (l *timeline) leave(there, t float64) {
	gate := l.names[len(l.names)-1]
	l.drive(t, t+0.5, 0.8, gate)
	l.block(gate, there, t+0.35)
	l.out = append(l.out, t+0.45)
}

// warm gives the robot three usual passes, from 1 s to 12 s.
func (l *timeline) warm() *timeline {
	for _, t := range []float64{2, 6, 10} {
		l.usual(t)
	}
	return l
}

func within(all []span, t float64) bool {
	for _, s := range all {
		if t >= s.from && t < s.to {
			return true
		}
	}
	return false
}

func (l *timeline) command(name string, t float64) float64 {
	v := 0.0
	for _, s := range l.asked[name] {
		if t >= s.from && t < s.to {
			v = s.value // the later line wins
		}
	}
	return v
}

// input samples the timeline.
func (l *timeline) input() Input {
	rnd := rand.New(rand.NewPCG(l.seed, 5))
	in := Input{Start: math.MaxInt64, End: math.MinInt64, Periods: l.periods, Release: &series.Float{Name: "release"}, Voltage: &series.Float{Name: "voltage"}}
	stages := make([]Stage, len(l.names))
	speed := make([]float64, len(l.names))
	for i, n := range l.names {
		stages[i] = Stage{
			Name: n, Sensor: &series.Bool{Name: n + "/beam"}, Command: &series.Float{Name: n + "/command"},
			Current: &series.Float{Name: n + "/current"}, Speed: &series.Float{Name: n + "/speed"},
		}
	}
	step := 1 / l.hz
	for k := 0; ; k++ {
		t := float64(k) * step
		if t > l.end {
			break
		}
		at := schemas.Micros(t) + int64(rnd.IntN(int(1e6*step)/10+1))
		if within(l.silent, t) {
			continue
		}
		in.Start, in.End = min(in.Start, at), max(in.End, at)
		for i, n := range l.names {
			c := l.command(n, t)
			want := c * l.volts(t) / 12 * 60
			if within(l.held[n], t) || within(l.dead, t) {
				want = 0
			}
			speed[i] += (want - speed[i]) * min(1, step/0.03)
			amps := 0.2
			if c != 0 && !within(l.dead, t) {
				amps = 3 + 25*math.Abs(c)*(1-math.Min(math.Abs(speed[i]/(c*l.volts(t)/12*60)), 1))
				if within(l.blocked[n], t) {
					amps += 2
				}
			}
			st := &stages[i]
			st.Sensor.T, st.Sensor.V = append(st.Sensor.T, at), append(st.Sensor.V, within(l.blocked[n], t))
			st.Command.T, st.Command.V = append(st.Command.T, at), append(st.Command.V, c)
			st.Current.T, st.Current.V = append(st.Current.T, at), append(st.Current.V, math.Max(amps+0.3*rnd.NormFloat64(), 0))
			st.Speed.T, st.Speed.V = append(st.Speed.T, at), append(st.Speed.V, speed[i]+0.5*rnd.NormFloat64())
		}
		count := 0.0
		for _, o := range l.out {
			if t >= o {
				count++
			}
		}
		in.Release.T, in.Release.V = append(in.Release.T, at), append(in.Release.V, count)
		in.Voltage.T, in.Voltage.V = append(in.Voltage.T, at), append(in.Voltage.V, l.volts(t)+0.05*rnd.NormFloat64())
	}
	for i := range stages {
		if l.lacks[stages[i].Name+"/beam"] {
			stages[i].Sensor = nil
		}
		if l.lacks["command"] {
			stages[i].Command = nil
		}
		if l.lacks["current"] {
			stages[i].Current = nil
		}
		if l.lacks["speed"] {
			stages[i].Speed = nil
		}
	}
	if l.lacks["release"] {
		in.Release = nil
	}
	if l.lacks["volts"] {
		in.Voltage = nil
	}
	for _, s := range l.silent {
		in.Gaps = append(in.Gaps, series.Interval{Start: schemas.Micros(s.from), End: schemas.Micros(s.to)})
	}
	in.Stages = stages
	return in
}
