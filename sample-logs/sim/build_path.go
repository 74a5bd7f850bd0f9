package sim

// newPath is five stages, 1.62 m in all; the lift carries pieces straight up and has no beam.
func newPath(r random) *path {
	p := &path{end: 1.62}
	p.stage(r, "mouth", 0.26, 0.10, 0, 15)
	p.stage(r, "throat", 0.55, 0.40, 0.3, 17)
	p.stage(r, "lift", 1.05, 0.80, 1, 18)
	p.stage(r, "pocket", 1.35, 1.20, 0, 18)
	p.stage(r, "gate", 1.62, 1.48, 0, 18)
	p.belts[2].blind = true
	return p
}

// stage adds one behind the last.
func (p *path) stage(r random, name string, to, beam, rise, gear float64) *belt {
	from := 0.0
	if n := len(p.belts); n > 0 {
		from = p.belts[n-1].to
	}
	b := &belt{
		name: name, from: from, to: to, beam: beam, rise: rise,
		axis:   &axis{motor: motor{r: r.about(0.30, 0.03), ke: r.about(0.022, 0.01), windingMax: 40}},
		radius: 0.03, gear: gear, yield: 0.75, inertia: 0.006, friction: r.about(0.62, 0.1),
	}
	p.belts = append(p.belts, b)
	return b
}

// Least distance of the beams where pieces wait, m: one piece and some room.
const waitingRoom = 0.29

// drawPath is a path as another team would have built it: three to six stages of drawn
// lengths, gears, rollers and rise, a beam in most. Beams at which pieces wait stand a piece
// apart.
func drawPath(r random) *path {
	firsts, lasts := []string{"mouth", "scoop"}, []string{"gate", "outlet", "shooter"}
	middles := []string{"throat", "lift", "pocket", "ramp", "tray", "chute", "drum", "neck"}
	r.Shuffle(len(middles), func(i, j int) { middles[i], middles[j] = middles[j], middles[i] })
	n := 3 + r.IntN(4)
	p := &path{}
	add := func(name string, length, beam, rise float64) {
		from := p.end
		p.end += length
		gear := r.between(14, 20)
		b := p.stage(r, name, p.end, from+beam, rise, gear)
		b.radius = gear * r.between(0.00155, 0.0021)
	}
	add(firsts[r.IntN(len(firsts))], r.between(0.22, 0.30), r.between(0.08, 0.12), 0)
	blind := 0
	for i := 1; i < n-1; i++ {
		length, rise := r.between(0.28, 0.48), 0.0
		if r.Float64() < 0.4 {
			rise = r.between(0.3, 1)
		}
		least := max(0.12, p.belts[i-1].beam+waitingRoom-p.end)
		length = max(length, least+0.08)
		add(middles[i-1], length, r.between(least, length-0.06), rise)
		if blind < 2 && r.Float64() < 0.3 {
			p.belts[i].blind = true
			blind++
		}
	}
	before := p.belts[n-2]
	beam := max(r.between(0.10, 0.15), before.beam+waitingRoom-p.end)
	add(lasts[r.IntN(len(lasts))], beam+r.between(0.13, 0.17), beam, 0)
	return p
}
