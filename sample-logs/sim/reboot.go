package sim

import "math"

// reboots are restarts of the robot's computer in mid-match: for some seconds nothing is
// driven and nothing is logged, then its counters and its odometry begin anew. Its clock goes
// on (it has a battery of its own): a file has no column that could tell a new power-up.
type reboots struct {
	at, length []float64 // s since the log's begin, s
	until      float64
	released   float64 // what the counters stood at when it went down
	scored     float64
	handed     float64
}

func newReboots(w *world) reboots {
	plan := w.scenario.sensors
	return reboots{at: plan.rebootAt, length: plan.rebootFor, until: math.Inf(-1)}
}

// down says whether the robot's computer is.
func (w *world) down() bool { return w.now() < w.reboots.until }

// step takes the computer down when its time has come, and up again. It waits until no
// piece is on its way to the shelf: nobody could tell whether that one counted.
func (b *reboots) step(w *world) {
	if len(b.at) > 0 && w.now() >= b.at[0] && len(w.field.flying) == 0 && w.field.settled() {
		b.until = w.now() + b.length[0]
		w.scenario.gaps = append(w.scenario.gaps[:len(w.scenario.gaps):len(w.scenario.gaps)], gap{w.now(), b.length[0]})
		b.at, b.length = b.at[1:], b.length[1:]
	}
	if math.Abs(w.now()-b.until) < step/2 {
		b.released, b.scored = float64(w.program.released), float64(w.field.score)
		b.handed = float64(w.field.handover)
		w.odometry.restart()
		w.program.forget(len(w.path.pieces))
		w.recorder.again()
	}
}
