package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// steady says whether a signal is a measured quantity that moves bit by bit.
func (s *signal) steady() bool {
	return s.number() && s.moving > 0.03 && !s.few(12)
}

// planar is a way to read x and y, with or without heading.
type planar struct {
	x, y, heading *signal
	odds          float64
	unit          string
	turn          string // unit of the heading
	why           string
	fit           float64 // how well the heading is the direction of travel, -1 to 1
}

// fields: a robot drives up to 6 m/s and rarely less than 0.5 at its fastest (common
// practice), on a field of 5 to 20 m.
var lengthUnits = []struct {
	unit  string
	metre float64
}{{"", 1}, {"mm", 1e-3}, {"cm", 1e-2}, {"in", 0.0254}, {"ft", 0.3048}}

// poses are the ways to read the pose.
func (l *look) poses() (slot, []planar) {
	out := slot{name: "pose"}
	var turners []*signal
	for _, s := range l.signals {
		if s.steady() && s.is(units.Angle) && s.lasting > 0.8 {
			turners = append(turners, s)
		}
	}
	var all []planar
	movers := l.movers()
	for i, a := range movers {
		for _, b := range movers[i+1:] {
			all = append(all, l.pairs(a, b, turners)...)
		}
	}
	for _, p := range all {
		out.options = append(out.options, l.offer(p))
	}
	return out, all
}

// mover is a signal that may be a way travelled.
type mover struct {
	s     *signal
	speed []float64
	fast  float64 // the 97 % quantile of its size
}

func (l *look) movers() []mover {
	var out []mover
	for _, s := range l.signals {
		if !s.steady() || !s.is(units.Length) || s.lasting < 0.97 {
			continue
		}
		v := slope(s.v)
		fast := stat.Quantile(0.97, absolute(v))
		if fast > 0 && s.hi-s.lo > fast { // it goes on for more than a second: a way, not a jerk
			out = append(out, mover{s, v, fast})
		}
	}
	return out
}

// pairs are the ways in which two movers may be x and y of one robot: those stand still together
// and cover distances of one size.
func (l *look) pairs(a, b mover, turners []*signal) []planar {
	ratio := math.Abs(math.Log(a.fast / b.fast))
	if ratio > math.Log(12) {
		return nil
	}
	together := stillTogether(a.speed, b.speed, a.fast, b.fast)
	unit, plausible := bestLength(a.s, b.s, a.fast, b.fast)
	odds := -4.5 + 3*together - 0.5*ratio + plausible
	var out []planar
	if h, turn, fit, sense := l.headingOf(a.speed, b.speed, turners, a.s, b.s); h != nil {
		x, y := a.s, b.s
		if sense < 0 {
			x, y = y, x
		}
		out = append(out, planar{x, y, h, odds + 12*(fit-0.35), unit, turn, "", fit})
	}
	for _, p := range []planar{{x: a.s, y: b.s}, {x: b.s, y: a.s}} {
		// A field is usually longer than wide and x runs along it (common practice).
		long := math.Log((p.x.q99 - p.x.q01) / math.Max(p.y.q99-p.y.q01, 1e-9))
		p.odds, p.unit = odds+math.Max(-0.8, math.Min(0.8, long)), unit
		out = append(out, p)
	}
	return out
}

// offer is a pose as an option, with what speaks for it in names.
func (l *look) offer(p planar) option {
	ref, with := profile.Ref{}, "moves and stands together with %s at a robot's speed"
	if p.x.quantity == nil {
		ref.Unit = p.unit
	}
	if p.heading != nil {
		with = "with %s and heading it makes one way"
	}
	out := option{odds: p.odds + p.x.named("x") + p.y.named("y") + 0.5*l.kinship(p.x, p.y), uses: []use{
		{role: "cycles.pose.x", s: p.x, ref: ref, sure: 1, why: fmt.Sprintf(with, "y")},
		{role: "cycles.pose.y", s: p.y, ref: ref, sure: 1, why: fmt.Sprintf(with, "x")},
	}}
	if p.heading != nil {
		turn := profile.Ref{}
		if p.heading.quantity == nil {
			turn.Unit = p.turn
		}
		out.odds += p.heading.named("heading")
		out.uses = append(out.uses, use{role: "cycles.pose.heading", s: p.heading, ref: turn, sure: 1, why: fmt.Sprintf("it is the direction of travel (agreement %.2f of 1)", p.fit)})
	}
	return out
}

