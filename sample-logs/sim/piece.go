package sim

import "math"

// piece is a game piece in the path: a soft block, its front at x.
type piece struct {
	id     int
	length float64 // m
	mass   float64 // kg
	press  float64 // N with which a belt over its whole length is pressed on
	mu     float64
	knee   float64 // m/s of slip for full grip, slipKnee if 0: a wet or dusty piece has more
	drag   float64 // N, guides

	x, v  float64 // m, m/s
	shove float64 // N, of its neighbours and a shut gate, onward positive
	leans bool    // on the piece ahead
	past  bool    // the bar of a gate
	catch *catch  // what this piece will hang on, nil for most
	hand  *hand   // what moves it from outside, nil for most
	pause *pause  // where the operator will hold it, nil for most
	fate  fate    // what the operator does once it comes back
	trace trace
}

// fate is what becomes of a piece that is run back.
type fate int

const (
	byLuck fate = iota
	spatOut
	kept
)

// pause is a stop on purpose.
type pause struct {
	at      float64 // m, front of the piece
	seconds float64
}

// hand is somebody or something outside the robot that has hold of a piece.
type hand struct {
	wait float64 // s before anything
	from float64 // m, takes hold once the front is here
	to   float64 // m, and lets go here
	v    float64 // m/s
	on   bool
}

// inHand moves a piece that is in somebody's hand and says whether it was. Rollers under it
// rub on it but do not move it.
func (c *piece) inHand(dt float64) bool {
	h := c.hand
	if h == nil || !h.on && c.x < h.from {
		return false
	}
	if h.wait > 0 {
		h.wait -= dt
		c.v = 0
		return true
	}
	h.on = true
	c.v = h.v
	c.x += h.v * dt
	if (h.to-c.x)*h.v <= 0 {
		c.hand = nil
	}
	return true
}

// slides is the slip at which belts grip it nearly fully, m/s.
func (c *piece) slides() float64 {
	if c.knee > 0 {
		return c.knee
	}
	return slipKnee
}

// middle of the piece, m along the path.
func (c *piece) middle() float64 { return c.x - c.length/2 }

// A piece pressed with 60 N, what a belt can bring, gives by 15 mm, and half of a blow is
// lost in it: of the order of a loaf of bread or a foam ball, chosen by us.
const (
	softN    = 4000.0 // N/m
	lossN    = 28.0   // N s/m
	touchM   = 0.004  // m, nearer than this one leans on the other
	barGiveM = 0.05   // m: further past a bar it is through
)

// squeeze lets pieces press on each other and on a shut gate. What overlaps pushes back as
// a spring with some loss, and never pulls.
func (p *path) squeeze() {
	for i, c := range p.pieces {
		c.shove, c.leans = 0, false
		if over := c.x - p.bar; p.bar > 0 && over > 0 {
			c.past = c.past || over > barGiveM
			if !p.open && !c.past {
				c.shove = -max(0, 2*softN*over+2*lossN*c.v)
			}
		} else {
			c.past = false
		}
		if i == 0 {
			continue
		}
		over := -p.gapBehind(i - 1)
		c.leans = over > -touchM
		if ahead := p.pieces[i-1]; over > 0 {
			f := max(0, softN*over+lossN*(c.v-ahead.v))
			ahead.shove += f
			c.shove -= f
		}
	}
}

// gapBehind is the room between the i-th piece from the front and the one behind it, m;
// infinite when it is the last.
func (p *path) gapBehind(i int) float64 {
	if i+1 >= len(p.pieces) {
		return math.Inf(1)
	}
	c := p.pieces[i]
	return c.x - c.length - p.pieces[i+1].x
}

// count is how many pieces are in the path to stay: not those that only touch the mouth.
func (p *path) count() int {
	n := 0
	for _, c := range p.pieces {
		if c.hand == nil || c.hand.v > 0 {
			n++
		}
	}
	return n
}

// newPiece is one piece: soft, no two alike.
func newPiece(r random) *piece {
	return &piece{
		length: r.normal(0.22, 0.006), mass: r.about(0.42, 0.06),
		press: r.about(78, 0.08), mu: r.normal(0.8, 0.04), drag: r.about(24, 0.12),
	}
}
