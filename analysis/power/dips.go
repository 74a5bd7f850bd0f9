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
	unseen      int64 // all gaps in it, µs
	before      int64 // the gap just before its first sample, µs, 0 when the voltage was read up to there
	begun       bool  // the log begins within it
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
			d := dip{start: c.T[i], end: c.T[i], minV: v, minAt: c.T[i], begun: i == 0}
			if i > 0 && !c.known(i-1) {
				d.before = c.T[i] - c.T[i-1]
			}
			out = append(out, d)
			open = true
			continue
		}
		d := &out[len(out)-1]
		d.end = c.T[i]
		switch {
		case !c.known(i - 1):
			d.silence = max(d.silence, c.T[i]-c.T[i-1])
			d.unseen += c.T[i] - c.T[i-1]
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
		VoltSeconds: d.voltSeconds, UnseenS: schemas.Seconds(d.unseen + d.before), Length: d.length(),
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

// length is the word of IEEE 1159-2019 for how long a sag of the supply lasts, at 60 Hz; a
// length on the edge belongs to the shorter. Empty when the log begins or ends within the dip,
// or a gap leaves open which it is.
func (d dip) length() string {
	if d.begun || !d.ended {
		return ""
	}
	word := lengthWord(schemas.Seconds(d.end - d.start - d.unseen))
	if word != lengthWord(schemas.Seconds(d.end-d.start+d.before)) {
		return ""
	}
	return word
}

func lengthWord(seconds float64) string {
	const cycle = 1 / 60.0
	switch {
	case seconds < cycle/2:
		return schemas.LengthTransient
	case seconds <= 30*cycle:
		return schemas.LengthInstantaneous
	case seconds <= 3:
		return schemas.LengthMomentary
	case seconds <= 60:
		return schemas.LengthTemporary
	}
	return schemas.LengthLong
}
