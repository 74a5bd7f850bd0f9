package sim

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// signalSet is all a robot logs.
type signalSet func(*world) []channel

// recorder is the robot's logging loop: nominally 100 turns a second, a little late now and
// then, with single samples lost and whole stretches when the radio is out.
type recorder struct {
	r        random
	loop     int // steps a turn takes, nominally
	jitter   float64
	from     float64 // s since the log's begin: nothing is written before
	channels []channel
	signals  []*schemas.Signal
	cleans   []*clean
	written  []float64 // last true value written of a channel that logs on change
	said     []string
	at       []float64 // when
	shown    []float64 // last value written
	modes    []said    // the mode at each sample that tells it
	silent   []silence
	slow     []*slowBeam

	turn    int
	next    int       // step of the next turn
	behind  []int     // channels that are late or slow
	own     []int     // channels with a clock of their own
	due     []float64 // step of their next sample
	soonest float64   // the least of due
	started bool
}

// said is a mode, as the log tells it.
type said struct {
	at   int64 // µs
	mode string
}

const (
	loopSteps  = 10
	heartbeatS = 0.5
	lostRow    = 0.0003
	lostSample = 0.0003
)

func newRecorder(w *world, o Options) *recorder {
	plan := &w.scenario.sensors
	rec := &recorder{
		r: stream(o.Seed, "sensors"), channels: w.scenario.signals(w),
		loop: loopSteps, jitter: max(1, plan.jitter), from: plan.from,
	}
	if plan.loop > 0 {
		rec.loop = plan.loop
	}
	for i := range rec.channels {
		rec.channels[i].id = rec.channels[i].name
	}
	for _, change := range plan.changes {
		change(w, rec)
	}
	n := len(rec.channels)
	rec.written, rec.said, rec.at, rec.shown = make([]float64, n), make([]string, n), make([]float64, n), make([]float64, n)
	rec.due, rec.soonest = make([]float64, n), math.Inf(1)
	for i, c := range rec.channels {
		signal, clean := roomFor(&c, w.until/step/float64(rec.loop))
		rec.signals, rec.cleans = append(rec.signals, signal), append(rec.cleans, clean)
		rec.at[i], rec.shown[i] = math.Inf(-1), math.NaN()
		if c.behind != nil {
			rec.behind = append(rec.behind, i)
		}
		if c.hz > 0 && !c.unlogged {
			rec.own, rec.soonest = append(rec.own, i), 0
		}
	}
	return rec
}

// roomFor is a channel's series, with room for what it writes in so many turns of the loop where
// that is known: to grow them doubles the memory a match takes.
func roomFor(c *channel, turns float64) (*schemas.Signal, *clean) {
	s, truth := &schemas.Signal{Name: c.name, Unit: c.unit, Kind: c.kind}, &clean{}
	if c.every <= 0 || c.hz > 0 || c.unlogged || c.sparse || c.when != nil {
		return s, truth
	}
	n := int(turns/float64(c.every)) + 2
	s.Time = make([]int64, 0, n)
	switch c.kind {
	case schemas.Float64:
		s.Float = make([]float64, 0, n)
	case schemas.Bool:
		s.Bool = make([]bool, 0, n)
	case schemas.Int64:
		s.Int = make([]int64, 0, n)
	}
	truth.t, truth.v, truth.step = make([]int64, 0, n), make([]float64, 0, n), make([]int, 0, n)
	return s, truth
}

func (rec *recorder) step(w *world) {
	for _, b := range rec.slow {
		b.step(w.path)
	}
	for _, i := range rec.behind {
		c := &rec.channels[i]
		c.behind.step(c.read(w))
	}
	if w.now() < rec.from {
		return
	}
	if !rec.started {
		rec.started = true
		if rec.from > 0 {
			w.forgetPast()
			rec.turn = w.steps / rec.loop
		}
	}
	if float64(w.steps) >= rec.soonest {
		rec.ownClocks(w)
	}
	if w.steps < rec.next {
		return
	}
	turn := rec.turn
	if rec.loop != loopSteps { // at other rates a turn that was missed is not made up for
		turn = max(turn, w.steps/rec.loop)
	}
	rec.turn = turn + 1
	late := -0.35 * math.Log(1-rec.r.Float64()) // ms
	if rec.r.Float64() < 0.002*rec.jitter {
		late += rec.r.between(3, 7)
	}
	late *= rec.jitter * min(1, float64(rec.loop)/loopSteps)
	rec.next = max(w.steps+1, rec.turn*rec.loop+int(late))
	micros := rec.clock(w)
	if rec.out(w) || rec.r.Float64() < lostRow {
		return
	}
	for i := range rec.channels {
		if c := &rec.channels[i]; c.hz > 0 || c.every > 0 && turn%c.every != 0 {
			continue
		}
		rec.sample(w, i, micros)
	}
}

