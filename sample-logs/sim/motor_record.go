package sim

import "math"

// What is a stall: a motor that is told to run, not just to hold, and stands while it draws
// what one held fast does, for longer than it takes to start.
const (
	stallDuty   = 0.5  // of the command its stage is usually run with
	stallSpeed  = 0.05 // of the free speed at that voltage and command
	stallAmps   = 0.5  // of what its resistance and its controller's limit let through
	stallLeastS = 0.3
	stallMergeS = 0.15 // s of turning between two that are one
)

// motorRecord is what the motors of the path did at every step, for the truth about them.
type motorRecord struct {
	driven []int     // by stage: steps of the log in which it was driven
	ohms   []float64 // sums over those
	runs   [][]stood
}

// stood is a stretch in which a motor stood, s robot clock.
type stood struct{ from, to, charge float64 }

func (m *motorRecord) note(w *world) {
	if m.driven == nil {
		n := len(w.path.belts)
		m.driven, m.ohms, m.runs = make([]int, n), make([]float64, n), make([][]stood, n)
	}
	if !w.recorder.started || w.supply.off {
		return
	}
	for i, b := range w.path.belts {
		if a := b.axis; !a.off && math.Abs(a.duty()) > 0.05 && w.inPeriod() {
			m.driven[i]++
			m.ohms[i] += a.motor.r + w.wires(a)*a.duty()*a.duty()
			if w.stands(i) {
				m.stands(i, w.begin+w.now(), math.Abs(a.winding)*step)
			}
		}
	}
}

// stands adds one step to a stage's stretches.
func (m *motorRecord) stands(stage int, at, charge float64) {
	runs := m.runs[stage]
	if n := len(runs); n > 0 && at-runs[n-1].to <= stallMergeS {
		runs[n-1].to, runs[n-1].charge = at+step, runs[n-1].charge+charge
		return
	}
	m.runs[stage] = append(runs, stood{at, at + step, charge})
}

// stands says whether a stage's motor stands now although it is driven.
func (w *world) stands(stage int) bool {
	a := w.path.belts[stage].axis
	u, v := math.Abs(a.duty()), w.supply.voltage
	held := u * v / a.motor.r
	if a.motor.windingMax > 0 {
		held = min(held, a.motor.windingMax)
	}
	return u >= stallDuty*w.program.feed.speeds[stage] && math.Abs(a.speed) < stallSpeed*u*v/a.motor.ke &&
		a.winding*a.duty() > 0 && math.Abs(a.winding) >= stallAmps*held
}

// wires are those of the branch an axis is on, ohm.
func (w *world) wires(a *axis) float64 {
	for _, b := range w.supply.branches {
		for _, other := range b.axes {
			if other == a {
				return b.ohms
			}
		}
	}
	return 0
}
