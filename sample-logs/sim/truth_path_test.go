package sim

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// stand is a stuck piece as the onlooker sees it.
type stand struct {
	piece      int
	start, end float64 // s, robot clock
	open       bool    // at the end of the log
	ran        float64 // s, the longest it was driven at a stretch
}

// onlooker finds stuck pieces step by step from speeds, where the truth finds them from places
// afterwards: a piece that has come to rest is followed until it is a centimetre away.
type onlooker struct {
	pieces map[*piece]*atRest
	found  []stand
	near   map[*piece]lately // pieces that have not come away from where they were stuck
}

// lately is where in found a piece's last stand is, and where it was then, m.
type lately struct {
	found int
	x     float64
}

// atRest is a piece that stands, or crawls below 1 cm in 0.3 s.
type atRest struct {
	x, since   float64 // m, s
	ran, drove float64 // s driven at a stretch now, and when that began
	jam        *stand
}

func (o *onlooker) look(w *world) {
	now := w.begin + w.now()
	for c, at := range o.near {
		if math.Abs(c.x-at.x) > twitchM {
			delete(o.near, c)
		}
	}
	for _, c := range w.path.pieces {
		s := o.pieces[c]
		crawls := math.Abs(c.v) < stillM/leastS
		away := s != nil && math.Abs(c.x-s.x) > stillM
		switch {
		case away && crawls && o.pushed(w, c):
			s.x = c.x // it creeps
		case away:
			o.close(c, s, now)
			s = nil
			delete(o.pieces, c)
		}
		if s == nil && crawls {
			s = &atRest{x: c.x, since: now}
			o.pieces[c] = s
		}
		if s == nil {
			continue
		}
		if !o.pushed(w, c) {
			s.ran = 0
			continue
		}
		if s.ran == 0 {
			s.drove = now
		}
		s.ran += step
		if s.jam == nil && s.ran >= leastS {
			s.jam = &stand{piece: c.id, start: s.drove}
			if at, ok := o.near[c]; ok { // it has only twitched
				*s.jam = o.found[at.found]
				o.found[at.found].piece = 0
				delete(o.near, c)
			}
		}
		if s.jam != nil {
			s.jam.ran = math.Max(s.jam.ran, s.ran)
		}
	}
	for c, s := range o.pieces {
		if !slices.Contains(w.path.pieces, c) {
			o.close(c, s, now)
			delete(o.pieces, c)
		}
	}
}

func (o *onlooker) close(c *piece, s *atRest, now float64) {
	if s.jam != nil {
		s.jam.end = now
		o.near[c] = lately{len(o.found), s.x}
		o.found = append(o.found, *s.jam)
	}
}

// pushed says whether a stage drives the piece and nothing but its own edge can hold it: it
// does not lie on another, and its roller is not stalled by another that is caught.
func (o *onlooker) pushed(w *world, c *piece) bool {
	stages := w.path.belts
	under := func(c *piece) int {
		for i := range stages {
			if c.x-c.length/2 < stages[i].to {
				return i
			}
		}
		return len(stages) - 1
	}
	least, on := 0.05, under(c)
	if last := len(stages) - 1; c.x > stages[last].beam-stillM {
		least, on = 0.5, last
	}
	if w.supply.off || stages[on].axis.command < least {
		return false
	}
	for _, d := range w.path.pieces {
		if d == c {
			continue
		}
		ahead := d.x - d.length - c.x
		if d.id < c.id && ahead < touchM {
			return false
		}
		if d.held() && !c.held() && under(d) == under(c) {
			return false
		}
	}
	return true
}

func newOnlooker() *onlooker {
	return &onlooker{pieces: map[*piece]*atRest{}, near: map[*piece]lately{}}
}

// jamsAgreed counts what jams of the truth were compared with the onlooker's.
type jamsAgreed struct {
	jams, stayed int
	causes       map[string]int
}

