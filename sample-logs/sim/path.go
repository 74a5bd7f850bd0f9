package sim

import "math"

// belt is one stage of the path: a motor that moves a surface along a piece.
type belt struct {
	name     string
	blind    bool    // has no beam
	from, to float64 // m along the path
	beam     float64 // where its beam crosses, m
	rise     float64 // part of gravity against the piece: 1 where it goes straight up
	axis     *axis
	radius   float64 // m, of the roller
	gear     float64
	yield    float64
	inertia  float64 // kg m2 at the roller
	friction float64 // N m, bearings and belt
}

// speed of the roller, rad/s.
func (b *belt) speed() float64 { return b.axis.speed / b.gear }

// surface speed, m/s, onward positive.
func (b *belt) surface() float64 { return b.speed() * b.radius }

// pull is the force its motor can bring to the surface when it stalls at command u on a
// 12 V supply, N.
func (b *belt) pull(u float64) float64 {
	m := b.axis.motor
	amps := u * 12 / m.r
	if m.windingMax > 0 {
		amps = min(amps, m.windingMax)
	}
	return amps * m.ke * b.gear * b.yield / b.radius
}

// path is the way of a piece through the robot.
type path struct {
	belts  []*belt
	end    float64 // m, behind it a piece has left
	bar    float64 // m, where a gate that opens to release bars the way; 0 without one
	open   bool
	pieces []*piece
	gone   []*piece  // left at either end, in that order
	taken  int       // pieces that ever came in
	push   []float64 // N, of each belt on its pieces
	stiff  []float64 // N s/m, how steeply that changes with the belt's speed
	begin  float64   // s, robot clock at step 0
	steps  int
}

// How fast a belt must slip on a piece, m/s, for its grip to be nearly full: soft when it
// only rests on it, hard when the piece is wedged.
const (
	slipKnee   = 0.10
	wedgedKnee = 0.01
)

// admit takes a piece in at the first stage at speed v.
func (p *path) admit(c *piece, v float64) {
	p.taken++
	c.id = p.taken
	c.x, c.v = 0.02, v
	p.pieces = append(p.pieces, c)
}

// step moves belts and pieces and returns the pieces that left at the end this step. On a
// piece act the belts it touches (by share of its length), the guides, gravity, its
// neighbours, and what it hangs on.
func (p *path) step(driven func(*belt) bool, dt float64) (left []*piece) {
	if p.push == nil {
		p.push, p.stiff = make([]float64, len(p.belts)), make([]float64, len(p.belts))
	}
	clear(p.push)
	clear(p.stiff)
	p.steps++
	p.squeeze()
	for i, c := range p.pieces {
		p.move(i, c, dt)
	}
	for i, b := range p.belts {
		w := b.speed()
		torque := b.axis.torque()*b.gear*b.yield - b.friction*math.Tanh(w/0.3) - p.push[i]*b.radius
		// Implicit in the grip: a wedged piece is stiffer than the step would bear.
		b.axis.speed += torque / (b.inertia + p.stiff[i]*b.radius*b.radius*dt) * dt * b.gear
		if math.Abs(b.axis.speed) < 0x1p-1022 { // subnormal numbers cost a hundred times as much
			b.axis.speed = 0
		}
	}
	kept := p.pieces[:0]
	for _, c := range p.pieces {
		c.trace.add(c, p, driven)
		switch {
		case c.x-c.length/2 > p.end: // half out, it tips over the edge
			p.gone, left = append(p.gone, c), append(left, c)
		case c.x < c.length/2 && c.v < -0.05: // half out at the mouth
			c.trace.backedOut = true
			p.gone = append(p.gone, c)
		default:
			kept = append(kept, c)
		}
	}
	p.pieces = kept
	return left
}

// move is one piece, the i-th from the front, for one step; the belts' share of the forces
// goes to p.push.
func (p *path) move(i int, c *piece, dt float64) {
	force, rise, knee, holder := 0.0, 0.0, c.slides(), p.at(c.middle())
	for i, b := range p.belts {
		over := min(c.x, b.to) - max(c.x-c.length, b.from)
		if over <= 0 {
			continue
		}
		share := over / c.length
		slip := b.surface() - c.v
		grip, knee := c.mu*c.press*share, knee
		if c.held() && b == holder {
			grip += c.mu * c.catch.wedge
			knee = wedgedKnee
		}
		f := grip * math.Tanh(slip/knee)
		p.push[i] += f
		p.stiff[i] += grip / knee
		force += f
		rise += share * b.rise
	}
	force += c.shove - rise*c.mass*gravity
	if c.inHand(dt) {
		return
	}
	if c.held() && !c.catch.letsGo(force, holder, dt) {
		c.v = 0
		return
	}
	inside := min(min(1, c.x/c.length), 1+(p.end-c.x)/c.length)
	drag := c.drag * max(0, inside) // what is outside rubs on nothing
	force -= drag * math.Tanh(c.v/0.02)
	// Implicit in the drag and the grip, both stiff against so light a piece.
	stiff := drag/0.02 + c.mu*c.press/knee
	c.v += force * dt / (c.mass + stiff*dt)
	was := c.x
	c.x += c.v * dt
	if c.catch != nil && c.catch.takes(was, c.x, p.gapBehind(i)) {
		c.x, c.v = c.catch.at, 0
	}
}

// at is the belt over a place in the path, the nearest one outside.
func (p *path) at(x float64) *belt {
	for _, b := range p.belts {
		if x < b.to {
			return b
		}
	}
	return p.belts[len(p.belts)-1]
}

// last is the stage a piece waits at.
func (p *path) last() *belt { return p.belts[len(p.belts)-1] }

// blocker is the piece that blocks belt i's beam (or would, were there one), or nil.
func (p *path) blocker(i int) *piece {
	at := p.belts[i].beam
	for _, c := range p.pieces {
		if c.x >= at && c.x-c.length < at {
			return c
		}
	}
	return nil
}
