package profile

import (
	"fmt"

	"github.com/afterbell/afterbell/schemas/units"
)

// Want is what a role takes from its signal.
type Want uint8

// What a role takes: a measured quantity, a state, a counter (or bool pulses), words.
const (
	WantNumber Want = iota
	WantBool
	WantCounter
	WantText
)

// NamedRef is a reference with the role it plays. Unit is what a number is converted to;
// a move's position and target have the zero Unit, since their quantity is the robot's.
type NamedRef struct {
	Role  string // "path.stages[2].sensor": the place in the file
	Place string // "sensor of stage throat": the same for people
	Want  Want
	Unit  units.Unit
	Ref   *Ref
}

// Refs are the signals the profile names, in the order of the profile: sections as
// they are declared in Profile, lists as they stand in the file. A signal that plays two
// roles comes twice. It is what an analysis may read, and what can be missing from a log.
func (p *Profile) Refs() []NamedRef {
	var out []NamedRef
	add := func(r *Ref, want Want, unit units.Unit, role, place string, args ...any) {
		if r == nil {
			return
		}
		if len(args) > 0 {
			place = fmt.Sprintf(place, args...)
		}
		out = append(out, NamedRef{Role: role, Place: place, Want: want, Unit: unit, Ref: r})
	}
	none := units.Unit{}
	if m := p.Mode; m != nil {
		add(m.Signal, WantText, none, "mode.signal", "mode")
		add(m.Enabled, WantBool, none, "mode.enabled", "enabled")
		add(m.Autonomous, WantBool, none, "mode.autonomous", "autonomous")
	}
	if w := p.Power; w != nil {
		add(w.Voltage, WantNumber, units.Volt, "power.voltage", "supply voltage")
		add(w.Current, WantNumber, units.Ampere, "power.current", "supply current")
		add(w.Battery, WantText, none, "power.battery", "battery")
		for i := range w.Branches {
			b := &w.Branches[i]
			add(b.Current, WantNumber, units.Ampere, fmt.Sprintf("power.branches[%d].current", i), "current of branch %s", b.Name)
		}
	}
	if w := p.Path; w != nil {
		for i := range w.Stages {
			s, role := &w.Stages[i], fmt.Sprintf("path.stages[%d].", i)
			add(s.Sensor, WantBool, none, role+"sensor", "sensor of stage %s", s.Name)
			add(s.Command, WantNumber, units.One, role+"command", "command of stage %s", s.Name)
			add(s.Current, WantNumber, units.Ampere, role+"current", "current of stage %s", s.Name)
			add(s.Speed, WantNumber, units.RadianPerSecond, role+"speed", "speed of stage %s", s.Name)
		}
		add(w.Release, WantCounter, none, "path.release", "release")
	}
	if c := p.Cycles; c != nil {
		add(c.Score, WantCounter, none, "cycles.score", "score")
		add(c.Handover, WantCounter, none, "cycles.handover", "hand-over")
		if c.Align != nil {
			add(c.Align.Error, WantNumber, units.Metre, "cycles.align.error", "aiming error")
			add(c.Align.Assist, WantBool, none, "cycles.align.assist", "aiming assist")
		}
		if c.Pose != nil {
			add(c.Pose.X, WantNumber, units.Metre, "cycles.pose.x", "pose x")
			add(c.Pose.Y, WantNumber, units.Metre, "cycles.pose.y", "pose y")
			add(c.Pose.Heading, WantNumber, units.Radian, "cycles.pose.heading", "heading")
		}
	}
	if b := p.Balance; b != nil {
		add(b.Tilt, WantNumber, units.Degree, "balance.tilt", "tilt")
		add(b.Rate, WantNumber, units.DegreePerSecond, "balance.rate", "tilt rate")
		add(b.Drive, WantNumber, units.One, "balance.drive", "drive command")
	}
	for i := range p.Moves {
		m, role := &p.Moves[i], fmt.Sprintf("moves[%d].", i)
		add(m.Position, WantNumber, none, role+"position", "position of %s", m.Name)
		add(m.Target, WantNumber, none, role+"target", "target of %s", m.Name)
		add(m.Current, WantNumber, units.Ampere, role+"current", "current of %s", m.Name)
	}
	for i := range p.Motors {
		m, role := &p.Motors[i], fmt.Sprintf("motors[%d].", i)
		add(m.Command, WantNumber, units.One, role+"command", "command of motor %s", m.Name)
		add(m.Current, WantNumber, units.Ampere, role+"current", "current of motor %s", m.Name)
		add(m.Speed, WantNumber, units.RadianPerSecond, role+"speed", "speed of motor %s", m.Name)
	}
	return out
}
