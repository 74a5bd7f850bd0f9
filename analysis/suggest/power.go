package suggest

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// A 12 V lead-acid battery rests between 11.5 V (empty) and 13.2 V (full, just off the
// charger), and battery with wiring has 10 to 100 mOhm: common practice.
const (
	leastRestV, mostRestV = 11.3, 13.9
	leastOhm, mostOhm     = 0.005, 0.15
)

// amps are the signals that may be currents, with their changes within seconds.
type amps struct {
	s     *signal
	scale float64 // to A, of a signal without unit
	quick []float64
}

// mayBeCurrent says whether a signal may be a current of some A: it is near zero while
// nothing happens, and goes up further than down.
func (s *signal) mayBeCurrent() (scale float64, ok bool) {
	if !s.number() || !s.is(units.Current) || s.moving < 0.02 || s.few(4) {
		return 0, false
	}
	scale = 1
	if s.quantity == nil && s.q99 > 1000 {
		scale = 1e-3 // no motor of such a robot draws 1000 A (common practice: breakers of 40 A, a main of 120 A)
	}
	high, low := s.q99*scale, s.q01*scale
	if high < 1.5 || high > 500 || -low > 1.5*high {
		return 0, false
	}
	// A motor that holds an arm up draws while the robot stands; disabled it draws nothing.
	if !math.IsNaN(s.restLeast) && s.restLeast > 0.25*s.q99 {
		return 0, false
	}
	return scale, true
}

func (l *look) currents() []amps {
	var out []amps
	for _, s := range l.signals {
		if scale, ok := s.mayBeCurrent(); ok {
			out = append(out, amps{s, scale, quick(s.v)})
		}
	}
	return out
}

// supply are the ways to read voltage and whole current: together, since the one sags as the
// other flows.
func (l *look) supply(currents []amps) slot {
	out := slot{name: "supply"}
	for _, s := range l.signals {
		scale, odds, ok := s.mayBeSupply()
		if !ok {
			continue
		}
		odds += s.named("voltage", "battery")
		ref := scaled(s, scale, "mV")
		volts := quick(s.v)
		sag := (s.med - s.q01) * scale
		alone := use{role: "power.voltage", s: s, ref: ref, sure: 1, why: fmt.Sprintf("12 V class, sags to %.1f V under load", s.q01*scale)}
		best := math.Inf(-1)
		var with []option
		together := sumLeft(times(volts, -1), currents)
		for _, c := range currents {
			r := -alike(volts, c.quick)
			ohm := -dot(volts, c.quick) / math.Max(dot(c.quick, c.quick), 1e-12) * scale / c.scale
			if r < 0.4 || ohm < leastOhm || ohm > mostOhm {
				continue
			}
			adds := sumsUp(c, currents)
			fit := 7*r*r - 2.5 + adds
			if adds <= 0 && 1-r*r > 1.3*together+0.03 {
				fit -= 3 // several together explain the sag better than the one: it is not all
			}
			best = max(best, fit)
			with = append(with, option{odds: odds + fit + 0.7*c.s.named("current"), shares: false, uses: []use{alone, {
				role: "power.current", s: c.s, ref: scaled(c.s, c.scale, "mA"), sure: 1,
				why: fmt.Sprintf("the supply sags with it by %.0f mOhm", 1000*ohm),
			}}})
		}
		// Without any current that explains its dips, the sag has to speak alone.
		plain := odds
		switch {
		case sag > 0.5:
			plain++
		case sag < 0.1:
			plain -= 2
		}
		if best > 0 {
			plain += best - 3 // the whole current may be missing, and a branch explains most
		}
		out.options = append(out.options, option{odds: plain, uses: []use{alone}})
		out.options = append(out.options, with...)
	}
	return out
}

// sumLeft is what the best sum of currents leaves of the sag.
func sumLeft(sag []float64, currents []amps) float64 {
	var all []amps
	for _, c := range currents {
		all = append(all, amps{c.s, c.scale, times(c.quick, c.scale)})
	}
	g := newSums(sag, all, true)
	return g.left(g.choose())
}

