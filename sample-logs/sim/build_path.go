package sim

// newPath is five stages, 1.62 m in all; the lift carries pieces straight up and has no beam.
func newPath(r random) *path {
	p := &path{end: 1.62}
	stage := func(name string, from, to, beam, rise, gear float64) {
		p.belts = append(p.belts, &belt{
			name: name, from: from, to: to, beam: beam, rise: rise,
			axis:   &axis{motor: motor{r: r.about(0.30, 0.03), ke: r.about(0.022, 0.01), windingMax: 40}},
			radius: 0.03, gear: gear, yield: 0.75, inertia: 0.006, friction: r.about(0.62, 0.1),
		})
	}
	stage("mouth", 0, 0.26, 0.10, 0, 15)
	stage("throat", 0.26, 0.55, 0.40, 0.3, 17)
	stage("lift", 0.55, 1.05, 0.80, 1, 18)
	stage("pocket", 1.05, 1.35, 1.20, 0, 18)
	stage("gate", 1.35, 1.62, 1.48, 0, 18)
	p.belts[2].blind = true
	return p
}

// newPiece is one piece: soft, no two alike.
func newPiece(r random) *piece {
	return &piece{
		length: r.normal(0.22, 0.006), mass: r.about(0.42, 0.06),
		press: r.about(78, 0.08), mu: r.normal(0.8, 0.04), drag: r.about(24, 0.12),
	}
}
