package sim

import "slices"

// Ways a program runs the stages of the path while it feeds.
const (
	feedAhead  = iota // all stages up to the free place nearest the gate
	feedAll           // all stages, whenever a piece is on its way or the intake button is held
	feedPieces        // only the stages a piece is in or about to enter
)

// feeder is the part of the robot's program that indexes pieces.
type feeder struct {
	way     int
	speeds  []float64 // commands by stage
	release []float64 // of the last two stages, to let a piece go
	intake  int       // stages 0 to intake run while the button is held
	holding float64   // command of the last stage while a piece waits there
	presses float64   // command of the stage before it while a second piece waits there
	idles   func(now float64) bool
	beams   []int // stages that have a beam
	rests   []int // stages pieces come to rest at, the last first: they have a beam

	on       []bool // scratch, by stage
	was      []bool // beams a turn ago, by stage
	reached  []int  // feedPieces: the last beam each piece blocked, front first
	emptyFor float64
	backTo   int // the last stage that is run back when the operator says back
}

func newFeeder(p *path) feeder {
	n := len(p.belts)
	f := feeder{
		speeds: []float64{0.85, 0.80, 0.90, 0.75, 0.45}, release: []float64{0.85, 0.90}, intake: min(1, n-3),
		on: make([]bool, n), was: make([]bool, n),
	}
	if n != len(f.speeds) {
		f.speeds = slices.Repeat([]float64{0.80}, n)
	}
	for i, b := range p.belts {
		if !b.blind {
			f.beams = append(f.beams, i)
		}
	}
	for k := len(f.beams) - 1; k > 0; k-- {
		f.rests = append(f.rests, f.beams[k])
	}
	return f
}

// rest is the stage at which the i-th piece from the front waits.
func (f *feeder) rest(i int) int { return f.rests[min(i, len(f.rests)-1)] }

// index moves pieces through the path: on while one is inside and not at rest, where it is
// held with belts standing still until it is released.
func (p *program) index(w *world, dt float64) {
	f := &p.feed
	f.watch(p, w)
	w.path.open = p.release
	clear(p.commands)
	last := len(p.commands) - 1
	switch p.belts {
	case beltsStop:
		return
	case beltsBack:
		for i := 0; i <= max(last-2, f.backTo); i++ {
			p.commands[i] = -0.8
		}
		return
	}
	p.inside = max(p.inside, 0)
	rest := 0
	for rest < len(f.rests) && f.was[f.rests[rest]] {
		rest++
	}
	clear(f.on)
	if p.intake {
		for i := range f.on {
			f.on[i] = i <= f.intake || f.way == feedAll && i < len(f.on)-rest
		}
	}
	if p.inside > rest && !p.release {
		f.run(rest, len(w.path.belts))
	}
	if p.inside == 0 && f.idles != nil && f.idles(w.now()) {
		for i := range f.on {
			f.on[i] = true
		}
	}
	f.call(p, dt)
	for i, on := range f.on {
		if on {
			p.commands[i] = f.speeds[i]
		}
	}
	switch {
	case p.release && p.inside > 0:
		p.commands[last-1], p.commands[last] = f.release[0], f.release[1]
	case rest > 0 && f.holding > 0:
		p.commands[last] = f.holding
	}
	if rest > 0 && p.inside > 1 && f.presses > 0 && !p.release {
		p.commands[last-1] = f.presses
	}
}

// run marks the stages that feed, with rest pieces at rest.
func (f *feeder) run(rest, stages int) {
	for i := range f.on {
		switch f.way {
		case feedAll:
			f.on[i] = f.on[i] || i < stages-rest
		case feedPieces:
			for k, from := range f.reached {
				if from < f.rest(k) && from <= i && i <= f.next(from) {
					f.on[i] = true
				}
			}
		default:
			f.on[i] = f.on[i] || rest < len(f.rests) && i <= f.rests[rest]
		}
	}
}

// next is the stage with the next beam behind stage i.
func (f *feeder) next(i int) int {
	for _, b := range f.beams {
		if b > i {
			return b
		}
	}
	return i
}

// watch reads the beams: a new piece counts when it comes to the first one.
func (f *feeder) watch(p *program, w *world) {
	for _, i := range f.beams {
		is := w.path.blocker(i) != nil
		if is && !f.was[i] && p.belts == beltsRun {
			if i == 0 {
				p.inside++
				f.reached = append(f.reached, 0)
			} else {
				f.arrive(i)
			}
		}
		f.was[i] = is
	}
}

// arrive gives a beam that was just blocked to the first piece that had not come so far.
func (f *feeder) arrive(beam int) {
	for k, at := range f.reached {
		if at < beam {
			f.reached[k] = beam
			return
		}
	}
}

// call fetches what is further back when the button is held and nothing is near the gate.
func (f *feeder) call(p *program, dt float64) {
	last := len(f.on) - 1
	if !p.release || p.inside == 0 || f.was[last] || f.was[last-1] {
		f.emptyFor = 0
		return
	}
	if f.emptyFor += dt; f.emptyFor > 0.12 {
		for i := range f.on {
			f.on[i] = true
		}
	}
}

// dropped is told that a piece left at the gate.
func (p *program) dropped() {
	p.released++
	p.inside--
	if len(p.feed.reached) > 0 {
		p.feed.reached = p.feed.reached[1:]
	}
}

// forget sets how many pieces are inside, as the operator sees it.
func (p *program) forget(n int) {
	p.inside = n
	p.feed.reached = p.feed.reached[:min(n, len(p.feed.reached))]
}
