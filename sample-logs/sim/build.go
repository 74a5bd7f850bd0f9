package sim

import "math"

// build makes the robot, its battery and the platform: usual sizes, a little different for
// every seed, as parts are. Sizes are those of a 54 kg robot with two geared motors a side;
// they were chosen by us to be of the right order, not measured on one robot.
func build(w *world, o Options) {
	r := stream(o.Seed, "parts")
	w.battery = &battery{
		capacity: r.about(18*3600, 0.03), charge: r.between(0.93, 0.99),
		r0: r.about(0.0185, 0.06), r1: r.about(0.006, 0.1), tau1: r.about(0.9, 0.1),
		r2: r.about(0.008, 0.1), tau2: r.about(25, 0.1),
	}
	w.supply = &supply{
		battery: w.battery, idle: r.about(2.1, 0.1),
		cutOff: cutOffV, recover: recoverV, smooth: 0.022, least: 0.15,
	}
	drive := motor{r: r.about(0.050, 0.02), ke: r.about(0.0200, 0.01), windingMax: 95, inputMax: 75}
	w.chassis = &chassis{
		mass: r.about(54, 0.02), inertia: 3.6, halfTrack: 0.28, wheelbase: 0.60,
		wheel: r.about(0.051, 0.01), gear: 8.5, yield: 0.86, rotating: 0.0125,
		grip: r.about(1.05, 0.05), knee: 0.12, rolling: r.about(24, 0.1), drag: 3, scrub: 24,
		left: &axis{motor: drive}, right: &axis{motor: drive},
		x: r.normal(9, 0.03), y: r.normal(1.5, 0.03), heading: math.Pi + r.normal(0, 0.01),
	}
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
	if o.ResistanceOhm > 0 {
		w.battery.r0 = o.ResistanceOhm
	}
	w.axes = []*axis{w.chassis.left, w.chassis.right}
	for _, b := range w.path.belts {
		w.axes = append(w.axes, b.axis)
	}
	w.axes = append(w.axes, w.arm.axis)
}
