package power

import (
	"github.com/afterbell/afterbell/schemas"
)

// dip is one stretch of low voltage by the rule of IEC 61000-4-30: it begins with the
// first sample under the threshold and ends with the first at or over threshold plus
// hysteresis; its residual voltage is the lowest in it.
type dip struct {
	start       int64
	end         int64 // of the first sample back, or the last sample when the log ends first
	ended       bool
	minV        float64
	minAt       int64
	voltSeconds float64
	silence     int64 // longest gap in it, µs
}

// dips are the dips of a voltage in order of time. leave under enter means no hysteresis.
//
// voltSeconds is the area between the voltage and enter where the voltage is under it,
// straight from sample to sample, from the first sample under to the first one back; a gap
// adds nothing, for nobody knows how low it was then.
func dips(c trace, enter, leave float64) []dip {
	leave = max(leave, enter)
	var out []dip
	open := false
	for i, v := range c.V {
		if !open && v >= enter {
			continue
		}
		if !open {
			out = append(out, dip{start: c.T[i], end: c.T[i], minV: v, minAt: c.T[i]})
			open = true
			continue
		}
		d := &out[len(out)-1]
		d.end = c.T[i]
		switch {
		case !c.known(i - 1):
			d.silence = max(d.silence, c.T[i]-c.T[i-1])
		case c.T[i]-c.T[i-1] > c.limit: // held
			d.voltSeconds += schemas.Seconds(c.T[i]-c.T[i-1]) * max(0, enter-c.V[i-1])
		default:
			d.voltSeconds += under(enter, c.V[i-1], v) * schemas.Seconds(c.T[i]-c.T[i-1])
		}
		if v >= leave {
			d.ended, open = true, false
			continue
		}
		if v < d.minV {
			d.minV, d.minAt = v, c.T[i]
		}
	}
	return out
}

// under is the mean depth below level of a straight line from a to b.
func under(level, a, b float64) float64 {
	a, b = level-a, level-b
	switch {
	case a >= 0 && b >= 0:
		return (a + b) / 2
	case a <= 0 && b <= 0:
		return 0
	case a > 0:
		return a * a / (a - b) / 2
	default:
		return b * b / (b - a) / 2
	}
}

func (d dip) report(periods []schemas.Period) schemas.Brownout {
	b := schemas.Brownout{
		StartS: schemas.Seconds(d.start), MinV: d.minV, MinAtS: schemas.Seconds(d.minAt),
		VoltSeconds: d.voltSeconds,
	}
	if d.ended {
		b.EndS = schemas.Some(schemas.Seconds(d.end))
	}
	for _, p := range periods {
		if p.StartS <= b.StartS && b.StartS < p.EndS {
			b.Period = p.Name
		}
	}
	return b
}
