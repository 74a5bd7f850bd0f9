package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// reboots are restarts of the robot's computer in mid-match: for some seconds nothing is
// driven and nothing is logged, then its counters and its odometry begin anew. Its clock goes
// on (it has a battery of its own): a file has no column that could tell a new power-up.
type reboots struct {
	at, length []float64 // s since the log's begin, s
	until      float64
	busy       float64 // when last a piece was on its way to count
	released   float64 // what the counters stood at when it went down
	scored     float64
	handed     float64
	lost       []gap // from going down until odometry is right again, s since the log's begin
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
	if w.program.release || len(w.field.flying) > 0 || !w.field.settled() {
		b.busy = w.now()
	}
	if len(b.at) > 0 && w.now() >= max(b.at[0], b.busy+0.3) { // the log has it by then
		b.until = w.now() + b.length[0]
		w.scenario.gaps = append(w.scenario.gaps[:len(w.scenario.gaps):len(w.scenario.gaps)], gap{w.now(), b.length[0]})
		b.at, b.length = b.at[1:], b.length[1:]
		b.lost = append(b.lost, gap{w.now(), w.until - w.now()})
	}
	if n := len(b.lost); n > 0 && !w.down() && w.now() < b.lost[n-1].start+b.lost[n-1].length && w.odometry.off(w.chassis) < foundM {
		b.lost[n-1].length = w.now() - b.lost[n-1].start
	}
	if math.Abs(w.now()-b.until) < step/2 {
		b.released, b.scored = float64(w.program.released), float64(w.field.score)
		b.handed = float64(w.field.handover)
		w.odometry.restart()
		w.program.forget(len(w.path.pieces))
		w.recorder.again()
	}
}

// foundM is how near odometry must be to tell zones apart.
const foundM = 0.15

// lost takes back what nobody can tell of the cycles in which odometry was lost: their
// phases, and which of them cost the time.
func (v view) lost() {
	for i := range v.report.Cycles {
		c := &v.report.Cycles[i]
		for _, g := range v.world.reboots.lost {
			if from := v.world.begin + g.start; c.StartS < from+g.length && from < c.EndS {
				c.Phases, c.Why = schemas.Phases{}, nil
			}
		}
	}
}