// agrees holds the jams of the truth against the onlooker's: none more, none less, starting
// and ending within 60 ms. Only a stop whose driven stretch is within 30 ms of the least
// length may be seen by one of the two.
func (o *onlooker) agrees(t *testing.T, w *world, where string, n *jamsAgreed) {
	t.Helper()
	for _, r := range o.pieces {
		if r.jam != nil {
			r.jam.open = true
			o.found = append(o.found, *r.jam)
		}
	}
	seen := slices.DeleteFunc(o.found, func(s stand) bool { return s.piece == 0 }) // went on in a later one
	var told []stand
	for _, c := range slices.Concat(w.path.gone, w.path.pieces) {
		for _, k := range c.trace.stops(stillM) {
			told = append(told, stand{
				piece: c.id, start: c.trace.at(w.path, k.start), end: c.trace.at(w.path, k.end),
				open: k.end == len(c.trace.moments), ran: c.trace.longestRun(k),
			})
			v := view{world: w}
			n.causes[v.cause(c, k)]++
		}
	}
	for _, a := range told {
		i := slices.IndexFunc(seen, func(b stand) bool { return a.same(b) })
		assert.True(t, i >= 0 || a.ran < leastS+0.03, "%s: the truth has %+v, the onlooker %+v", where, a, seen)
		n.jams++
		if a.open {
			n.stayed++
		}
	}
	for _, b := range seen {
		i := slices.IndexFunc(told, func(a stand) bool { return a.same(b) })
		assert.True(t, i >= 0 || b.ran < leastS+0.03, "%s: the onlooker has %+v, the truth %+v", where, b, told)
	}
}

func (a stand) same(b stand) bool {
	const near = 0.06
	return a.piece == b.piece && math.Abs(a.start-b.start) < near && a.open == b.open && (a.open || math.Abs(a.end-b.end) < near)
}

// longestRun is how long the piece was driven at a stretch within a stop, s.
func (t *trace) longestRun(s stop) float64 {
	most, run := 0, 0
	for _, m := range t.moments[s.start:s.end] {
		if run++; !m.pushed() {
			run = 0
		}
		most = max(most, run)
	}
	return float64(most) * traceSteps * step
}

// One stuck piece is one jam until it moves (schemas/README.md): twitches of a
// centimetre or two, forth or back, driven or not, cut nothing, while a piece that went a
// hand's breadth and hangs again has two.
func TestTwitchingPieceIsOneStop(t *testing.T) {
	const second = int(1 / (traceSteps * step))
	walk := func(hop float64, command float64) *trace {
		out := &trace{}
		x := 0.5
		for range 5 {
			for range second * 35 / 100 {
				out.moments = append(out.moments, moment{x: x, command: 0.6})
			}
			for k := range 40 { // a hop of 80 ms
				out.moments = append(out.moments, moment{x: x + hop*float64(k+1)/40, command: command})
			}
			x += hop
		}
		return out
	}
	for _, c := range []struct {
		name         string
		hop, command float64
		stops        int
	}{
		{"it twitches on", 0.015, 0.6, 1},
		{"it twitches back when run back", -0.025, -0.6, 1},
		{"it goes on a hand's breadth each time", 0.08, 0.6, 5},
		{"it is run back a hand's breadth each time", -0.08, -0.6, 5},
	} {
		stops := walk(c.hop, c.command).stops(stillM)
		if assert.Len(t, stops, c.stops, c.name) {
			assert.Zero(t, stops[0].start, c.name)
		}
	}
}

// By how fast a piece creeps it stands, moves, or does either by what is called the same place:
// a third of a centimetre in a tenth of a second, the half of that and twice as much are the limits.
func TestCreepingPieces(t *testing.T) {
	for _, c := range []struct {
		name                string
		speed               float64 // m/s
		surely, stands, may bool
	}{
		{"it stands", 0, true, true, true},
		{"it stands by any measure", 0.015, true, true, true},
		{"it stands by the definition alone", 0.025, false, true, true},
		{"it moves by the definition alone", 0.045, false, false, true},
		{"it moves by any measure", 0.075, false, false, false},
	} {
		walk := &trace{}
		for k := range int(1 / (traceSteps * step)) {
			walk.moments = append(walk.moments, moment{x: 0.5 + c.speed*float64(k)*traceSteps*step, command: 0.6})
		}
		assert.Equal(t, c.surely, len(walk.stops(stillM/2)) > 0, c.name)
		assert.Equal(t, c.stands, len(walk.stops(stillM)) > 0, c.name)
		assert.Equal(t, c.may, len(walk.stops(2*stillM)) > 0, c.name)
	}
}

// A second piece that starts with its tail on a belt at rest creeps: what is told of it is left
// open, and what hangs is not.
func TestCreepsAreLeftOpen(t *testing.T) {
	m, err := RunOptions(Options{Scenario: Exam, Seed: 92461})
	require.NoError(t, err)
	open := 0
	for i, j := range m.Truth.Jams {
		if unsure := slices.Contains(m.Unsure["jams"], i); unsure {
			open++
			assert.Less(t, j.EndS-j.StartS, 1.0)
		} else {
			assert.Greater(t, j.EndS-j.StartS, 1.0)
		}
	}
	assert.Equal(t, 2, open)
	assert.GreaterOrEqual(t, len(m.Creeps), open)
}
