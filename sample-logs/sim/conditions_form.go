package sim

import (
	"math"
	"strings"

	"github.com/goccy/go-yaml"

	"github.com/afterbell/afterbell/schemas"
)

// formConditions are about how a reading is written: other types, units and names, which
// the profile explains.
func formConditions() []condition {
	out := []condition{
		sensor("other-units", "signals in mV, mA, mm, rpm, rad or per cent, some as integers", otherUnits),
	}
	out = append(out, in(
		"mode-form",
		sensor("mode-numbers", "the mode is a number", func(s *scenario, _ random) {
			onOne(s, "robot/mode", func(_ *world, c *channel) {
				codes := map[string]float64{schemas.ModeDisabled: 0, schemas.PeriodAutonomous: 1, schemas.PeriodDriver: 2}
				c.kind = schemas.Int64
				c.read = func(w *world) float64 { return codes[w.mode()] }
				c.words = map[string]string{schemas.ModeDisabled: "0", schemas.PeriodAutonomous: "1", schemas.PeriodDriver: "2"}
			})
		}),
		sensor("mode-words", "the mode is told in words of the robot's own", func(s *scenario, _ random) {
			onOne(s, "robot/mode", func(_ *world, c *channel) {
				c.words = map[string]string{schemas.ModeDisabled: "idle", schemas.PeriodAutonomous: "Auto", schemas.PeriodDriver: "sticks"}
				c.text = func(w *world) string { return c.words[w.mode()] }
			})
		}),
		sensor("mode-bools", "the mode is told by two bools, enabled and autonomous", func(s *scenario, _ random) {
			s.change(func(_ *world, rec *recorder) {
				c := rec.channel("robot/mode")
				if c == nil {
					return
				}
				other := *c
				c.id, c.name, c.role, c.kind = "robot/enabled", "robot/enabled", "mode.enabled", schemas.Bool
				c.read = func(w *world) float64 { return oneIf(w.mode() != schemas.ModeDisabled) }
				other.id, other.name, other.role, other.kind = "robot/autonomous", "robot/autonomous", "mode.autonomous", schemas.Bool
				other.read = func(w *world) float64 { return oneIf(w.mode() == schemas.PeriodAutonomous) }
				rec.channels = append(rec.channels, other)
			})
		}),
	)...)
	out = append(out, in(
		"beam-form",
		sensor("beams-as-numbers", "beams are logged as 0 and 1", func(s *scenario, r random) {
			kind := []schemas.Kind{schemas.Int64, schemas.Float64}[r.IntN(2)]
			onBeams(s, func(c *channel) { c.kind = kind })
		}),
		sensor("beams-active-low", "a beam reads true while it is clear, and the profile says so", func(s *scenario, _ random) {
			onBeams(s, func(c *channel) {
				c.wrong(func(_, v float64) float64 { return 1 - v })
				c.says = mapping{{Key: "invert", Value: true}}
			})
		}),
		sensor("distance-beams", "in place of beams there are distance sensors, in mm", func(s *scenario, r random) {
			onBeams(s, func(c *channel) {
				far, near := r.about(0.29, 0.05), r.about(0.08, 0.1)
				c.wrong(func(_, v float64) float64 { return far + (near-far)*v + 0.004*r.NormFloat64() })
				c.kind, c.unit, c.mul, c.per = schemas.Float64, "mm", 1000, 1
				c.says = mapping{{Key: "below", Value: 0.16}, {Key: "hysteresis", Value: 0.03}}
			})
		}),
	)...)
	return append(
		out,
		sensor("other-names", "signals have names of another style", otherNames),
		sensor("only-changes", "what was read is only written when it changed", func(s *scenario, _ random) {
			s.change(func(_ *world, rec *recorder) {
				for _, c := range rec.those((*channel).periodic) {
					c.sparse = len(c.faults) == 0
				}
				rec.silent = nil // a signal without a rate has no gap
			})
		}),
	)
}

