package sim

import "github.com/afterbell/afterbell/schemas"

// withoutS is how long before a dip a branch is taken away, s: what it drew then is still in
// the voltage as relaxation. Chosen by us.
const withoutS = 0.05

// without says of each branch of a dip of those steps of the voltage's samples whether it
// would have come without that branch, and the highest limit on it that would have kept it
// away: the battery as it was, the same connections, and the same currents but that one's.
func (b *blame) without(w *world, out *schemas.Brownout, steps []int) {
	if len(out.Branches) == 0 {
		return
	}
	rec := &w.drawn
	from := max(0, steps[0]-int(withoutS/step))
	before := rec.upTo(&b.reached, from)
	holds := func(branch []float32, limit float64) bool {
		battery, next := before, 0
		for k := from; k <= steps[len(steps)-1]; k++ {
			amps := rec.current[k] - max(0, float64(branch[k])-limit)
			volts := battery.emf() - rec.ohms(battery, k)*amps
			for ; next < len(steps) && steps[next] == k; next++ {
				if volts < w.supply.cutOff {
					return false
				}
			}
			battery.draw(amps, volts, step)
		}
		return true
	}
	for i, branch := range breakers(w) {
		for n := range out.Branches {
			s := &out.Branches[n]
			if s.Name != branch.name {
				continue
			}
			s.Necessary = schemas.NecessaryNo
			if !holds(rec.inputs[i], 0) {
				continue
			}
			s.Necessary = schemas.NecessaryYes
			low, high := 0.0, 0.0 // a limit that holds, and one that is none
			for k := from; k <= steps[len(steps)-1]; k++ {
				high = max(high, float64(rec.inputs[i][k]))
			}
			for high-low > 0.05 {
				if middle := (low + high) / 2; holds(rec.inputs[i], middle) {
					low = middle
				} else {
					high = middle
				}
			}
			s.LimitA = schemas.Some(low)
		}
	}
}
