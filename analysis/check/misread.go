package check

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Misread is a signal that the profile reads wrongly: no robot is, flows or goes as it then says.
type Misread struct {
	Signal string
	Place  string
	Doubt
}

// Misreads are those of a profile and a log that no robot explains. Look finds them too, and much
// that a robot may explain.
func Misreads(p *profile.Profile, log *schemas.Log) []Misread {
	var out []Misread
	c := &looking{profile: p, log: log}
	for _, r := range p.Refs() {
		if limitOf(r) == 0 {
			continue
		}
		s, b := c.look(r)
		c.seen, c.bound = []Seen{s}, []bound{b}
		if d, ok := c.misread(0, &c.bound[0]); ok {
			out = append(out, Misread{Signal: r.Ref.Signal, Place: r.Place, Doubt: d})
		}
	}
	return out
}

// Flat is how far the robot leans in a log, deg, if that is so little that it was on flat ground
// all along, or else its tilt is in radians and read as degrees.
func Flat(p *profile.Profile, log *schemas.Log) (deg float64, ok bool) {
	c := &looking{profile: p, log: log}
	for _, r := range p.Refs() {
		if r.Role != "balance.tilt" {
			continue
		}
		if _, b := c.look(r); b.num != nil && len(b.num.V) > 0 {
			most := math.Max(quantile(0.995, b.num), -quantile(0.005, b.num))
			return most, b.likeRadians(most)
		}
	}
	return 0, false
}

// likeRadians is whether a tilt that is read as degrees, without a unit that says so, may be in
// radians: a platform tips by some 10 deg, and flat ground by no more than that many hundredths.
func (b *bound) likeRadians(most float64) bool {
	return b.Ref.Unit == "" && b.signal.Unit == "" && b.Ref.Scale == nil && most > 0.03 && most < 0.7
}

// limitOf is what the readings of a role are never far beyond, in its unit; 0 for none.
func limitOf(r profile.NamedRef) float64 {
	switch {
	case r.Role == "power.voltage":
		return 60 // V: the limit of extra-low voltage for dc, IEC 61140; no robot of this kind is supplied with more
	case r.Unit.Symbol == "A":
		return 1000 // A; chosen by us, ten times what such a robot's main breaker carries (common practice)
	case r.Unit.Symbol == "1":
		return 1.0001 // of full command
	case r.Role == "balance.tilt":
		return 90 // deg
	case r.Role == "cycles.pose.x", r.Role == "cycles.pose.y":
		return 100 // m; a field is some ten metres wide (common practice)
	case r.Role == "cycles.align.error":
		return 30 // m; chosen by us
	}
	return 0
}

// misread is whether the i-th signal's readings are beyond the limit of their role but for a few,
// and what to do.
func (c *looking) misread(i int, b *bound) (Doubt, bool) {
	limit := limitOf(b.NamedRef)
	if limit == 0 || b.num == nil || len(b.num.V) == 0 {
		return Doubt{}, false
	}
	low, high := *c.seen[i].Low, *c.seen[i].High
	if math.Max(math.Max(high, -low), high-low) <= limit {
		return Doubt{}, false // no reading is: that is quick to see
	}
	is := func(do, what string, args ...any) (Doubt, bool) {
		return Doubt{What: fmt.Sprintf(what, args...), Do: do}, true
	}
	unit := func(u string) string { return written(b.Ref, "unit: "+u) }
	switch {
	case b.Role == "power.voltage":
		switch usual := quantile(0.5, b.num); {
		case usual > 1000:
			return is(unit("mV"), "the supply is at %.0f V: it is in mV", usual)
		case usual > limit:
			return is("set its unit or scale", "the supply is at %.0f V, which no robot has", usual)
		}
	case b.Unit.Symbol == "A":
		if most := math.Max(quantile(0.99, b.num), -quantile(0.01, b.num)); most > limit {
			return is(unit("mA"), "it flows up to %.0f A: it is in mA", most)
		}
	case b.Unit.Symbol == "1":
		// A loop may ask for more than there is now and then: most of what it asks must be too much.
		if stat.Median(asked(b.num.V)) > limit {
			return tooMuch(b, low, high), true
		}
	case b.Role == "balance.tilt":
		if most := math.Max(quantile(0.995, b.num), -quantile(0.005, b.num)); most > limit {
			return is("set its unit or scale, or name another signal", "the robot leans by %.0f deg", most)
		}
	case b.Role == "cycles.pose.x", b.Role == "cycles.pose.y":
		switch wide := quantile(0.99, b.num) - quantile(0.01, b.num); {
		case wide > 10*limit:
			return is(unit("mm"), "the robot goes %.0f m: it is in mm", wide)
		case wide > limit:
			return is(unit("in")+", or cm", "the robot goes %.0f m, which is no field", wide)
		}
	case b.Role == "cycles.align.error":
		if most := quantile(0.95, b.num); most > limit {
			return is(unit("mm")+" if it is in mm", "the aiming error is up to %.0f m", most)
		}
	}
	return Doubt{}, false
}

// asked are the sizes of what is not nothing.
func asked(v []float64) []float64 {
	var out []float64
	for _, x := range v {
		if x != 0 {
			out = append(out, math.Abs(x))
		}
	}
	return out
}

// tooMuch is what a command that goes beyond full may be in.
func tooMuch(b *bound, low, high float64) Doubt {
	what := fmt.Sprintf("it goes from %.4g to %.4g", low, high)
	switch most := math.Max(high, -low); {
	case most <= 15:
		return Doubt{what + "; a command is from -1 to 1", written(b.Ref, fmt.Sprintf("scale: %.3g", 1/roundUp(most))) + "; to 12 it is most likely in volts"}
	case most <= 100.01:
		return Doubt{what + ": it is in per cent", written(b.Ref, `unit: "%"`)}
	default:
		return Doubt{what + "; a command is from -1 to 1", written(b.Ref, fmt.Sprintf("scale: %.3g", 1/most)) + ", with the value that means full"}
	}
}
