package sim

// Meaning is what one signal of a log really is, whether the match's profile names it or not.
type Meaning struct {
	Signal string
	Role   string // its place in a profile, without an index: path.stages.sensor
	Of     string // the stage, branch or move it belongs to
}

// means lists the signals that reached the log.
func (rec *recorder) means() []Meaning {
	var out []Meaning
	for i, c := range rec.channels {
		if rec.signals[i].Len() > 0 && c.role != "" {
			out = append(out, Meaning{c.name, c.role, c.of})
		}
	}
	return out
}

// stageNames are the stages of the path in the order a piece passes them.
func (w *world) stageNames() []string {
	var out []string
	for _, b := range w.path.belts {
		out = append(out, b.name)
	}
	return out
}
