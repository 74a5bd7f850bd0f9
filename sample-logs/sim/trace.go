package sim

import "math"

// visit is when a piece blocked a beam: the first time it did and the first time after that
// it did not. Not a number where that never came.
type visit struct{ enter, leave float64 }

// trace is the life of one piece in the path, for the truth only.
type trace struct {
	began     int       // path step of x[0]
	x         []float64 // m, every traceSteps
	command   []float64 // of the stage that holds its front, 0 while the outputs are off
	seen      []visit   // by stage: by the samples of its beam that are in the log, s robot clock
	passed    []visit   // by stage: where its beam is or would be, to the step
	mouthLast float64   // s, the last time it cleared the first beam
	onMouth   bool
	released  bool
	backedOut bool
}

const traceSteps = 2

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
	t.x = append(t.x, c.x)
	if b := p.at(c.x); driven(b) {
		t.command = append(t.command, b.axis.command)
	} else {
		t.command = append(t.command, 0)
	}
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
	blocker := w.path.blocker(stage)
	note := func(c *piece) {
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
	start, end int // indices into trace.x, end is the first sample away again
	x          float64
}

const (
	stillM   = 0.01 // m: nearer than this is the same place
	leastS   = 0.3  // s: shorter is no jam
	pressing = 0.5  // at the last stage a smaller command only holds
)

// stops finds where the piece stood although driven, by the definition of a jam: from the
// moment it had stopped and was driven, until it is somewhere else.
func (t *trace) stops(p *path) []stop {
	var out []stop
	const least = int(leastS / (traceSteps * step))
	for i := 0; i < len(t.x); {
		j := i + 1
		for j < len(t.x) && math.Abs(t.x[j]-t.x[i]) <= stillM {
			j++
		}
		if j-i < least {
			i++
			continue
		}
		threshold := 0.05
		if p.at(t.x[i]) == p.belts[len(p.belts)-1] {
			threshold = pressing
		}
		for k, run := i, 0; k < j; k++ {
			if t.command[k] < threshold {
				run = 0
				continue
			}
			if run++; run == least {
				out = append(out, stop{start: k - run + 1, end: j, x: t.x[i]})
				break
			}
		}
		i = j
	}
	return out
}

// at is the time of sample i, s robot clock.
func (t *trace) at(p *path, i int) float64 {
	return p.begin + float64(t.began+i*traceSteps)*step
}
