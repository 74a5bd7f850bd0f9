package sim

// build makes the robot, its battery and the platform: usual sizes, a little different for
// every seed, as parts are. Sizes are those of a 54 kg robot with two geared motors a side;
// they were chosen by us to be of the right order, not measured on one robot.
func build(w *world, o Options) {
	r := stream(o.robot(), "parts")
	w.battery = newBattery(r)
	sound := *w.battery
	w.sound = &sound
	w.supply = newSupply(r, w.battery)
	w.chassis = newChassis(r)
	w.path = newPath(r)
	if build := w.scenario.path.build; build != nil {
		w.path = build(stream(o.robot(), "path"))
	}
	w.arm = newLift(r)
	w.platform = newPlatform(r)
	for _, change := range w.scenario.parts {
		change(w, r)
	}
	wire(w, o)
	w.drawn.fresh = *w.battery
}
