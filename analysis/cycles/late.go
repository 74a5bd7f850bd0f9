package cycles

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// countedLate says by how much later than usual each score was counted after its piece had left
// the robot: a piece rolls on, a counter waits. That is part of the cycle, which lasts from count to
// count, and no loss of the robot's. n is how many were, mostS the latest of them.
func countedLate(all []cycle, cfg Config) (n int, mostS float64) {
	var lags []float64
	for i := range all {
		if lag, ok := all[i].lagS(); ok {
			lags = append(lags, lag)
		}
	}
	if len(lags) < cfg.LeastLegs {
		return 0, 0
	}
	usual := stat.Median(lags)
	for i := range all {
		if lag, ok := all[i].lagS(); ok && lag-usual > cfg.CountLateS {
			all[i].lateS = lag - usual
			n, mostS = n+1, max(mostS, lag-usual)
		}
	}
	return n, mostS
}

// lagS is how long after its last piece had left the robot a cycle was counted, s.
func (c *cycle) lagS() (lag float64, ok bool) {
	if c.Kind != schemas.CycleScore || !c.Complete || !c.hasPiece || c.trips > 1 || c.left < c.start {
		return 0, false
	}
	return schemas.Seconds(c.end - c.left), true
}

// done is when the robot was done with the cycle, as far as counters usually follow, µs.
func (c *cycle) done() int64 { return c.end - schemas.Micros(c.lateS) }
