package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// channel is one signal of the robot: what it reads, how it reads it wrong, how often.
type channel struct {
	id       string // what the simulator calls it: its name unless the log has another
	name     string
	role     string            // its place in the profile (see profile.go), empty when it is not named there
	of       string            // the branch, stage or move it belongs to
	says     mapping           // how the profile reads it, nil when as it is
	unmapped bool              // it is in the log, but the profile does not name it
	within   float64           // of a move's target, in its units; the lift's tolerance when 0
	words    map[string]string // of a mode, when not its own names
	unit     string            // rides on the name in the log
	kind     schemas.Kind
	every    int                   // loop turns between samples; 0: on change, and every half second
	read     func(*world) float64  // noise-free; a bool as 0 and 1
	text     func(*world) string   // for text
	noise    float64               // standard deviation
	per      float64               // steps of the converter in one unit: 100 is a quantum of 0.01
	when     func(*world) bool     // only logged while this holds; nil always
	kept     func(*world, float64) // told the time of each sample that reached the log
}

// signalSet is all a robot logs.
type signalSet func(*world) []channel

// clean is what a channel would have read without noise, at the samples that are in the log.
type clean struct {
	t    []int64 // µs, robot clock
	v    []float64
	step []int // of the physics
}

// recorder is the robot's logging loop: nominally 100 turns a second, a little late now and
// then, with single samples lost and whole stretches when the radio is out.
type recorder struct {
	r        random
	channels []channel
	signals  []*schemas.Signal
	cleans   []*clean
	written  []float64 // last value written of a channel that logs on change
	said     []string
	at       []float64 // when

	turn int
	next int // step of the next turn
}

const (
	loopSteps  = 10
	heartbeatS = 0.5
	lostRow    = 0.0003
	lostSample = 0.0003
)

func newRecorder(w *world, o Options) *recorder {
	rec := &recorder{r: stream(o.Seed, "sensors"), channels: w.scenario.signals(w)}
	for i := range rec.channels {
		if c := &rec.channels[i]; c.id == "" {
			c.id = c.name
		}
	}
	n := len(rec.channels)
	rec.written, rec.said, rec.at = make([]float64, n), make([]string, n), make([]float64, n)
	for i, c := range rec.channels {
		rec.signals = append(rec.signals, &schemas.Signal{Name: c.name, Unit: c.unit, Kind: c.kind})
		rec.cleans = append(rec.cleans, &clean{})
		rec.at[i] = math.Inf(-1)
	}
	return rec
}

func (rec *recorder) step(w *world) {
	if w.steps < rec.next {
		return
	}
	turn := rec.turn
	rec.turn++
	late := -0.35 * math.Log(1-rec.r.Float64()) // ms
	if rec.r.Float64() < 0.002 {
		late += rec.r.between(3, 7)
	}
	rec.next = max(w.steps+1, rec.turn*loopSteps+int(late))
	// The clock ticks in tenths of a millisecond.
	micros := int64(math.Round(w.begin*1e4))*100 + int64(w.steps)*1000 + int64(rec.r.IntN(10))*100
	if rec.out(w) || rec.r.Float64() < lostRow {
		return
	}
	for i := range rec.channels {
		rec.sample(w, i, turn, micros)
	}
}

// out says whether the radio is out.
func (rec *recorder) out(w *world) bool {
	for _, g := range w.scenario.gaps {
		if g.start <= w.now() && w.now() < g.start+g.length {
			return true
		}
	}
	return false
}

func (rec *recorder) sample(w *world, i, turn int, micros int64) {
	c := &rec.channels[i]
	if c.when != nil && !c.when(w) {
		return
	}
	if c.every > 0 && turn%c.every != 0 {
		return
	}
	v, text := 0.0, ""
	if c.kind == schemas.Text {
		text = c.text(w)
	} else {
		v = c.read(w)
	}
	if c.every == 0 {
		if v == rec.written[i] && text == rec.said[i] && w.now()-rec.at[i] < heartbeatS-0.005 {
			return
		}
		rec.written[i], rec.said[i], rec.at[i] = v, text, w.now()
	} else if rec.r.Float64() < lostSample {
		return
	}
	s := rec.signals[i]
	s.Time = append(s.Time, micros)
	rec.cleans[i].t = append(rec.cleans[i].t, micros)
	rec.cleans[i].v = append(rec.cleans[i].v, v)
	rec.cleans[i].step = append(rec.cleans[i].step, w.steps)
	if c.kept != nil {
		c.kept(w, schemas.Seconds(micros))
	}
	switch c.kind {
	case schemas.Text:
		s.Text = append(s.Text, text)
	case schemas.Bool:
		s.Bool = append(s.Bool, v != 0)
	case schemas.Int64:
		s.Int = append(s.Int, int64(v))
	default:
		if c.noise > 0 {
			v += c.noise * rec.r.NormFloat64()
		}
		if c.per > 0 {
			v = math.Round(v*c.per) / c.per
		}
		s.Float = append(s.Float, v+0) // no minus zero
	}
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

// clean is the noise-free series of a signal by its id, nil when the robot does not log it or
// its profile does not name it: then nobody can know.
func (rec *recorder) clean(id string) *clean {
	for i, c := range rec.channels {
		if c.id == id && !c.unmapped {
			return rec.cleans[i]
		}
	}
	return nil
}

// word is what a mode signal says for a mode.
func (c *channel) word(mode string) string { return or(c.words[mode], mode) }