// sumsUp says how much speaks for a current being the whole one that others add up to it, and
// against it that they do not though there are enough of them.
func sumsUp(c amps, currents []amps) float64 {
	var others []amps
	for _, o := range currents {
		if o.s != c.s {
			others = append(others, amps{o.s, o.scale, times(o.quick, o.scale)})
		}
	}
	mine := times(c.quick, c.scale)
	for _, o := range others {
		if dot(o.quick, o.quick) > 0.87*dot(mine, mine) {
			return -1.5 // the whole is more than any of its parts
		}
	}
	g := newSums(mine, others, false)
	switch left := g.left(g.choose()); {
	case left < 0.08:
		return 1.5
	case len(others) < 3:
		return 0
	default:
		return -1
	}
}

// mayBeSupply says whether a signal may be the supply voltage, in V or mV.
func (s *signal) mayBeSupply() (scale, odds float64, ok bool) {
	if !s.number() || !s.is(units.Voltage) || s.few(4) {
		return 0, 0, false
	}
	scale = 1
	if s.quantity == nil && s.med > 1000 {
		scale = 1e-3
	}
	rest := s.rest
	if math.IsNaN(rest) {
		rest = s.q95
	}
	rest *= scale
	if s.med*scale < 8.5 || s.med*scale > 14.5 || s.q99*scale > 16 || s.q01*scale < 2.5 {
		return 0, 0, false
	}
	odds = -2.5
	if leastRestV <= rest && rest <= mostRestV {
		odds += 1.5
	} else {
		odds -= 2
	}
	if s.quantity != nil {
		odds += 1.5
	}
	if s.lasting > 0.995 {
		odds -= 3 // loads come and go within a second
	}
	// A load pulls down; hardly anything pulls up.
	if down, up := s.med-s.q01, s.q99-rest/scale; down > 2*math.Max(up, 0) && down*scale > 0.15 {
		odds += 1.5
	}
	if s.q05 < s.rest-math.Max(3*s.restWide, 0.1/scale) {
		odds++ // and it does so when the robot works
	}
	return scale, odds, true
}

// scaled reads a signal without unit that is a thousand times too large.
func scaled(s *signal, scale float64, unit string) profile.Ref {
	if s.quantity != nil || scale == 1 {
		return profile.Ref{}
	}
	return profile.Ref{Unit: unit}
}

// branches are the currents whose plain sum is the whole one, found one after another: each
// time that which brings the sum nearest to the whole, and at the end those taken back or
// exchanged whose going brings it nearer still. A current that flows inside a controller is
// larger than what the breaker sees at low speed (the controller trades voltage for current),
// so it makes the sum come out worse than the branch does. Without a whole current the sag of
// the supply stands for it, up to a factor.
func (l *look) branches(currents []amps, whole, volts *signal) []slot {
	var target []float64
	free := false // the factor is not known
	switch {
	case whole != nil:
		for _, c := range currents {
			if c.s == whole {
				target = times(c.quick, c.scale)
			}
		}
	case volts != nil:
		target, free = times(quick(volts.v), -1), true
	}
	if target == nil {
		return nil
	}
	var from []amps
	for _, c := range currents {
		if c.s != whole {
			from = append(from, amps{c.s, c.scale, times(c.quick, c.scale)})
		}
	}
	g := newSums(target, from, free)
	in := g.choose()
	left := g.left(in)
	var out []slot
	for i, c := range from {
		was := in[i]
		other := g.without(in, i)
		odds := -3.0
		why := "does not belong to the sum"
		if was {
			gain := math.Log(other / left) // what the sum loses without it
			odds = math.Min(5, 12*gain-0.5)
			why = fmt.Sprintf("the branches' sum comes to %.0f %% of the whole current's changes with it", 100*(1-left))
			if free {
				odds = math.Min(1, 6*gain-1)
				why = "the supply sags with it as with the other branches"
			}
		}
		if left > 0.15 {
			odds -= 5 // the sum does not come out: something is missing, and anything may stand for it
		}
		if !free {
			odds += 0.5 * c.s.named("current")
		}
		out = append(out, slot{name: fmt.Sprint("branch ", c.s.at), options: []option{{
			odds: odds, shares: true,
			uses: []use{{role: "power.branches.current", of: c.s.at, s: c.s, ref: scaled(c.s, c.scale, "mA"), sure: 1, why: why}},
		}}})
	}
	return out
}

