package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// channel is one signal of the robot: what it reads, how it reads it wrong, how often.
type channel struct {
	id   string // what the simulator calls it: its name, unless the log has another
	name string // in the log
	unit string // rides on the name in the log
	kind schemas.Kind

	role     string            // its place in the profile (see profile.go), empty when it is not named there
	of       string            // the branch, stage or move it belongs to
	says     mapping           // how the profile reads it, nil when as it is
	within   float64           // of a move's target, m; the lift's tolerance when 0
	words    map[string]string // of a mode, when not its own names
	unmapped bool              // it is in the log, but the profile does not name it
	unlogged bool              // the profile names it, but it is not in the log

	every  int     // loop turns between samples; 0: on change, and every half second
	hz     float64 // samples a second by a clock of its own instead; 0: by the loop
	sparse bool    // a sample is only written when it differs from the one before

	read    func(*world) float64           // noise-free, in SI (tilt in degrees); a bool as 0 and 1
	text    func(*world) string            // for text
	when    func(*world) bool              // only logged while this holds; nil always
	kept    func(*world, float64)          // told the time of each sample that reached the log
	misses  map[int]bool                   // by piece: a beam that looks past it
	behind  *behind                        // what makes it late or slow, nil for nothing
	noise   float64                        // standard deviation
	distort []func(now, v float64) float64 // what else is between the quantity and the reading
	stuck   []*fault                       // stretches in which what it watches does not reach it
	faults  []*fault                       // stretches in which it cannot be true
	mul     float64                        // of the log's unit in one SI unit; 0 is 1
	per     float64                        // steps of the converter in one unit of the log: 100 is a quantum of 0.01
}

// clean is what a channel would have read without noise, at the samples that are in the log.
// A sensor that is late or slow, is off by something or broken changes nothing here: the
// truth of an event is the physical event, at the times of the samples that could show it.
// A sample that is no reading shows nothing and is not here.
type clean struct {
	t    []int64 // µs, robot clock
	v    []float64
	step []int // of the physics
}

// shown is what a channel says for the true value v; last is what it said before.
func (c *channel) shown(r random, now, v, last float64, micros int64) float64 {
	if c.behind != nil {
		v = c.behind.out
	}
	for _, f := range c.stuck {
		v = f.reading(now, v, v, micros)
	}
	if c.noise > 0 {
		v += c.noise * r.NormFloat64()
	}
	for _, d := range c.distort {
		v = d(now, v)
	}
	if c.mul != 0 {
		v *= c.mul
	}
	if c.per > 0 {
		v = math.Round(v*c.per) / c.per
	}
	for _, f := range c.faults {
		v = f.reading(now, v, last, micros)
	}
	return v + 0 // no minus zero
}

// word is what a mode signal says for a mode.
func (c *channel) word(mode string) string { return or(c.words[mode], mode) }

// behind makes a reading late, slow or both: a first-order low-pass of time constant tau,
// then a delay.
type behind struct {
	lag  int     // steps
	tau  float64 // s, 0 for none
	out  float64
	slow float64
	ring []float64
	n    int
	fade fading
}

func (b *behind) step(v float64) {
	if b.ring == nil {
		b.slow, b.ring = v, make([]float64, b.lag+1)
		for i := range b.ring {
			b.ring[i] = v
		}
	}
	b.slow = v + (b.slow-v)*b.fade.left(step, max(b.tau, 1e-9))
	b.ring[b.n%len(b.ring)] = b.slow
	b.n++
	b.out = b.ring[b.n%len(b.ring)]
}

// fault is a stretch in which a sensor says what cannot be true.
type fault struct {
	kind, note string
	from, to   float64                 // s since the log's begin
	reads      func(v float64) float64 // what it says, of a fault in the log's units; nil repeats what it said last

	first, after int64 // µs of the first sample in it and the first behind it
	hit, over    bool
	lied         bool // it ever said something else than a sound sensor
}

func (f *fault) reading(now, v, last float64, micros int64) float64 {
	switch {
	case now < f.from:
		return v
	case now >= f.to:
		if f.hit && !f.over {
			f.over, f.after = true, micros
		}
		return v
	}
	if !f.hit {
		f.hit, f.first = true, micros
	}
	says := last
	switch {
	case f.reads != nil:
		says = f.reads(v)
	case math.IsNaN(last):
		says = v
	}
	f.lied = f.lied || says != v
	return says
}
