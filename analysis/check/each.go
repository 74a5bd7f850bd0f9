package check

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// each looks at every mapped signal by itself.
func (c *looking) each() {
	for i := range c.bound {
		b := &c.bound[i]
		switch {
		case b.sensor():
			c.beam(i, b)
		case b.Role == "mode.signal":
			c.mode(i, b)
		case b.Role == "mode.enabled":
			c.enabled(i, b)
		case b.Want == profile.WantCounter:
			c.counter(i, b)
		}
		if b.num == nil || len(b.num.V) == 0 {
			continue
		}
		if d, ok := c.misread(i, b); ok {
			c.seen[i].Doubts = append(c.seen[i].Doubts, d)
			continue
		}
		switch {
		case b.Role == "power.voltage":
			c.voltage(i, b)
		case b.Unit.Symbol == "A":
			c.current(i, b)
		case b.Unit.Symbol == "1":
			c.command(i, b)
		case b.Role == "balance.tilt":
			c.tilt(i, b)
		case b.Role == "cycles.pose.heading":
			c.heading(i, b)
		case b.Role == "cycles.pose.x", b.Role == "cycles.pose.y":
			if quantile(0.99, b.num) == quantile(0.01, b.num) {
				c.doubt(i, "see whether the robot knows where it is", "the place never changes")
			}
		}
	}
}

func (c *looking) beam(i int, b *bound) {
	if b.state == nil || len(b.state.T) == 0 {
		return
	}
	share, passes := *c.seen[i].TrueShare, *c.seen[i].Passes
	analogue := b.signal.Kind == schemas.Float64 && distinct(b.signal, 3) > 2
	threshold := b.Ref.Below != nil || b.Ref.Above != nil
	switch {
	case analogue && !threshold:
		lo, hi := numbers(b.signal)
		c.doubt(i, fmt.Sprintf("give it a threshold: {signal: %s, below: %.3g}, or above: where it reads high at a piece", b.Ref.Signal, (lo+hi)/2),
			"it reads %.4g to %.4g, and counts as blocked whenever it is not 0", lo, hi)
	case passes == 0 && threshold:
		lo, hi := numbers(b.signal)
		c.doubt(i, "set the threshold between what it reads with and without a piece", "it never comes past its threshold: it reads %.4g to %.4g as sent", lo, hi)
	case passes == 0:
		c.doubt(i, "see whether it is plugged in, and whether a piece came this far in this log", "it was never blocked")
	case share > 0.6:
		do := written(b.Ref, "invert: true")
		if b.Ref.Invert {
			do = "take invert: true away"
		}
		if threshold {
			do = "exchange below and above"
		}
		c.doubt(i, do+", if it is true while nothing is there", "it was blocked %.0f %% of the time; a beam is clear most of it", 100*share)
	}
}

func (c *looking) mode(i int, b *bound) {
	if b.text == nil || len(b.text.V) == 0 {
		return
	}
	m := c.profile.Mode
	had := map[string]bool{}
	for k := range c.seen[i].Words {
		w := &c.seen[i].Words[k]
		mode, known := m.Of(w.Word)
		w.Mode = mode
		had[mode] = had[mode] || known
		if !known {
			c.doubt(i, "put it under disabled, autonomous or driver in mode.values", "value %q (%.0f %% of the time) stands in none of mode.values and counts as disabled", w.Word, 100*w.Share)
		}
	}
	if !had[schemas.PeriodAutonomous] && !had[schemas.PeriodDriver] {
		c.doubt(i, "take a log of a match, or see which signal says when the robot is driven", "it says neither autonomous nor driver in this log: there is no match in it")
	}
}

func (c *looking) enabled(i int, b *bound) {
	if b.state == nil || len(b.state.T) == 0 {
		return
	}
	switch share := *c.seen[i].TrueShare; {
	case share == 0:
		c.doubt(i, "take a log of a match, or "+written(b.Ref, "invert: true"), "it is never true: the robot would never be in a match")
	case share == 1 && len(b.state.T) > 1:
		c.doubt(i, "see whether it is the right signal; a log of a match begins or ends disabled", "it is true all along")
	}
}

