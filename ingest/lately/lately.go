// Package lately follows the signals a robot's profile names while they come in, for those who
// look before a match: which came in the last seconds, which are late, dead or frozen, what the
// battery rests at, and how many samples are missing by the signals' own rates. It keeps a few
// numbers for each signal and no samples.
package lately

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Limits, chosen by us: a signal is late when it has been silent for five of its usual
// intervals and three seconds; one that comes as it likes, after a minute. It is called
// frozen, or dead, only if it changes of itself else, as a measured quantity does.
const (
	lateS       = 3.0
	lateTimes   = 5
	irregularS  = 60.0
	frozenS     = 5.0
	frozenTimes = 20
	lively      = 50  // changes that a signal must have had to be called frozen
	enough      = 200 // samples that a signal must have had to be called dead
	steadyShare = 0.8 // of the intervals near the usual one, of a signal that has a rate
	lostAlone   = 10  // samples missing in a row that are lost when others came meanwhile; more, and it had nothing to say
)

// A battery rests when its voltage has stayed within restV for restS, and the robot is
// disabled: common practice, loads of some A make 0.1 V and more.
const (
	restS = 5
	restV = 0.15
)

// Tracker is the state of one robot. It is not safe for use from several goroutines.
type Tracker struct {
	follows []follow
	index   map[string]int
	arrived int64 // of the newest sample of all
	newest  int64 // robot time of the newest sample of the newest boot
	boot    uint32
	volts   int // which is the supply; -1 for none
	ref     *profile.Ref
	unit    string
	strip   []second // of the supply, the newest last
}

// follow is one signal.
type follow struct {
	signal, place string
	measured      bool

	boot    uint32
	count   int64
	first   int64 // robot time, of this boot
	last    int64
	counted int64 // samples of this boot
	arrived int64 // collector time
	value   float64
	since   int64 // robot time at which the value became what it is
	changes int64
	nonzero bool
	usual   float64 // µs between samples, a running median
	near    int64   // intervals near that
	spaces  int64   // intervals at all
	lost    int64
	pauses  int // times it said nothing while others came
}

// second is what the supply did in a second of robot time, as it was sent.
type second struct {
	at            int64 // s
	low, high     float64
	sum           float64
	n             int
	bootOfSamples uint32
}

// mostSeconds of the supply are kept: a match and what surrounds it.
const mostSeconds = 240

// New follows what the profile names; a nil profile names nothing.
func New(p *profile.Profile) *Tracker {
	t := &Tracker{index: map[string]int{}, volts: -1}
	if p == nil {
		return t
	}
	for _, r := range p.Refs() {
		i, known := t.index[r.Ref.Signal]
		if !known {
			i = len(t.follows)
			t.index[r.Ref.Signal] = i
			t.follows = append(t.follows, follow{signal: r.Ref.Signal, place: r.Place})
		}
		f := &t.follows[i]
		f.measured = f.measured || r.Want == profile.WantNumber && measured(r)
		if r.Role == "power.voltage" {
			t.volts, t.ref = i, r.Ref
		}
	}
	return t
}

// measured is whether a role is a quantity that is never quite still: not a command, nor a
// target, nor a current or a speed, which are nothing while nobody drives.
func measured(r profile.NamedRef) bool {
	switch r.Role {
	case "power.voltage", "power.current", "balance.tilt", "balance.rate":
		return true
	}
	return false
}

// Index is which of the followed signals has a name, -1 for none.
func (t *Tracker) Index(name string) int {
	if i, ok := t.index[name]; ok {
		return i
	}
	return -1
}

// See takes in a sample of signal i: when it was read by the robot's clock of that boot, when
// it arrived, both in µs, and its value; number is false for a text. Unit is the one that rides
// on the signal. A value that is no reading is as none.
func (t *Tracker) See(i int, boot uint32, at, arrived int64, value float64, number bool, unit string) {
	if number && (math.IsNaN(value) || math.IsInf(value, 0)) {
		return
	}
	f := &t.follows[i]
	t.arrived = max(t.arrived, arrived)
	f.arrived = max(f.arrived, arrived)
	f.count++
	if f.counted == 0 || boot != f.boot {
		f.boot, f.first, f.since, f.counted, f.value = boot, at, at, 0, value
		f.usual, f.near, f.spaces, f.lost, f.pauses = 0, 0, 0, 0, 0
	} else if at > f.last {
		f.space(float64(at-f.last), t.boot == boot && t.newest > f.last+int64(2*f.usual))
	} else if at < f.last && f.lost > 0 {
		f.lost-- // held back on the way, and there after all
	}
	if boot != t.boot || at > t.newest {
		t.boot, t.newest = boot, at
	}
	f.counted++
	if at >= f.last || f.counted == 1 {
		if value != f.value {
			f.value, f.since = value, at
			f.changes++
		}
		f.last = at
	}
	f.nonzero = f.nonzero || value != 0
	if i == t.volts && number {
		t.unit = unit
		t.supply(boot, at, value)
	}
}

// space takes in the time between two samples, and whether other signals came meanwhile. What
// is usual is followed by small steps towards each, which comes to the median.
func (f *follow) space(d float64, alone bool) {
	f.spaces++
	if f.usual == 0 {
		f.usual = d
	}
	step := 0.05 * f.usual
	if f.spaces > 100 {
		step = 0.005 * f.usual
	}
	switch {
	case d > f.usual:
		f.usual += step
	case d < f.usual:
		f.usual -= step
	}
	if math.Abs(d-f.usual) < 0.4*f.usual {
		f.near++
	}
	if missing := int64(math.Round(d/f.usual)) - 1; f.steady() && d > 1.7*f.usual && (!alone || missing <= lostAlone) {
		f.lost += missing
	} else if alone && missing > lostAlone {
		f.pauses++
	}
}

