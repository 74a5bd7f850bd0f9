package sim

import (
	"math"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

// heronSignals are those of a robot that logs all it has.
func heronSignals(w *world) []channel {
	const fast, usual = 1, 2 // 100 and 50 a second
	out := []channel{
		{name: "robot/mode", role: "mode.signal", kind: schemas.Text, text: (*world).mode},
		{name: "power/battery", role: "power.battery", kind: schemas.Text, text: func(w *world) string { return w.scenario.battery }},
		{name: "power/voltage", role: "power.voltage", every: usual, noise: 0.018, per: 100, read: func(w *world) float64 { return w.supply.voltage }},
		{name: "power/current", role: "power.current", every: usual, noise: 0.35, per: 4, read: func(w *world) float64 { return w.supply.current }},
	}
	for i, b := range breakers(w) {
		out = append(out, channel{
			name: "power/branch/" + strconv.Itoa(i), role: "power.branches.current", of: b.name,
			every: usual, noise: 0.2, per: 4, read: func(*world) float64 { return b.current() },
		})
	}
	for i, b := range w.path.belts {
		base := "path/" + b.name + "/"
		if !b.blind {
			out = append(out, channel{
				name: base + "beam", role: "path.stages.sensor", of: b.name, kind: schemas.Bool, every: fast,
				read: func(w *world) float64 { return oneIf(w.path.blocker(i) != nil) },
				kept: func(w *world, t float64) { seeBeam(w, i, t) },
			})
		}
		out = append(
			out,
			channel{name: base + "command", role: "path.stages.command", of: b.name, per: 100, read: func(*world) float64 { return w.program.commands[i] }},
			channel{name: base + "current", role: "path.stages.current", of: b.name, every: usual, noise: 0.15, per: 4, read: func(*world) float64 { return b.axis.winding }},
			channel{name: base + "speed", role: "path.stages.speed", of: b.name, every: usual, noise: 0.1, per: 4, read: func(*world) float64 { return b.speed() }},
		)
	}
	return append(
		out,
		channel{name: "path/release", role: "path.release", kind: schemas.Int64, read: func(w *world) float64 { return float64(w.program.released) }, distort: since(&w.reboots.released)},
		channel{name: "game/score", role: "cycles.score", kind: schemas.Int64, read: func(w *world) float64 { return float64(w.field.score) }, distort: since(&w.reboots.scored)},
		channel{name: "vision/error", role: "cycles.align.error", every: usual, noise: 0.008, per: 1000, when: seesShelf, read: func(w *world) float64 { return w.field.offAim(w.chassis) }},
		channel{name: "pose/x", role: "cycles.pose.x", every: usual, noise: 0.004, per: 100, read: func(w *world) float64 { return w.odometry.x }},
		channel{name: "pose/y", role: "cycles.pose.y", every: usual, noise: 0.004, per: 100, read: func(w *world) float64 { return w.odometry.y }},
		channel{name: "pose/heading", role: "cycles.pose.heading", every: usual, noise: 0.001, per: 1000, read: func(w *world) float64 { return w.odometry.heading }},
		channel{name: "imu/pitch", role: "balance.tilt", every: fast, noise: 0.12, per: 10, read: func(w *world) float64 { return w.body.tilt() }},
		channel{name: "imu/pitch_rate", role: "balance.rate", every: fast, noise: 0.5, per: 2, read: func(w *world) float64 { return w.body.tiltRate() }},
		channel{name: "drive/command", role: "balance.drive", every: usual, per: 100, read: func(w *world) float64 { return w.program.drive }},
		channel{name: "lift/position", role: "moves.position", of: "lift", every: usual, noise: 0.001, per: 500, read: func(w *world) float64 { return w.arm.position }},
		channel{name: "lift/target", role: "moves.target", of: "lift", per: 1000, read: func(w *world) float64 { return w.program.armTarget }},
		channel{name: "lift/current", role: "moves.current", of: "lift", every: usual, noise: 0.15, per: 4, read: func(w *world) float64 { return w.arm.axis.winding }},
	)
}

// curlewSignals are the five of a robot that logs little.
func curlewSignals(w *world) []channel {
	const slow = 4 // 25 a second
	return []channel{
		{name: "robot/mode", role: "mode.signal", kind: schemas.Text, text: (*world).mode},
		{name: "power/voltage", role: "power.voltage", unit: "V", every: slow, noise: 0.03, per: 20, read: func(w *world) float64 { return w.supply.voltage }},
		{name: "game/score", role: "cycles.score", kind: schemas.Int64, read: func(w *world) float64 { return float64(w.field.score) }, distort: since(&w.reboots.scored)},
		{name: "pose/x", role: "cycles.pose.x", every: slow, noise: 0.004, per: 100, read: func(w *world) float64 { return w.odometry.x }},
		{name: "pose/y", role: "cycles.pose.y", every: slow, noise: 0.004, per: 100, read: func(w *world) float64 { return w.odometry.y }},
	}
}

// seesShelf says whether the camera sees its target: near enough, not by too much aside.
func seesShelf(w *world) bool {
	c := w.chassis
	return !w.field.given && c.x > w.field.aim.x-2.3 && math.Abs(c.y-w.field.aim.y) < 1.5 && math.Abs(wrap(c.heading-math.Pi)) < 0.5
}

// since makes a counter begin anew where it stood at a reboot.
func since(base *float64) []func(now, v float64) float64 {
	return []func(now, v float64) float64{func(_, v float64) float64 { return v - *base }}
}

func oneIf(b bool) float64 {
	if b {
		return 1
	}
	return 0
}
