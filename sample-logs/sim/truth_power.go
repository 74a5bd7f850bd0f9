package sim

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// power is the battery and the dips below the cut-off, by the noise-free voltage at the
// samples of the voltage signal.
//
// What needs the whole current is null where only branches are logged: peak, charge and
// energy. The resistance and the voltage at no load can be told from the sum of all branches
// too; then no load means no branch, with the computer still drawing.
func (v view) power() {
	w := v.world
	volts := w.recorder.clean("power/voltage")
	out := &v.report.Battery
	if w.recorder.clean("power/battery") != nil {
		out.ID = w.scenario.battery
	}
	if volts == nil || len(volts.v) == 0 {
		return
	}
	lowest, at := math.Inf(1), 0.0
	for i, u := range volts.v {
		if u < lowest {
			lowest, at = u, schemas.Seconds(volts.t[i])
		}
	}
	if !math.IsInf(lowest, 0) {
		out.LowestV, out.LowestAtS = schemas.Some(lowest), schemas.Some(at)
	}
	if w.rested(volts) {
		out.RestV = schemas.Some(w.restV)
	}
	whole := w.recorder.clean("power/current")
	if whole != nil && len(whole.v) > 0 {
		peak := math.Inf(-1)
		for _, i := range whole.v {
			peak = max(peak, i)
		}
		out.PeakA = schemas.Some(peak)
		out.EnergyWh = schemas.Some((w.atBell.energy - w.atStart.energy) / 3600)
		out.ChargeAh = schemas.Some((w.atBell.drawn - w.atStart.drawn) / 3600)
	}
	if current := v.loadCurrent(); current != nil && w.drawn.steps > 0 && w.excited(current) {
		ohms, noLoad := w.drawn.resistance(), w.drawn.noLoad(current != whole)
		out.ResistanceOhm, out.OpenCircuitV = schemas.Some(ohms), schemas.Some(noLoad)
		if w.supply.contact == nil { // what a contact that moves takes is no relaxation
			out.Resistance1sOhm = schemas.Some(w.drawn.resistance1s())
		} else if low, high := w.drawn.contacts(); high > low {
			out.LooseLowOhm, out.LooseHighOhm = schemas.Some(low), schemas.Some(high)
		}
		out.BrownoutA = schemas.Some((noLoad - w.supply.cutOff) / ohms)
	}
	v.brownouts(volts)
}

// A robot is at rest when for restS nothing but its computer draws: a few amperes, steady.
const (
	restA      = 5.0
	restSwingA = 1.5
)

// rested says whether the log shows the battery at true rest before the match.
func (w *world) rested(volts *clean) bool {
	if math.IsNaN(w.restV) || w.drawn.restSteps == 0 || w.drawn.restMost > restA || w.drawn.restMost-w.drawn.restLeast > restSwingA {
		return false
	}
	start := int(w.scenario.leadS / step)
	seen := 0
	for _, k := range volts.step {
		if start-int(restS/step) <= k && k < start {
			seen++
		}
	}
	return seen >= 10
}

// loadCurrent is what a line of voltage over current can be drawn against: the whole
// current, else the sum of the branches when all of them are logged, else nil.
func (v view) loadCurrent() *clean {
	rec := v.world.recorder
	if whole := rec.clean("power/current"); whole != nil && len(whole.v) > 0 {
		return whole
	}
	var all []*clean
	for i := range breakers(v.world) {
		b := rec.clean(branchID(i))
		if b == nil || len(b.v) == 0 {
			return nil
		}
		all = append(all, b)
	}
	if len(all) == 0 {
		return nil
	}
	sum := &clean{}
	next := make([]int, len(all)) // of each, the first sample after this time
	for k, at := range all[0].step {
		total, whole := 0.0, true
		for i, b := range all {
			for next[i] < len(b.step) && b.step[next[i]] <= at {
				next[i]++
			}
			if next[i] == 0 || float64(at-b.step[next[i]-1])*step > changeS {
				whole = false
				break
			}
			total += b.v[next[i]-1]
		}
		if whole {
			sum.t, sum.v, sum.step = append(sum.t, all[0].t[k]), append(sum.v, total), append(sum.step, at)
		}
	}
	return sum
}

// What it takes to tell a resistance: a change of 5 A within a tenth of a second lifts the
// voltage by 0.1 V at 0.02 ohm, about four times what a difference of two readings of
// 0.018 V noise is out by. One such change gives the resistance to about a quarter, eight
// give it to a tenth. Slower changes do not count, since relaxation hides in them.
const (
	changeA     = 5.0
	changeS     = 0.12
	changesS    = 0.5 // apart, to be two
	leastChange = 8
)

// excited says whether the current at its samples changes enough for that, while the match
// runs.
func (w *world) excited(current *clean) bool {
	changes, free := 0, int(w.opens/step)
	for i, k := range current.step {
		if k < free || k >= int(w.closes/step) {
			continue
		}
		for j := i + 1; j < len(current.step) && float64(current.step[j]-k)*step <= changeS; j++ {
			if math.Abs(current.v[j]-current.v[i]) >= changeA {
				changes++
				free = k + int(changesS/step)
				break
			}
		}
	}
	return changes >= leastChange
}
