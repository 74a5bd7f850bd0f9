package together

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/ingest/clock"
)

// restartBound is what a collector's own clock may be off by between two of its runs; chosen by
// us.
const restartBound = second

// byClocks tells the shift by the clocks of both: of one power-up, or fitted against one
// collector.
func byClocks(first, other Part) (Found, bool) {
	for _, a := range first.Clock {
		for _, b := range other.Clock {
			if a.Boot != "" && a.Boot == b.Boot && a.Source == b.Source {
				f := Found{Verdict: Sure, By: ByClock, Clock: fmt.Sprintf("the clock of power-up %s, which is that of both", a.Boot)}
				f.Shift.ShiftUS = a.ShiftUS - b.ShiftUS
				return f, true
			}
		}
	}
	best, ok := Found{}, false
	for _, a := range first.Clock {
		for _, b := range other.Clock {
			f, fits := byFits(first, other, a, b)
			if fits && (!ok || f.Shift.BoundUS < best.Shift.BoundUS) {
				best, ok = f, true
			}
		}
	}
	return best, ok
}

// byFits is the shift by the fits of two power-ups. An offset holds at the start of its match,
// and its drift takes it from there to where both are.
func byFits(first, other Part, a, b clock.BootMeta) (Found, bool) {
	if a.Collector == "" || a.Collector != b.Collector || !a.Fitted() || !b.Fitted() {
		return Found{}, false
	}
	f := Found{Verdict: Sure, By: ByClock, Clock: "how both clocks ran against the collector's"}
	// Collector time less file time.
	of := func(c clock.BootMeta) float64 { return *c.OffsetUS - float64(c.ShiftUS) }
	f.Shift.ShiftUS = int64(math.Round(of(b) - of(a)))
	bound := *a.BoundUS + *b.BoundUS
	from, _, _ := first.Log.Bounds()
	begin, _, _ := other.Log.Bounds()
	apart := math.Abs(float64(begin + f.Shift.ShiftUS - from))
	bound += math.Abs(*a.DriftPPM-*b.DriftPPM) * 1e-6 * apart
	if a.Run != b.Run {
		bound += float64(restartBound)
		f.Clock += ", which was started anew in between"
	}
	f.Shift.BoundUS = int64(math.Ceil(bound))
	return f, true
}