func (c *looking) counter(i int, b *bound) {
	if b.num == nil || len(b.num.V) == 0 {
		return
	}
	rises, resets := *c.seen[i].Rises, *c.seen[i].Resets
	seconds := float64(b.num.T[len(b.num.T)-1]-b.num.T[0]) / 1e6
	pulse := b.signal.Kind == schemas.Bool || *c.seen[i].High <= 1 && resets > 0
	switch {
	case rises == 0:
		c.doubt(i, "see whether a piece was counted in this log, and whether this is the counter", "it never climbs")
	case float64(rises) > 5+seconds/2:
		c.doubt(i, "see whether it is the right signal: no robot handles a piece in two seconds all match long", "it climbs by %d in %.0f s", rises, seconds)
	case !pulse && resets > 2 && resets > rises/4:
		c.doubt(i, "name a counter that only climbs; this one may count the pieces inside", "it falls %d times and climbs by %d", resets, rises)
	}
}

func (c *looking) voltage(i int, b *bound) {
	usual := quantile(0.5, b.num)
	switch {
	case usual < 3:
		c.doubt(i, "set its unit or scale, or name the supply", "the supply is at %.3g V, on which nothing runs", usual)
	case *c.seen[i].Low == *c.seen[i].High && len(b.num.V) > 10:
		c.doubt(i, "see whether the sensor is alive", "it reads %.4g V all along; a supply sags as the robot works", usual)
	}
}

func (c *looking) current(i int, b *bound) {
	high, low := quantile(0.99, b.num), quantile(0.01, b.num)
	switch {
	case -low > 5 && -low > 3*math.Max(high, 0):
		do := written(b.Ref, "invert: true")
		if b.Ref.Invert {
			do = "take invert: true away"
		}
		c.doubt(i, do, "it flows backwards: %.0f to %.0f A", low, high)
	case *c.seen[i].Low == *c.seen[i].High && len(b.num.V) > 10:
		c.doubt(i, "see whether the sensor is alive and the part was used", "it reads %.4g A all along", high)
	}
}

// command looks at what must be from -1 to 1.
func (c *looking) command(i int, b *bound) {
	low, high := *c.seen[i].Low, *c.seen[i].High
	switch most := math.Max(high, -low); {
	case most == 0:
		c.doubt(i, "see whether the part was used in this log, and whether this is its command", "it is 0 all along")
	case most > limitOf(b.NamedRef):
		c.seen[i].Doubts = append(c.seen[i].Doubts, tooMuch(b, low, high))
	}
}

func roundUp(v float64) float64 { return math.Ceil(v) }

func (c *looking) tilt(i int, b *bound) {
	low, high := quantile(0.005, b.num), quantile(0.995, b.num)
	switch most := math.Max(high, -low); {
	case b.likeRadians(most):
		c.doubt(i, written(b.Ref, "unit: rad")+" if the robot was on the platform in this log", "the robot hardly ever leans by more than %.2g deg: that looks like radians", most)
	case math.Abs(quantile(0.5, b.num)) > c.profile.Balance.MountDeg:
		c.doubt(i, written(b.Ref, fmt.Sprintf("offset: %.3g", -quantile(0.5, b.num)))+", or name another signal", "it reads %.1f deg most of the time, which counts as on the platform", quantile(0.5, b.num))
	}
}

// heading is only doubted: one that is never turned back by whole turns may go round that often.
func (c *looking) heading(i int, b *bound) {
	wide := *c.seen[i].High - *c.seen[i].Low
	if b.Ref.Unit == "" && b.signal.Unit == "" && wide > 40 {
		c.doubt(i, written(b.Ref, "unit: deg"), "it turns by %.0f rad, which is %.0f times round: it is in degrees", wide, wide/2/math.Pi)
	}
}

// distinct counts the values of a number signal, up to most.
func distinct(s *schemas.Signal, most int) int {
	seen := map[float64]bool{}
	for i := range s.Len() {
		if v := s.Number(i); !math.IsNaN(v) {
			if seen[v] = true; len(seen) >= most {
				break
			}
		}
	}
	return len(seen)
}

func numbers(s *schemas.Signal) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	for i := range s.Len() {
		if v := s.Number(i); !math.IsNaN(v) && !math.IsInf(v, 0) {
			lo, hi = math.Min(lo, v), math.Max(hi, v)
		}
	}
	return lo, hi
}