// steady is whether the signal comes at a rate.
func (f *follow) steady() bool {
	return f.spaces >= 20 && float64(f.near) >= steadyShare*float64(f.spaces)
}

// regular is whether the signal comes at a rate all the time; one that is seen now and then, as
// a camera's target, pauses.
func (f *follow) regular() bool { return f.steady() && f.pauses < 3 }

func (t *Tracker) supply(boot uint32, at int64, v float64) {
	s := at / 1e6
	n := len(t.strip)
	if n == 0 || t.strip[n-1].at != s || t.strip[n-1].bootOfSamples != boot {
		if n > 0 && t.strip[n-1].bootOfSamples == boot && t.strip[n-1].at > s {
			return // late: its second is past
		}
		if n == mostSeconds {
			t.strip = append(t.strip[:0], t.strip[1:]...)
		}
		t.strip = append(t.strip, second{at: s, low: v, high: v, bootOfSamples: boot})
		n = len(t.strip)
	}
	b := &t.strip[n-1]
	b.low, b.high = min(b.low, v), max(b.high, v)
	b.sum += v
	b.n++
}

// Tell writes what is known into a status. Disabled is whether the robot is; runningS is since
// when a match runs, 0 for none.
func (t *Tracker) Tell(s *schemas.LiveRobot, disabled bool, runningS float64) {
	s.Signals = []schemas.LiveSignal{}
	s.Strip = []schemas.LiveSecond{}
	steady := false
	var lost, of int64
	for i := range t.follows {
		f := &t.follows[i]
		one := f.tell(t.arrived)
		if one.State == schemas.LiveCame || one.State == schemas.LiveSame || one.State == schemas.LiveZero {
			s.Came++
		}
		if f.steady() {
			steady = true
			lost, of = lost+f.lost, of+f.lost+f.counted
		}
		s.Signals = append(s.Signals, one)
	}
	s.Mapped = len(t.follows)
	if steady {
		s.Lost, s.LostOf = &lost, &of
	}
	if rest, ok := t.rest(disabled); ok {
		s.VoltsRest = &rest
	}
	if runningS > 0 {
		t.tellStrip(s, runningS)
	}
}

func (f *follow) tell(now int64) schemas.LiveSignal {
	out := schemas.LiveSignal{Signal: f.signal, Place: f.place, State: schemas.LiveNever}
	if f.count == 0 {
		return out
	}
	age := float64(max(0, now-f.arrived)) / 1e6
	out.State, out.AgeS = schemas.LiveCame, &age
	usual := f.usual / 1e6
	if f.steady() {
		out.EveryS = &usual
	}
	same := float64(f.last-f.since) / 1e6
	switch {
	case f.regular() && age > lateS && age > lateTimes*usual, !f.regular() && f.counted > 1 && age > irregularS:
		out.State = schemas.LiveLate
	case f.measured && !f.nonzero && f.count >= enough:
		out.State = schemas.LiveZero
	case f.measured && f.changes >= lively && same > frozenS && same > frozenTimes*float64(f.since-f.first)/1e6/float64(f.changes):
		out.State, out.SameS = schemas.LiveSame, &same
	}
	return out
}

// rest is the voltage at which the battery rests now, as sent; ok is false when it does not.
func (t *Tracker) rest(disabled bool) (float64, bool) {
	if t.volts < 0 || !disabled || len(t.strip) < restS+1 {
		return 0, false
	}
	part := t.strip[len(t.strip)-restS-1 : len(t.strip)]
	low, high, sum, n := math.Inf(1), math.Inf(-1), 0.0, 0
	for i, b := range part {
		if b.bootOfSamples != part[0].bootOfSamples || i > 0 && b.at-part[i-1].at != 1 {
			return 0, false
		}
		low, high = min(low, b.low), max(high, b.high)
		sum, n = sum+b.sum, n+b.n
	}
	v, ok := t.inVolts(low, high, sum/float64(n))
	if !ok || v[1]-v[0] > restV {
		return 0, false
	}
	return v[2], true
}

// tellStrip tells the supply second by second since a match began.
func (t *Tracker) tellStrip(s *schemas.LiveRobot, runningS float64) {
	n := len(t.strip)
	if n == 0 {
		return
	}
	newest := t.strip[n-1]
	for _, b := range t.strip {
		ago := float64(newest.at - b.at)
		if b.bootOfSamples != newest.bootOfSamples || ago > runningS {
			continue
		}
		if v, ok := t.inVolts(b.low, b.high); ok {
			s.Strip = append(s.Strip, schemas.LiveSecond{S: max(0, runningS-ago), LowV: v[0], HighV: v[1]})
		}
	}
}

// inVolts converts values as sent; the order is kept for those of one sign.
func (t *Tracker) inVolts(values ...float64) ([]float64, bool) {
	times := make([]int64, len(values))
	for i := range times {
		times[i] = int64(i)
	}
	log := &schemas.Log{Signals: []*schemas.Signal{{Name: t.ref.Signal, Unit: t.unit, Kind: schemas.Float64, Time: times, Float: values}}}
	var f *series.Float
	f, err := t.ref.Volts(log)
	if err != nil || f == nil || len(f.V) != len(values) {
		return nil, false
	}
	return f.V, true
}

// Until says that time has passed to what arrived then, of whatever signal.
func (t *Tracker) Until(arrived int64) { t.arrived = max(t.arrived, arrived) }
