package path

import (
	"math"
	"math/rand/v2"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// A small robot for tests: pieces are points on a line with a length, rollers move them,
// light barriers look at them. It shares no equation and no number with the analysis.

type robot struct {
	rnd *rand.Rand

	zone     []float64 // m; stage i reaches from zone[i] to zone[i+1]
	eye      []float64 // m; where stage i's beam crosses, NaN for a stage without
	speed    []float64 // m/s of a piece at full command and 12 V
	length   float64   // m; of a piece
	lag      float64   // s; spin-up of a roller
	press    float64   // command at the gate while a piece waits there
	full     float64   // command while a stage works
	battery  func(t float64) float64
	gate     float64 // m; fronts get no further while it is closed
	open     bool
	together bool // all stages run while the intake does, else each only for its pieces

	pieces  []*loadedPiece // furthest first
	command []float64
	roll    []float64 // m/s
	amps    []float64
	t       float64
	plan    []stuckAt
	truth   []trueJam
	out     struct {
		releases []float64
		passes   [][]float64 // by piece: time its front reached each beam
	}
}

type loadedPiece struct {
	front  float64
	grip   float64 // share of the roller's speed it takes on
	n      int     // number of this piece
	stuck  *stuckAt
	waited float64 // driven seconds since it stuck
	jam    int     // index in truth, -1
}

// stuckAt is a jam to come: piece n stops when its front is at this place.
type stuckAt struct {
	piece int
	at    float64
	locks bool    // the roller is held fast, else it slips
	holds float64 // s of onward drive after which it lets go by itself
	frees float64 // s of backward drive after which it lets go, 0 never
	brief bool    // let go too soon to be a jam
	back  float64 // backward seconds so far
}

type trueJam struct {
	stage      int
	start, end float64
	cleared    bool
	brief      bool
	against    float64 // s it was driven onward with the way ahead free
}

func (r *robot) stages() int { return len(r.speed) }

func (r *robot) stageAt(x float64) int {
	for i := r.stages() - 1; i > 0; i-- {
		if x >= r.zone[i] {
			return i
		}
	}
	return 0
}

// step moves everything on by dt seconds.
func (r *robot) step(dt float64) {
	v := r.battery(r.t)
	held := make([]bool, r.stages())
	for _, p := range r.pieces {
		if p.stuck != nil && p.stuck.locks {
			held[r.stageAt(p.front-0.3*r.length)] = true
		}
	}
	loaded := make([]bool, r.stages())
	for _, p := range r.pieces {
		loaded[r.stageAt(p.front-0.5*r.length)] = true
	}
	for i := range r.roll {
		want := r.command[i] * v / 12 * r.speed[i]
		lag := r.lag
		if held[i] {
			want, lag = 0, 0.12
		}
		r.roll[i] += (want - r.roll[i]) * min(dt/lag, 1)
		asked := math.Abs(r.command[i]) * v / 12
		turning := 0.0
		if asked > 0 {
			turning = min(math.Abs(r.roll[i])/(asked*r.speed[i]), 1)
		}
		r.amps[i] = 0.1
		if asked > 0 {
			r.amps[i] = 1.5 + 38*asked*(1-turning) // what a motor draws that does not turn as fast as it is told
			if loaded[i] {
				r.amps[i] += 4
			}
		}
	}
	limit := math.Inf(1)
	if !r.open {
		limit = r.gate + r.length*1.02
	}
	kept := r.pieces[:0]
	for _, p := range r.pieces {
		i := r.stageAt(p.front - 0.5*r.length)
		moved := r.roll[i] * p.grip * dt
		if p.stuck != nil {
			r.hold(p, i, dt, p.front < limit-r.length*1.02-0.01)
			moved = 0
		}
		next := p.front + moved
		if free := limit - r.length*1.02; p.front <= free+1e-9 {
			next = min(next, free)
		}
		if p.stuck == nil && moved > 0 {
			for k := range r.plan {
				if s := &r.plan[k]; s.piece == p.n && p.front < s.at && next >= s.at && s.holds > 0 {
					p.stuck, p.waited, p.jam = s, 0, len(r.truth)
					next = s.at
					r.truth = append(r.truth, trueJam{stage: i, start: r.t, brief: s.brief})
					break
				}
			}
		}
		p.front = next
		limit = p.front
		end := r.zone[r.stages()]
		if p.front-r.length > end {
			r.out.releases = append(r.out.releases, r.t)
			limit = math.Inf(1)
			continue
		}
		if p.front < 0 {
			continue
		}
		kept = append(kept, p)
	}
	r.pieces = kept
	r.t += dt
}

// hold keeps a stuck piece where it is until it has been driven at for long enough.
func (r *robot) hold(p *loadedPiece, stage int, dt float64, free bool) {
	s := p.stuck
	j := &r.truth[p.jam]
	switch c := r.command[stage]; {
	case c > 0.25:
		p.waited += dt
		if free { // driven, with nothing ahead: this is what a jam is
			if j.against == 0 {
				j.start = r.t
			}
			j.against += dt
		}
	case c < -0.25:
		s.back += dt
	}
	if p.waited < s.holds && !(s.frees > 0 && s.back > s.frees) {
		return
	}
	r.truth[p.jam].end, r.truth[p.jam].cleared = r.t, true
	s.holds = -1
	p.stuck = nil
}

func (r *robot) enter(n int) *loadedPiece {
	p := &loadedPiece{front: 0.001, grip: 0.85 + 0.2*r.rnd.Float64(), n: n, jam: -1}
	r.pieces = append(r.pieces, p)
	return p
}

func (r *robot) blocked(stage int) bool {
	for _, p := range r.pieces {
		if p.front >= r.eye[stage] && p.front-r.length < r.eye[stage] {
			return true
		}
	}
	return false
}

// recorder samples a robot into series as its logger would.
type recorder struct {
	hz       float64
	jitter   float64 // share of a step
	noise    float64
	miss     float64 // chance that a single beam sample reads the opposite
	drop     float64 // chance per second that a signal falls silent for a while
	current  bool
	rpm      bool
	volts    bool
	offset   int64
	next     []float64
	silent   []float64
	stages   []Stage
	voltage  *series.Float
	released *series.Float
	periods  []schemas.Period
}

func newRecorder(r *robot, hz float64) *recorder {
	rec := &recorder{hz: hz, jitter: 0.2, noise: 0.03, current: true, rpm: true, volts: true}
	names := []string{"mouth", "throat", "lift", "pocket", "gate", "extra"}
	for i := range r.speed {
		st := Stage{Name: names[i], Command: &series.Float{}, Current: &series.Float{}, Speed: &series.Float{}}
		if !math.IsNaN(r.eye[i]) {
			st.Sensor = &series.Bool{Name: names[i] + "/beam"}
		}
		rec.stages = append(rec.stages, st)
	}
	rec.voltage, rec.released = &series.Float{}, &series.Float{}
	rec.next = make([]float64, 4*len(r.speed)+2)
	rec.silent = make([]float64, len(rec.next))
	for i := range rec.next {
		rec.next[i] = r.rnd.Float64() / hz
	}
	return rec
}

// due is whether signal k has a sample at the robot's time, and sets its next.
func (rec *recorder) due(r *robot, k int) bool {
	if r.t < rec.next[k] {
		return false
	}
	rec.next[k] += (1 + rec.jitter*(r.rnd.Float64()-0.5)) / rec.hz
	if rec.drop > 0 && r.rnd.Float64() < rec.drop/rec.hz {
		rec.silent[k] = r.t + 0.05 + 0.3*r.rnd.Float64()
	}
	return r.t >= rec.silent[k]
}

func (rec *recorder) sample(r *robot) {
	now := rec.offset + int64(math.Round(r.t*1e6))
	put := func(s *series.Float, v float64) {
		if n := len(s.T); n == 0 || s.T[n-1] < now {
			s.T, s.V = append(s.T, now), append(s.V, v)
		}
	}
	for i := range rec.stages {
		st := &rec.stages[i]
		if st.Sensor != nil && rec.due(r, 4*i) {
			b := r.blocked(i)
			if rec.miss > 0 && r.rnd.Float64() < rec.miss {
				b = !b
			}
			st.Sensor.T, st.Sensor.V = append(st.Sensor.T, now), append(st.Sensor.V, b)
		}
		if rec.due(r, 4*i+1) {
			put(st.Command, r.command[i])
		}
		if rec.due(r, 4*i+2) {
			put(st.Current, max(r.amps[i]*(1+rec.noise*3*r.rnd.NormFloat64())+0.2*r.rnd.NormFloat64(), 0))
		}
		if rec.due(r, 4*i+3) {
			put(st.Speed, r.roll[i]*40*(1+rec.noise*r.rnd.NormFloat64())+0.3*r.rnd.NormFloat64())
		}
	}
	n := 4 * len(rec.stages)
	if rec.due(r, n) {
		put(rec.voltage, r.battery(r.t)+0.1*r.rnd.NormFloat64())
	}
	if rec.due(r, n+1) {
		put(rec.released, float64(len(r.out.releases)))
	}
}

// input is what was recorded, without the signals the robot is to lack.
func (rec *recorder) input() Input {
	in := Input{Stages: rec.stages, Periods: rec.periods, Release: rec.released}
	for i := range in.Stages {
		if !rec.current {
			in.Stages[i].Current = nil
		}
		if !rec.rpm {
			in.Stages[i].Speed = nil
		}
	}
	if rec.volts {
		in.Voltage = rec.voltage
	}
	in.Start, in.End = int64(math.MaxInt64), int64(math.MinInt64)
	see := func(t []int64) {
		if len(t) > 0 {
			in.Start, in.End = min(in.Start, t[0]), max(in.End, t[len(t)-1])
		}
	}
	for _, st := range in.Stages {
		if st.Sensor != nil {
			see(st.Sensor.T)
		}
		see(st.Command.T)
	}
	see(rec.voltage.T)
	return in
}