// clock is the robot's, it ticks in tenths of a millisecond.
func (rec *recorder) clock(w *world) int64 {
	return int64(math.Round(w.begin*1e4))*100 + int64(w.steps)*1000 + int64(rec.r.IntN(10))*100
}

// ownClocks takes the samples that are due of sensors that send when they like.
func (rec *recorder) ownClocks(w *world) {
	rec.soonest = math.Inf(1)
	micros := rec.clock(w)
	for _, i := range rec.own {
		if float64(w.steps) >= rec.due[i] {
			if !rec.out(w) {
				rec.sample(w, i, micros)
			}
			rec.due[i] += 1 / (rec.channels[i].hz * step)
			if rec.due[i] <= float64(w.steps) { // the log began late
				rec.due[i] = float64(w.steps) + 1/(rec.channels[i].hz*step)
			}
		}
		rec.soonest = min(rec.soonest, rec.due[i])
	}
}

// out says whether nothing is written: the radio is out, or the robot's computer is.
func (rec *recorder) out(w *world) bool {
	for _, g := range w.scenario.gaps {
		if g.start <= w.now() && w.now() < g.start+g.length {
			return true
		}
	}
	return w.down()
}

// again makes all that is logged on change be logged at the next turn.
func (rec *recorder) again() {
	for i := range rec.at {
		rec.at[i] = math.Inf(-1)
	}
}

func (rec *recorder) sample(w *world, i int, micros int64) {
	c := &rec.channels[i]
	if c.unlogged || c.when != nil && !c.when(w) {
		return
	}
	v, text := 0.0, ""
	if c.kind == schemas.Text {
		text = c.text(w)
	} else {
		v = c.read(w)
	}
	if c.every == 0 && c.hz == 0 {
		if v == rec.written[i] && text == rec.said[i] && w.now()-rec.at[i] < heartbeatS-0.005 {
			return
		}
		rec.written[i], rec.said[i], rec.at[i] = v, text, w.now()
	} else if rec.r.Float64() < lostSample {
		return
	}
	s := rec.signals[i]
	if c.kind == schemas.Text {
		s.Text = append(s.Text, text)
	} else {
		shown := c.shown(rec.r, w.now(), v, rec.shown[i], micros)
		if c.sparse && shown == rec.shown[i] {
			return
		}
		rec.shown[i] = shown
		switch c.kind {
		case schemas.Bool:
			s.Bool = append(s.Bool, shown != 0)
		case schemas.Int64:
			s.Int = append(s.Int, int64(math.Round(shown)))
		default:
			s.Float = append(s.Float, shown)
		}
		if math.IsNaN(shown) {
			s.Time = append(s.Time, micros)
			return
		}
	}
	s.Time = append(s.Time, micros)
	rec.cleans[i].t = append(rec.cleans[i].t, micros)
	rec.cleans[i].v = append(rec.cleans[i].v, v)
	rec.cleans[i].step = append(rec.cleans[i].step, w.steps)
	if c.tellsMode() {
		rec.modes = append(rec.modes, said{micros, w.mode()})
	}
	if c.kept != nil {
		c.kept(w, schemas.Seconds(micros))
	}
}

func (c *channel) tellsMode() bool {
	return !c.unmapped && (c.role == "mode.signal" || c.role == "mode.enabled" || c.role == "mode.autonomous")
}

// log is what was recorded, in the order every reader relies on.
func (rec *recorder) log() *schemas.Log {
	out := &schemas.Log{}
	for _, s := range rec.signals {
		if s.Len() > 0 {
			out.Signals = append(out.Signals, s)
		}
	}
	out.Normalize()
	return out
}

// clean is the noise-free series of a signal by its id, nil when the robot does not log it
// or its profile does not name it: then nobody can know.
func (rec *recorder) clean(id string) *clean {
	for i, c := range rec.channels {
		if c.id == id && !c.unmapped && !c.unlogged {
			return rec.cleans[i]
		}
	}
	return nil
}

// tellsMode says whether profile and log tell when each period runs.
func (rec *recorder) tellsMode() bool {
	return slices.ContainsFunc(rec.channels, func(c channel) bool { return c.tellsMode() && !c.unlogged })
}