func absolute(x []float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = math.Abs(v)
	}
	return out
}

// stillTogether is how much more often two signals stand still together than by chance: the
// correlation (phi) of their standing.
func stillTogether(a, b []float64, fa, fb float64) float64 {
	var n [2][2]float64
	for i := range a {
		x, y := 0, 0
		if math.Abs(a[i]) > 0.06*fa {
			x = 1
		}
		if math.Abs(b[i]) > 0.06*fb {
			y = 1
		}
		n[x][y]++
	}
	d := (n[0][0] + n[0][1]) * (n[1][0] + n[1][1]) * (n[0][0] + n[1][0]) * (n[0][1] + n[1][1])
	if d == 0 {
		return 0
	}
	return (n[0][0]*n[1][1] - n[0][1]*n[1][0]) / math.Sqrt(d)
}

// bestLength is the unit of length in which speed and way are a robot's, and how plausible
// that is.
func bestLength(a, b *signal, fa, fb float64) (unit string, odds float64) {
	fast, wide := math.Hypot(fa, fb), math.Max(a.q99-a.q01, b.q99-b.q01)
	best := math.Inf(-1)
	for i, u := range lengthUnits {
		if a.quantity != nil && i > 0 {
			break // converted already
		}
		// Log-normal about 2 m/s and 8 m, a factor of 2 wide: chosen by us.
		z1, z2 := math.Log(fast*u.metre/2)/math.Ln2, math.Log(wide*u.metre/8)/math.Ln2
		p := -(z1*z1 + z2*z2) / 2
		if i > 0 {
			p -= 1.5 // SI unless it cannot be
		}
		if p > best {
			best, unit = p, u.unit
		}
	}
	return unit, 1.5 + best/2
}

// headingOf is the signal that is the direction of travel of (a, b), if one is: fit is the
// mean of cos 2(direction - heading) where the robot moves, the double angle because it may
// drive backwards. sense is 1 when a is x, -1 when b is.
func (l *look) headingOf(va, vb []float64, turners []*signal, a, b *signal) (best *signal, unit string, fit, sense float64) {
	var speeds []float64
	for i := 0; i < len(va); i += 5 {
		speeds = append(speeds, math.Hypot(va[i], vb[i]))
	}
	fast := stat.Quantile(0.98, speeds) // a place that is set anew jumps
	var at []int
	for i := 0; i < len(va); i += 5 {
		if math.Hypot(va[i], vb[i]) > 0.3*fast {
			at = append(at, i)
		}
	}
	if len(at) < int(2*perSec)/5 {
		return nil, "", 0, 0
	}
	for _, h := range turners {
		if h == a || h == b {
			continue
		}
		for _, u := range []struct {
			unit string
			rad  float64
		}{{"", 1}, {"deg", math.Pi / 180}} {
			if h.quantity != nil && u.unit != "" {
				break
			}
			same, swapped := 0.0, 0.0
			for _, i := range at {
				if math.IsNaN(h.v[i]) {
					continue
				}
				d := math.Atan2(vb[i], va[i])
				t := h.v[i] * u.rad
				same += math.Cos(2 * (d - t))
				swapped += math.Cos(2 * (math.Pi/2 - d - t))
			}
			same, swapped = same/float64(len(at)), swapped/float64(len(at))
			if same > fit {
				best, unit, fit, sense = h, u.unit, same, 1
			}
			if swapped > fit {
				best, unit, fit, sense = h, u.unit, swapped, -1
			}
		}
	}
	// A signal that hardly turns may be any constant: it must have turned for the fit to count.
	if best != nil {
		rad := 1.0
		if unit == "deg" {
			rad = math.Pi / 180
		}
		if (best.q95-best.q05)*rad < 0.3 {
			fit *= 0.6
		}
	}
	return best, unit, fit, sense
}

// scaledLength reads a distance without unit that is too large for metres.
func scaledLength(s *signal) profile.Ref {
	switch {
	case s.quantity != nil || s.q95 < 8:
		return profile.Ref{}
	case s.q95 > 400:
		return profile.Ref{Unit: "mm"}
	case s.q95 > 80:
		return profile.Ref{Unit: "cm"}
	default:
		return profile.Ref{Unit: "in"}
	}
}
