package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// drives are the ways to read the drive command, given where the robot went.
func (l *look) drives(pose *planar) slot {
	out := slot{name: "drive"}
	var forward []float64
	if pose != nil {
		forward = along(pose)
	}
	for _, s := range l.signals {
		scale, ok := s.mayBeCommand()
		if !ok || s.few(12) {
			continue
		}
		odds := -2.5
		why := "a command of many values that goes both ways"
		if s.lo < -0.2*s.hi && s.hi < -5*s.lo {
			odds += 0.7
		}
		if forward != nil {
			like := later(filled(s.v), forward)
			odds += 8 * (math.Abs(like) - 0.4)
			why = fmt.Sprintf("the robot goes as it says (correlation %.2f)", like)
		} else {
			odds += 0.5
		}
		odds += s.named("drive", "command")
		ref := profile.Ref{}
		if scale != 1 && s.quantity == nil {
			ref.Unit = "%"
		}
		out.options = append(out.options, option{odds: odds, uses: []use{{role: "balance.drive", s: s, ref: ref, sure: 1, why: why}}})
	}
	return out
}

// along is the robot's speed in the direction of its heading, or without sign if there is none.
func along(p *planar) []float64 {
	vx, vy := slope(p.x.v), slope(p.y.v)
	out := make([]float64, len(vx))
	rad := 1.0
	if p.turn == "deg" {
		rad = math.Pi / 180
	}
	for i := range out {
		if p.heading == nil || math.IsNaN(p.heading.v[i]) {
			out[i] = math.Hypot(vx[i], vy[i])
			continue
		}
		h := p.heading.v[i] * rad
		out[i] = vx[i]*math.Cos(h) + vy[i]*math.Sin(h)
	}
	return out
}

// later is the strongest correlation of an answer with what it answers, up to half a second
// before.
func later(cause, answer []float64) float64 {
	best := 0.0
	for lag := 0; lag <= int(0.5*perSec); lag += 2 {
		if lag >= len(cause) {
			break
		}
		if r := alike(cause[:len(cause)-lag], answer[lag:]); math.Abs(r) > math.Abs(best) {
			best = r
		}
	}
	return best
}

// mayBeCommand says whether a signal may be a command from -1 to 1, or in per cent: it is
// exactly zero while nothing happens.
func (s *signal) mayBeCommand() (scale float64, ok bool) {
	if !s.number() || !s.is(units.Ratio) || len(s.levels) < 2 || s.kind == schemas.Int64 && s.hi <= 1 {
		return 0, false
	}
	scale = 1
	most := math.Max(s.hi, -s.lo)
	if s.quantity == nil && most > 1.5 {
		scale = 0.01
	}
	if most*scale > 1.001 || most*scale < 0.1 || s.twoValued() {
		return 0, false
	}
	if s.returns() < 3 {
		return 0, false // a counter is no command
	}
	if math.IsNaN(s.rest) {
		return scale, true
	}
	return scale, s.restZero > 0.4 // a stage may be driven while the robot stands; a disabled one is not
}

// returns is how often the signal comes back to zero.
func (s *signal) returns() int {
	n := 0
	for i := 1; i < len(s.num.V); i++ {
		if s.num.V[i] == 0 && s.num.V[i-1] != 0 {
			n++
		}
	}
	return n
}

// kinship is kin with the log's own word counts.
func (l *look) kinship(a, b *signal) float64 { return kin(a, b, l.names, len(l.signals)) }

// assists are the states that may say that the robot lines up by itself: true for some seconds
// now and then, just before a piece is let go. Much else is too, so that the name has to help.
func (l *look) assists(left []int64) slot {
	out := slot{name: "assist"}
	for _, s := range l.signals {
		if !s.twoValued() || s.changes < 4 || s.changes > 120 || duty(s) > 0.4 {
			continue
		}
		var ends []int64
		for i := 1; i < len(s.num.V); i++ {
			if s.num.V[i] < s.num.V[i-1] {
				ends = append(ends, s.num.T[i])
			}
		}
		odds := -3.5 + s.named("assist")
		if len(left) > 0 {
			odds += 2 * (after(ends, left, 4) - 0.5)
		}
		out.options = append(out.options, option{odds: odds, uses: []use{{role: "cycles.align.assist", s: s, sure: 1, why: "true for some seconds before pieces are let go"}}})
	}
	return out
}

// after is the share of the causes that have one of the events at most most s behind.
func after(causes, events []int64, most float64) float64 {
	hit := 0
	for _, c := range causes {
		for _, e := range events {
			if d := float64(e-c) / 1e6; d >= -0.2 && d <= most {
				hit++
				break
			}
		}
	}
	return float64(hit) / float64(max(1, len(causes)))
}
