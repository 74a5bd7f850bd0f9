package profile

import (
	"fmt"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// check is what types cannot say. It reports the first mistake by section.
func (d *decoder) check(p *Profile) error {
	steps := []func(*Profile) error{
		d.checkHead, d.checkGame, d.checkMode, d.checkPower, d.checkPath, d.checkCycles,
		d.checkBalance, d.checkMoves, d.checkMotors, d.checkRefs,
	}
	for _, step := range steps {
		if err := step(p); err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) checkHead(p *Profile) error {
	if !d.has("profile") {
		return d.fail("profile", "profile is missing; add the line profile: %d", Version)
	}
	if p.Version != Version {
		return d.fail("profile", "profile is version %d; this program reads version %d", p.Version, Version)
	}
	if !d.has("robot") {
		return d.fail("robot", "robot is missing; add the line robot: NAME")
	}
	if err := schemas.CheckName("robot", p.Robot); err != nil {
		return d.fail("robot", "%v", err)
	}
	return nil
}

func (d *decoder) checkGame(p *Profile) error {
	g := p.Game
	if g == nil {
		return nil
	}
	for _, n := range []number{
		{"game.autonomous_s", "s", g.AutonomousS}, {"game.driver_s", "s", g.DriverS}, {"game.endgame_s", "s", g.EndgameS},
	} {
		if n.value < 0 {
			return d.fail(n.place, "%s is %v; a length of time cannot be negative", n.place, n.value)
		}
	}
	if d.has("game.driver_s") && g.EndgameS > g.DriverS {
		return d.fail("game.endgame_s", "game.endgame_s %v is longer than game.driver_s %v, which includes the endgame", g.EndgameS, g.DriverS)
	}
	for _, key := range mapKeys["game.points"] {
		if g.Points[key] < 0 {
			return d.fail("game.points."+key, "game.points.%s is %v; points cannot be negative", key, g.Points[key])
		}
	}
	return nil
}

func (d *decoder) checkMode(p *Profile) error {
	m := p.Mode
	if m == nil {
		return nil
	}
	bools := m.Enabled != nil || m.Autonomous != nil
	switch {
	case m.Signal != nil && bools:
		return d.fail("mode", "mode has signal as well as enabled or autonomous; keep one form")
	case m.Signal == nil && !bools:
		return d.fail("mode", "mode says nothing; give it signal, or enabled and autonomous")
	case bools && m.Enabled == nil:
		return d.fail("mode", "mode.enabled is missing beside mode.autonomous")
	case bools && m.Autonomous == nil:
		return d.fail("mode", "mode.autonomous is missing beside mode.enabled")
	case bools && m.Values != nil:
		return d.fail("mode.values", "mode.values belongs to mode.signal; remove it beside enabled and autonomous")
	}
	seen := map[string]string{}
	for _, mode := range modes {
		for i, v := range m.Values[mode] {
			if other, twice := seen[canonical(v)]; twice && other != mode {
				place := fmt.Sprintf("mode.values.%s[%d]", mode, i)
				return d.fail(place, "value %q stands under %s and %s; it can mean only one mode", v, other, mode)
			}
			seen[canonical(v)] = mode
		}
	}
	if m.Signal != nil && len(m.Values[schemas.PeriodAutonomous])+len(m.Values[schemas.PeriodDriver]) == 0 {
		return d.fail("mode.values", "mode.values names no value for autonomous or driver; the robot would never be in a match")
	}
	return nil
}

func (d *decoder) checkPower(p *Profile) error {
	w := p.Power
	if w == nil {
		return nil
	}
	if b := w.Brownout; b != nil {
		for _, n := range []number{{"power.brownout.enter_v", "V", b.EnterV}, {"power.brownout.leave_v", "V", b.LeaveV}} {
			if err := d.needed(n); err != nil {
				return err
			}
		}
		if b.EnterV > b.LeaveV {
			return d.fail("power.brownout.enter_v", "power.brownout.enter_v %v is above leave_v %v; a brownout ends at or above the voltage it began at", b.EnterV, b.LeaveV)
		}
	}
	for i, b := range w.Branches {
		if b.Current == nil {
			return d.missing(fmt.Sprintf("power.branches[%d].current", i))
		}
	}
	return d.names("power.branches", "branch", len(w.Branches), func(i int) string { return w.Branches[i].Name })
}

func (d *decoder) checkPath(p *Profile) error {
	if p.Path == nil {
		return nil
	}
	stages := p.Path.Stages
	if len(stages) == 0 {
		return d.fail("path", "path has no stages; list them in the order a piece passes them")
	}
	if err := d.names("path.stages", "stage", len(stages), func(i int) string { return stages[i].Name }); err != nil {
		return err
	}
	for i, s := range stages {
		if s.Sensor == nil && s.Command == nil {
			return d.fail(fmt.Sprintf("path.stages[%d]", i), "stage %q has neither sensor nor command; give it at least one", s.Name)
		}
	}
	return nil
}

func (d *decoder) checkCycles(p *Profile) error {
	c := p.Cycles
	if c == nil {
		return nil
	}
	if c.Align != nil {
		if c.Align.Error == nil {
			return d.missing("cycles.align.error")
		}
		if err := d.needed(number{"cycles.align.good", "m", c.Align.Good}); err != nil {
			return err
		}
	}
	if c.Pose != nil && c.Pose.X == nil {
		return d.missing("cycles.pose.x")
	}
	if c.Pose != nil && c.Pose.Y == nil {
		return d.missing("cycles.pose.y")
	}
	if err := d.names("cycles.zones", "zone", len(c.Zones), func(i int) string { return c.Zones[i].Name }); err != nil {
		return err
	}
	for i, z := range c.Zones {
		if err := d.checkZone(fmt.Sprintf("cycles.zones[%d]", i), z); err != nil {
			return err
		}
	}
	return nil
}

func (d *decoder) checkZone(place string, z Zone) error {
	switch {
	case !d.has(place + ".use"):
		return d.missing(place + ".use")
	case z.Use != UsePickup && z.Use != UseGoal:
		return d.fail(place+".use", "use of zone %q is %q; it must be %s or %s", z.Name, z.Use, UsePickup, UseGoal)
	case !d.has(place + ".corners"):
		return d.missing(place + ".corners")
	case len(z.Corners) < 3:
		return d.fail(place+".corners", "zone %q has %d corners; an area needs at least 3", z.Name, len(z.Corners))
	}
	return nil
}

func (d *decoder) checkBalance(p *Profile) error {
	b := p.Balance
	if b == nil {
		return nil
	}
	if b.Tilt == nil {
		return d.missing("balance.tilt")
	}
	for _, n := range []number{
		{"balance.mount_deg", "deg", b.MountDeg}, {"balance.level_deg", "deg", b.LevelDeg}, {"balance.hold_s", "s", b.HoldS},
	} {
		if err := d.positive(n); err != nil {
			return err
		}
	}
	if b.LevelDeg > b.MountDeg {
		place := "balance.level_deg"
		if !d.has(place) {
			place = "balance.mount_deg"
		}
		return d.fail(place, "balance.level_deg %v is more than balance.mount_deg %v; a robot that is level would count as tilted", b.LevelDeg, b.MountDeg)
	}
	return nil
}

func (d *decoder) checkMoves(p *Profile) error {
	for i, m := range p.Moves {
		place := fmt.Sprintf("moves[%d]", i)
		if m.Position == nil {
			return d.missing(place + ".position")
		}
		if m.Target == nil {
			return d.missing(place + ".target")
		}
		if err := d.needed(number{place + ".within", "", m.Within}); err != nil {
			return err
		}
	}
	return d.names("moves", "move", len(p.Moves), func(i int) string { return p.Moves[i].Name })
}

// number is a value with its place in the file and its unit.
type number struct {
	place, unit string
	value       float64
}

// needed refuses what is missing, zero or negative.
func (d *decoder) needed(n number) error {
	if !d.has(n.place) {
		return d.missing(n.place)
	}
	return d.positive(n)
}

func (d *decoder) positive(n number) error {
	if n.value <= 0 {
		return d.fail(n.place, "%s is %s; it must be more than 0", n.place, strings.TrimSpace(fmt.Sprint(n.value, " ", n.unit)))
	}
	return nil
}

func (d *decoder) missing(place string) error {
	return d.fail(place, "%s is missing; add it", place)
}

// names refuses entries of a list without a name, or with one that another entry has.
func (d *decoder) names(place, what string, n int, name func(int) string) error {
	first := map[string]int{}
	for i := range n {
		at := fmt.Sprintf("%s[%d].name", place, i)
		key := strings.TrimSpace(name(i))
		if key == "" {
			return d.missing(at)
		}
		if line, twice := first[key]; twice {
			return d.fail(at, "two of %s have the name %q, the first in line %d; each %s needs its own", place, key, line, what)
		}
		first[key] = d.at[at].Line
	}
	return nil
}