func times(x []float64, f float64) []float64 {
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v * f
	}
	return out
}

// sums compares sums of series with a whole, by inner products alone.
type sums struct {
	whole float64
	with  []float64   // of each with the whole
	gram  [][]float64 // of each two
	free  bool        // the sum may have a factor
}

func newSums(target []float64, from []amps, free bool) *sums {
	s := &sums{whole: math.Max(dot(target, target), 1e-12), free: free}
	for i, a := range from {
		s.with = append(s.with, dot(a.quick, target))
		row := make([]float64, len(from))
		for j := range i {
			row[j] = dot(a.quick, from[j].quick)
			s.gram[j][i] = row[j]
		}
		row[i] = dot(a.quick, a.quick)
		s.gram = append(s.gram, row)
	}
	return s
}

// left is the share of the whole's power that the sum of the chosen leaves.
func (s *sums) left(in []bool) float64 {
	with, own := 0.0, 0.0
	for i, a := range in {
		if !a {
			continue
		}
		with += s.with[i]
		for j, b := range in {
			if b {
				own += s.gram[i][j]
			}
		}
	}
	if s.free {
		if own <= 0 || with <= 0 {
			return 1
		}
		return math.Max(1e-4, 1-with*with/(own*s.whole))
	}
	return math.Max(1e-4, (s.whole-2*with+own)/s.whole)
}

// without is what the best sum without i leaves, another in its place or none.
func (s *sums) without(in []bool, i int) float64 {
	if !in[i] {
		return 1
	}
	in[i] = false
	best := s.left(in)
	for j := range in {
		if j != i && !in[j] {
			in[j] = true
			best = math.Min(best, s.left(in))
			in[j] = false
		}
	}
	in[i] = true
	return best
}

// choose adds, takes back and exchanges as long as less is left. It ends: left falls each time.
func (s *sums) choose() []bool {
	in := make([]bool, len(s.with))
	best := s.left(in)
	for {
		bi, bj, found := -1, -1, best*(1-1e-6)
		try := func(i, j int) {
			in[i] = !in[i]
			if j >= 0 {
				in[j] = !in[j]
			}
			if v := s.left(in); v < found {
				bi, bj, found = i, j, v
			}
			in[i] = !in[i]
			if j >= 0 {
				in[j] = !in[j]
			}
		}
		for i := range in {
			try(i, -1)
			for j := range i {
				if in[i] != in[j] {
					try(i, j)
				}
			}
		}
		if bi < 0 {
			return in
		}
		in[bi] = !in[bi]
		if bj >= 0 {
			in[bj] = !in[bj]
		}
		best = found
	}
}

// batteryName are the texts that may name a battery: one word all log long.
func (l *look) batteryName() slot {
	out := slot{name: "battery"}
	for _, s := range l.signals {
		if s.text == nil {
			continue
		}
		same := true
		for _, w := range s.text.V {
			same = same && w == s.text.V[0]
		}
		if !same || s.text.V[0] == "" || len(s.text.V[0]) > 24 {
			continue
		}
		odds := -2 + 1.4*s.named("battery")
		out.options = append(out.options, option{odds: odds, uses: []use{{
			role: "power.battery", s: s, sure: 1, why: fmt.Sprintf("the same text all log long (%q)", s.text.V[0]),
		}}})
	}
	return out
}

// twoValued says whether a signal is a state that is told as a bool or as 0 and 1.
func (s *signal) twoValued() bool {
	return s.num != nil && (s.kind == schemas.Bool || len(s.levels) == 2 && s.lo == 0 && s.hi == 1)
}
