package sim

import "github.com/afterbell/afterbell/schemas"

// mechanism is what the lift's current would be parted into by one who knows the carriage:
// what its motor must draw to carry it, and what friction takes besides at a steady speed.
// Null for an arm on a pivot, whose weight pulls by its angle, for a load that grows on the
// way, and where the current is not in the log.
func (v view) mechanism() {
	a := v.world.arm
	current := v.world.recorder.clean("lift/current")
	if len(v.report.Moves) == 0 {
		return
	}
	out := schemas.Mechanism{Name: "lift", Moves: len(v.report.Moves)}
	if current != nil && len(current.v) > 0 && a.length == 0 && a.grows == 0 {
		perA := a.axis.motor.ke * a.ratio() * a.yield // N
		out.WeightA, out.FrictionA = schemas.Some(a.pull()/perA), schemas.Some(a.rub/perA)
	}
	v.report.Mechanisms = append(v.report.Mechanisms, out)
}