func onBeams(s *scenario, change func(*channel)) {
	s.change(func(_ *world, rec *recorder) {
		for _, c := range rec.those((*channel).isBeam) {
			change(c)
		}
	})
}

func otherNames(s *scenario, r random) {
	style := []func(string) string{
		func(name string) string { return strings.ReplaceAll(name, "/", ".") },
		func(name string) string { return "Telemetry/" + strings.ToUpper(name[:1]) + name[1:] },
		func(name string) string {
			return strings.ToUpper(strings.NewReplacer("/", " ", "_", " ").Replace(name))
		},
		func(name string) string { return "röbot 1: " + name },
	}[r.IntN(4)]
	s.change(func(_ *world, rec *recorder) {
		for i := range rec.channels {
			rec.channels[i].name = style(rec.channels[i].name)
		}
	})
}

// written is a unit a log may be in.
type written struct {
	unit string
	mul  float64 // of it in one of ours
	ints bool    // small enough for whole numbers
}

// otherUnit lists them by the end of a role.
var otherUnit = map[string][]written{
	"power.voltage":       {{"mV", 1000, true}},
	"current":             {{"mA", 1000, true}},
	"path.stages.command": {{"%", 100, false}},
	"balance.drive":       {{"%", 100, false}},
	"path.stages.speed":   {{"rpm", 30 / math.Pi, false}, {"deg/s", 180 / math.Pi, false}},
	"cycles.pose.x":       {{"mm", 1000, true}, {"in", 1 / 0.0254, false}, {"ft", 1 / 0.3048, false}},
	"cycles.pose.heading": {{"deg", 180 / math.Pi, false}},
	"cycles.align.error":  {{"cm", 100, false}, {"mm", 1000, true}},
	"balance.tilt":        {{"rad", math.Pi / 180, false}, {"mrad", 1000 * math.Pi / 180, false}},
	"balance.rate":        {{"rad/s", math.Pi / 180, false}},
	"moves.position":      {{"mm", 1000, true}, {"cm", 100, false}},
}

// unitOf is the entry of otherUnit for a channel: those of one quantity share it.
func unitOf(role string) string {
	switch {
	case strings.HasSuffix(role, "current"):
		return "current"
	case role == "cycles.pose.y":
		return "cycles.pose.x"
	case role == "moves.target":
		return "moves.position"
	}
	return role
}

// The ways a log or a profile tells a unit.
const (
	rides = iota
	saidByUnit
	saidByScale
)

func otherUnits(s *scenario, r random) {
	s.change(func(_ *world, rec *recorder) {
		type choice struct {
			written
			way  int
			ints bool
		}
		chosen := map[string]*choice{}
		for _, c := range rec.those(func(c *channel) bool { return c.kind == schemas.Float64 && !c.isBeam() }) {
			key := unitOf(c.role)
			units := otherUnit[key]
			if units == nil {
				continue
			}
			if _, drawn := chosen[key]; !drawn {
				chosen[key] = nil
				if r.Float64() < 0.6 {
					w := units[r.IntN(len(units))]
					chosen[key] = &choice{w, r.IntN(3), w.ints && r.Float64() < 0.4}
				}
			}
			if how := chosen[key]; how != nil {
				c.in(how.written, how.way, how.ints && len(c.faults) == 0)
			}
		}
	})
}

// in writes a channel in another unit.
func (c *channel) in(u written, way int, ints bool) {
	c.mul, c.unit = u.mul, ""
	c.per /= u.mul
	switch way {
	case rides:
		c.unit = u.unit
	case saidByUnit:
		c.says = append(c.says, yaml.MapItem{Key: "unit", Value: u.unit})
	case saidByScale:
		c.says = append(c.says, yaml.MapItem{Key: "scale", Value: 1 / u.mul})
	}
	if ints {
		c.kind = schemas.Int64
	}
}
