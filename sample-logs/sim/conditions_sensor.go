package sim

import (
	"math"
	"slices"
	"strings"
)

// sensorPlan is what is special about what is logged and how.
type sensorPlan struct {
	loop      int     // steps between two turns of the logging loop, 0 for the usual
	jitter    float64 // times the usual lateness of a turn, 0 for 1
	from      float64 // s since the log's begin: when logging starts
	until     float64 // s since the log's begin: when the battery comes out, 0 for never
	wheelSlip float64 // of the wheels that odometry counts
	clock     clockPlan
	arrival   arrival
	changes   []func(*world, *recorder) // to the channels, in order

	rebootAt, rebootFor []float64 // s since the log's begin, s
}

// seldom is the chance of most sensor conditions in a drawn match: there are many, and some
// two of them are enough.
const seldom = 0.04

// sensorConditions are in the order in which they must be set: what is not logged at all
// comes first, what changes how a reading is written comes last.
func sensorConditions() []condition {
	return slices.Concat(missingConditions(), rateConditions(), readingConditions(), imuConditions(), beamConditions(),
		faultConditions(), formConditions(), linkConditions())
}

// change alters the channels of the robot once it is built.
func (s *scenario) change(f func(*world, *recorder)) {
	s.sensors.changes = append(slices.Clip(s.sensors.changes), f)
}

// channel is the one of an id, nil when it is not there.
func (rec *recorder) channel(id string) *channel {
	for i := range rec.channels {
		if rec.channels[i].id == id {
			return &rec.channels[i]
		}
	}
	return nil
}

// those are the channels that satisfy, in order.
func (rec *recorder) those(satisfy func(*channel) bool) []*channel {
	var out []*channel
	for i := range rec.channels {
		if c := &rec.channels[i]; satisfy(c) {
			out = append(out, c)
		}
	}
	return out
}

// pick is one of them, nil when there is none.
func (rec *recorder) pick(r random, satisfy func(*channel) bool) *channel {
	all := rec.those(satisfy)
	n := r.Float64()
	if len(all) == 0 {
		return nil
	}
	return all[int(n*float64(len(all)))]
}

// device is what sends a channel: those of one device come together.
func (c *channel) device() string {
	first, rest, _ := strings.Cut(c.id, "/")
	if first == "path" && strings.HasSuffix(rest, "/beam") {
		return "beams"
	}
	return first
}

func (c *channel) periodic() bool { return c.every > 0 || c.hz > 0 }

func (c *channel) measured() bool { return c.noise > 0 }

func (c *channel) isBeam() bool { return c.role == "path.stages.sensor" }

func (c *channel) isCurrent() bool { return strings.HasSuffix(c.role, "current") }

// wrong adds something between the quantity and the reading.
func (c *channel) wrong(d func(now, v float64) float64) {
	c.distort = append(slices.Clip(c.distort), d)
}

// lates makes a channel late by lag steps, and slow by tau.
func (c *channel) lates(lag int, tau float64) {
	if c.behind == nil {
		c.behind = &behind{}
	}
	c.behind.lag += lag
	c.behind.tau = math.Hypot(c.behind.tau, tau)
}

// spread is a draw between lo and hi that favours neither end of the scale.
func (r random) spread(lo, hi float64) float64 {
	return math.Exp(r.between(math.Log(lo), math.Log(hi)))
}

// signed is a draw of that size with either sign.
func (r random) signed(lo, hi float64) float64 {
	v := r.between(lo, hi)
	if r.Float64() < 0.5 {
		return -v
	}
	return v
}

// sensor is a condition of this file's kind.
func sensor(name, summary string, set func(*scenario, random)) condition {
	return condition{Condition: Condition{Name: name, Subject: "sensors", Kind: Sensor, Summary: summary}, odds: seldom, set: set}
}

// in puts conditions into one group.
func in(group string, all ...condition) []condition {
	for i := range all {
		all[i].group = group
	}
	return all
}

// often is the same condition with other odds.
func (c condition) often(odds float64) condition {
	c.odds = odds
	return c
}
