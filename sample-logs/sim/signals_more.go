package sim

import "github.com/afterbell/afterbell/schemas"

// withHandovers are a robot's signals and one more that counts pieces given to partners.
func withHandovers(signals signalSet) signalSet {
	return func(w *world) []channel {
		return append(signals(w), channel{
			name: "game/handover", role: "cycles.handover", kind: schemas.Int64,
			read:    func(w *world) float64 { return float64(w.field.handover) },
			distort: since(&w.reboots.handed),
		})
	}
}

// withAssist are a robot's signals and one more that is true while it lines up by itself.
func withAssist(signals signalSet) signalSet {
	return func(w *world) []channel {
		return append(signals(w), channel{
			name: "drive/assist", role: "cycles.align.assist", kind: schemas.Bool,
			read: func(w *world) float64 { return oneIf(w.program.assist) },
		})
	}
}
