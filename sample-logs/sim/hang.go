package sim

import "math"

// ending is how a jam ends.
type ending int

const (
	pulledBack ending = iota // run back, it comes free, and passes at the next go
	spat                     // run back, it comes out at the mouth
	givesWay                 // driven on, it comes free
	stays                    // it does not
)

// anyEnding draws one that ends.
func anyEnding(r random) ending {
	switch d := r.Float64(); {
	case d < 0.5:
		return pulledBack
	case d < 0.7:
		return spat
	default:
		return givesWay
	}
}

// hang gives the piece an edge to hang on. The roller either only slips on it there or is
// locked by it in the end. Strengths are drawn about what the motor can pull and the belt
// can hold, so that each ending does come about with any robot. A piece has one edge at
// most: the first stays.
func (f fitting) hang(at float64, slips bool, end ending, r random) *catch {
	c, b := f.c, f.w.path.at(at-f.c.length/2)
	k := &catch{at: at, left: 1, hold: math.Inf(1)}
	pull := c.mu * c.press
	if !slips {
		k.most = b.pull(1) / c.mu * r.between(1.2, 1.6)
		k.deepen = k.most * r.between(2.5, 9)
		pull = b.pull(0.8)
	}
	switch end {
	case pulledBack, spat:
		k.hold, k.loosen = pull*r.between(0.5, 1.05), r.between(1.2, 3.5)
	case givesWay:
		k.gives = r.between(2.2, 6)
	}
	if c.catch == nil {
		if c.catch, c.fate = k, kept; end == spat {
			c.fate = spatOut
		}
	}
	return k
}

// inStage is where a piece's front is when its middle lies in stage i, drawn.
func (f fitting) inStage(i int, r random) float64 {
	b := f.w.path.belts[i]
	return r.between(b.from+0.02, b.to-0.02) + f.c.length/2
}

// someStage draws a stage before the last.
func (f fitting) someStage(r random) int { return r.IntN(len(f.w.path.belts) - 1) }

// slippingWay draws whether the roller slips or is locked.
func slippingWay(r random) bool { return r.Float64() < 0.4 }

// betweenBeams draws where no beam sees the piece; not ok where the beams stand too close.
func (f fitting) betweenBeams(r random) (at float64, ok bool) {
	const room = 0.01
	var spots [][2]float64
	was := math.Inf(1)
	for _, b := range f.w.path.belts {
		if b.blind {
			continue
		}
		if lo, hi := was+f.c.length+room, b.beam-room; lo < hi {
			spots = append(spots, [2]float64{lo, hi})
		}
		was = b.beam
	}
	if spots == nil {
		return 0, false
	}
	s := spots[r.IntN(len(spots))]
	return r.between(s[0], s[1]), true
}

// snag is an edge that gives way at once, before a stop would be a jam.
func (f fitting) snag(r random) {
	if f.c.catch == nil {
		f.c.catch = &catch{at: f.inStage(f.someStage(r), r), left: 1, hold: math.Inf(1), gives: r.between(0.04, 0.14)}
	}
}
