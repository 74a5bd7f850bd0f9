package sim

// build makes the robot, its battery and the platform: usual sizes, a little different for
// every seed, as parts are. Sizes are those of a 54 kg robot with two geared motors a side;
// they were chosen by us to be of the right order, not measured on one robot.
func build(w *world, o Options) {
	r := stream(o.Seed, "parts")
	w.battery = newBattery(r)
	sound := *w.battery
	w.sound = &sound
	w.supply = newSupply(r, w.battery)
	w.chassis = newChassis(r)
	w.path = newPath(r)
	if build := w.scenario.path.build; build != nil {
		w.path = build(stream(o.Seed, "path"))
	}
	lift := motor{r: 0.11, ke: 0.0205, windingMax: 60, inputMax: 40}
	w.arm = &arm{
		axis: &axis{motor: lift}, gear: 10, drum: 0.024, yield: 0.85,
		mass: r.about(7, 0.05), rotor: 9e-5, rub: 14, highest: 1.0,
	}
	w.platform = &platform{
		x: 7, y: 5.5, halfWidth: 1.1, half: 1.2,
		inertia: r.about(44, 0.05), stiff: r.about(360, 0.05), damp: r.about(165, 0.05),
		rub: 6, stop: 0.21, hook: 82, hooked: true, bounce: 0.15,
	}
	w.platform.angle = w.platform.stop
	for _, change := range w.scenario.parts {
		change(w, r)
	}
	wire(w, o)
	w.drawn.fresh = *w.battery
}
