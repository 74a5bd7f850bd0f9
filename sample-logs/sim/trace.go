package sim

import "math"

// visit is when a piece blocked a beam: the first time it did and the first time after that
// it did not. Not a number where that never came.
type visit struct{ enter, leave float64 }

// trace is the life of one piece in the path, for the truth only.
type trace struct {
	began     int      // path step of moments[0]
	moments   []moment // every traceSteps
	seen      []visit  // by stage: by the samples of its beam that are in the log, s robot clock
	passed    []visit  // by stage: where its beam is or would be, to the step
	mouthLast float64  // s, the last time it cleared the first beam
	onMouth   bool
	released  bool
	given     bool // released to a partner
	backedOut bool
}

// moment is what a piece did at one time.
type moment struct {
	x       float64 // m
	command float64 // of the stage that drives it: see drivenBy
	waits   bool    // it is where pieces wait, at the last stage
	queues  bool    // it stands because another piece does
	paired  bool    // it is half of a wedged pair
	roller  float64 // speed of the roller that holds its middle, by its free speed at that command
}

const traceSteps = 2

// pushed says whether the piece is driven onward, by more than holds it where pieces wait,
// and does not stand for another.
func (m moment) pushed() bool {
	least := 0.05
	if m.waits {
		least = pressing
	}
	return m.command >= least && !m.queues
}

func (t *trace) add(c *piece, p *path, driven func(*belt) bool) {
	if t.passed == nil {
		t.began = p.steps
		none := visit{math.NaN(), math.NaN()}
		for range p.belts {
			t.seen, t.passed = append(t.seen, none), append(t.passed, none)
		}
		t.mouthLast = math.NaN()
	}
	now := p.begin + float64(p.steps)*step
	for i, b := range p.belts {
		blocks := c.x >= b.beam && c.x-c.length < b.beam
		t.passed[i].note(blocks, now)
	}
	if (p.steps-t.began)%traceSteps != 0 {
		return
	}
	b := p.at(c.middle())
	t.moments = append(t.moments, moment{
		x: c.x, command: p.drivenBy(c, driven), waits: p.waiting(c), queues: c.leans || p.stalledFor(c),
		paired: c.held() && c.catch.pair > 0,
		roller: b.axis.speed * b.axis.motor.ke / (12 * max(0.05, math.Abs(b.axis.command))),
	})
}

// waiting says whether a piece is where it waits for its release.
func (p *path) waiting(c *piece) bool { return c.x >= p.last().beam-stillM }

// stalledFor says whether the roller that holds a piece holds another that hangs.
func (p *path) stalledFor(c *piece) bool {
	for _, d := range p.pieces {
		if d != c && d.held() && p.at(d.middle()) == p.at(c.middle()) {
			return !c.held()
		}
	}
	return false
}

// drivenBy is the command of the stage that holds a piece, negative when it is run back, 0
// when it stands or is cut off. A piece at rest at the last stage is in that stage's hands;
// any other in those of the stage under its middle.
func (p *path) drivenBy(c *piece, driven func(*belt) bool) float64 {
	b := p.at(c.middle())
	if p.waiting(c) {
		b = p.last()
	}
	if b.axis.command < 0 || driven(b) {
		return b.axis.command
	}
	return 0
}

// note takes one look at a beam.
func (v *visit) note(blocks bool, now float64) {
	switch {
	case blocks && math.IsNaN(v.enter):
		v.enter = now
	case !blocks && !math.IsNaN(v.enter) && math.IsNaN(v.leave):
		v.leave = now
	}
}

// seeBeam is told of each sample of a beam that reached the log.
func seeBeam(w *world, stage int, t float64) {
	sawAtBeam(w, stage, w.path.blocker(stage), t)
}

// sawAtBeam is told of one in which a beam saw blocker, nil for none.
func sawAtBeam(w *world, stage int, blocker *piece, t float64) {
	note := func(c *piece) {
		if c.trace.seen == nil {
			return // it came this very step
		}
		blocks := c == blocker
		if stage == 0 && !blocks && c.trace.onMouth {
			c.trace.mouthLast = t
		}
		if stage == 0 {
			c.trace.onMouth = blocks
		}
		c.trace.seen[stage].note(blocks, t)
	}
	for _, c := range w.path.pieces {
		note(c)
	}
	for _, c := range w.path.gone { // one may have gone while the radio was out
		note(c)
	}
}

// stop is a stretch in which a piece stayed where it was though its stage was driven.
type stop struct {
	start, end int // indices into trace.moments, end is the first sample away again
	x          float64
}

func (s stop) overlaps(o stop) bool { return s.start < o.end && o.start < s.end }

const (
	stillM   = 0.01 // m: nearer than this is the same place; see v.passes for what lies about it
	leastS   = 0.3  // s: shorter is no jam
	twitchM  = 0.03 // m: one that stands again no further off has only twitched
	pressing = 0.5  // at the last stage a smaller command only holds
)

// stops finds where the piece stood although driven, by the definition of a jam: from the
// moment it had stopped and was driven, until it is somewhere else. While it leans on the
// piece ahead it queues: what stands then is the one ahead, which is stuck itself or waits.
// The same holds while the roller under it is stalled by another that hangs. One stuck piece
// is one stop until it moves: a twitch, or a pull to and fro, between two is none. Nearer than
// still, in m, is the same place.
func (t *trace) stops(still float64) []stop {
	var out []stop
	const least = int(leastS / (traceSteps * step))
	m := t.moments
	for i := 0; i < len(m); {
		if t.moves(i, still) {
			i++
			continue
		}
		j := i + 1
		for at := m[i].x; j < len(m); j++ {
			if math.Abs(m[j].x-at) <= still {
				continue
			}
			if t.moves(j, still) || !m[j].pushed() {
				break
			}
			at = m[j].x // it creeps: that is no progress
		}
		if j-i < least {
			i++
			continue
		}
		for k, run := i, 0; k < j; k++ {
			if !m[k].pushed() {
				run = 0
				continue
			}
			if run++; run == least {
				if s := (stop{start: k - run + 1, end: j, x: m[i].x}); len(out) > 0 && t.twitches(out[len(out)-1], s) {
					out[len(out)-1].end = j
				} else {
					out = append(out, s)
				}
				break
			}
		}
		i = j
	}
	return out
}

// twitches says whether a piece stayed about where it was between two stops.
func (t *trace) twitches(a, b stop) bool {
	for _, m := range t.moments[a.end : b.start+1] {
		if math.Abs(m.x-t.moments[a.end-1].x) > twitchM {
			return false
		}
	}
	return true
}

// moves says whether the piece goes faster than a place's width in the least time of a jam.
func (t *trace) moves(i int, still float64) bool {
	const ahead = 5
	last := len(t.moments) - 1
	j := min(i+ahead, last)
	return math.Abs(t.moments[j].x-t.moments[i].x) > still/leastS*float64(j-i)*traceSteps*step
}

// at is the time of sample i, s robot clock.
func (t *trace) at(p *path, i int) float64 {
	return p.begin + float64(t.began+i*traceSteps)*step
}
