package sim

// newPlatform is the board on its pivot, hooked to the near side.
func newPlatform(r random) *platform {
	p := &platform{
		x: 7, y: 5.5, halfWidth: 1.1, half: 1.2,
		inertia: r.about(44, 0.05), stiff: r.about(360, 0.05), damp: r.about(165, 0.05),
		rub: 6, stop: 0.21, hook: 82, hooked: true, bounce: 0.15,
	}
	p.angle = p.stop
	return p
}

// newLift is a carriage of a few kilograms on one geared motor.
func newLift(r random) *arm {
	return &arm{
		axis: &axis{motor: motor{r: 0.11, ke: 0.0205, windingMax: 60, inputMax: 40}}, gear: 10, drum: 0.024, yield: 0.85,
		mass: r.about(7, 0.05), rotor: 9e-5, rub: 14, highest: 1.0,
	}
}
