package motors

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// thermal is the heat memory of a winding after IEC 60255-149: with a steady current it
// runs towards (current / limit)² with the time constant, and 1 is as warm as the limit
// makes it in the end. Cold is 0.
type thermal struct {
	limitA, tauS float64
	heat         float64
}

// step takes amps for dt seconds. Within a step the current is steady, so the answer is
// exact however long the step.
func (h *thermal) step(amps, dt float64) {
	end := amps / h.limitA * (amps / h.limitA)
	h.heat = end + (h.heat-end)*math.Exp(-dt/h.tauS)
}

// tellHeat writes how warm the motor came beside the profile's limit, from cold at the log's
// begin. While nothing was read it is taken to cool, so the true value may be higher.
func (r *record) tellHeat(row *schemas.Motor, cfg Config) {
	if !(r.LimitA > 0 && r.TauS > 0) {
		return
	}
	h := thermal{limitA: r.LimitA, tauS: r.TauS}
	most, at := 0.0, r.rows[0].t
	for k := range r.rows {
		x := &r.rows[k]
		h.step(r.inWinding(x, &cfg), x.dt)
		if h.heat > most {
			most, at = h.heat, x.t
		}
		if k+1 < len(r.rows) {
			h.step(0, float64(r.rows[k+1].t-x.t)/1e6-x.dt)
		}
	}
	row.LimitA, row.TauS = schemas.Some(r.LimitA), schemas.Some(r.TauS)
	row.Heat, row.HeatAtS = schemas.Some(most), schemas.Some(schemas.Seconds(at))
}

// tellDraw writes what the motor drew: while it ran lightly, at rest, at most, and the steady
// current that would have warmed it as much.
func (r *record) tellDraw(row *schemas.Motor) {
	var squares, lasted, peak float64
	for k := range r.rows {
		x := &r.rows[k]
		if x.off {
			continue
		}
		squares, lasted, peak = squares+x.i*x.i*x.dt, lasted+x.dt, max(peak, math.Abs(x.i))
	}
	if lasted > 0 {
		row.RmsA, row.PeakA = schemas.Some(math.Sqrt(squares/lasted)), schemas.Some(peak)
	}
	row.FreeA = schemas.Some(r.free)
	if r.rested {
		row.RestA = schemas.Some(r.zero)
	}
}
