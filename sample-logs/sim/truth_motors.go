package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// motors are those of the path whose current is in the log: how long each stood, and, where
// command, speed and supply are in the log too, what it is. The resistance is that between
// where the supply is measured and the rotor, winding and wires, at the temperatures of the
// match and the command in use; the constant is for the speed at the roller.
func (v view) motors() {
	w := v.world
	for i, b := range w.path.belts {
		has := func(of string) bool {
			c := w.recorder.clean("path/" + b.name + "/" + of)
			return c != nil && len(c.v) > 0
		}
		if !has("current") {
			continue
		}
		m := schemas.Motor{Name: b.name, Side: schemas.CurrentWinding}
		if has("command") && has("speed") {
			v.stood(i, &m)
			if volts := w.recorder.clean("power/voltage"); volts != nil && len(volts.v) > 0 && w.turned.driven[i] > 0 {
				m.ResistanceOhm = schemas.Some(w.turned.ohms[i] / float64(w.turned.driven[i]))
				m.ConstantVS = schemas.Some(b.axis.motor.ke * b.gear)
			}
		}
		v.report.Motors = append(v.report.Motors, m)
	}
}

// stood tells when a stage's motor stood although driven, as far as the log goes.
func (v view) stood(stage int, m *schemas.Motor) {
	total := 0.0
	for _, s := range v.world.turned.runs[stage] {
		from, to := max(s.from, v.start), min(s.to, v.end)
		if s.to-s.from < stallLeastS || to <= from {
			continue
		}
		total += to - from
		m.Stalls = append(m.Stalls, schemas.Stall{StartS: from, EndS: to, MeanA: s.charge / math.Max(s.to-s.from, step)})
	}
	m.StalledS = schemas.Some(total)
}
