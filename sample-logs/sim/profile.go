package sim

import (
	"cmp"
	_ "embed"
	"slices"

	"github.com/goccy/go-yaml"

	"github.com/afterbell/afterbell/schemas"
)

// The profiles of the stories' robots, written to teach. They are published beside the
// sample logs.
var (
	//go:embed heron.yaml
	heronProfile []byte
	//go:embed curlew.yaml
	curlewProfile []byte
)

// mapping is a part of a profile, its keys in order.
type mapping = yaml.MapSlice

// profileFor is the committed profile where the robot is just what its story says, else one
// made for what was built.
func profileFor(w *world) []byte {
	s := w.scenario
	told := s.name != Drawn && s.name != Exam && len(s.with) == 0
	switch {
	case told && s.robot == "curlew":
		return slices.Clone(curlewProfile)
	case told:
		return slices.Clone(heronProfile)
	}
	return generated(w)
}

// generated is a profile of the robot as it was built and as it logs: each section that has
// a signal is there, each signal is named as the log has it.
func generated(w *world) []byte {
	p := naming{w.recorder.channels}
	out := mapping{
		{Key: "profile", Value: 1},
		{Key: "robot", Value: w.scenario.robot},
		{Key: "game", Value: game(w)},
	}
	for _, section := range []struct {
		key   string
		value mapping
	}{
		{"mode", p.mode()}, {"power", p.power(w)}, {"path", p.path(w)}, {"cycles", p.cycles(w)}, {"balance", p.balance()},
	} {
		if len(section.value) > 0 {
			out = append(out, yaml.MapItem{Key: section.key, Value: section.value})
		}
	}
	if moves := p.moves(); len(moves) > 0 {
		out = append(out, yaml.MapItem{Key: "moves", Value: moves})
	}
	text, err := yaml.Marshal(out)
	if err != nil {
		panic("sim: a profile of strings and numbers does not encode: " + err.Error())
	}
	return text
}

func game(w *world) mapping {
	out := mapping{
		{Key: "name", Value: gameName},
		{Key: "autonomous_s", Value: autonomousS},
		{Key: "driver_s", Value: driverS},
		{Key: "endgame_s", Value: endgameS},
	}
	if w.scenario.robot == "curlew" {
		return out // its crew wrote down the least
	}
	return append(
		out,
		yaml.MapItem{Key: "points", Value: mapping{
			{Key: "autonomous_piece", Value: 5}, {Key: "driver_piece", Value: 3}, {Key: "autonomous_level", Value: 9}, {Key: "level", Value: 7},
		}},
		yaml.MapItem{Key: "ties", Value: []string{"fouls", "platform", "autonomous"}},
		yaml.MapItem{Key: "words", Value: mapping{{Key: "piece", Value: "loaf"}, {Key: "pieces", Value: "loaves"}, {Key: "platform", Value: "peel"}}},
	)
}

// naming finds the signals for the places of a profile.
type naming struct{ channels []channel }

// find is the signal of a role; of is the branch, stage or move, empty where there is one.
func (p naming) find(role, of string) *channel {
	for i := range p.channels {
		if c := &p.channels[i]; c.role == role && c.of == of && !c.unmapped {
			return c
		}
	}
	return nil
}

// refs are the keys of one place that have a signal.
func (p naming) refs(place, of string, keys ...string) mapping {
	var out mapping
	for _, key := range keys {
		c := p.find(place+"."+key, of)
		if c == nil {
			continue
		}
		var ref any = c.name
		if len(c.says) > 0 {
			ref = append(mapping{{Key: "signal", Value: c.name}}, c.says...)
		}
		out = append(out, yaml.MapItem{Key: key, Value: ref})
	}
	return out
}

// owners are the branches, stages or moves with a signal of that role, in order.
func (p naming) owners(role string) []string {
	var out []string
	for _, c := range p.channels {
		if c.role == role && !c.unmapped {
			out = append(out, c.of)
		}
	}
	return out
}

func (p naming) mode() mapping {
	if out := p.refs("mode", "", "enabled", "autonomous"); len(out) > 0 {
		return out
	}
	out := p.refs("mode", "", "signal")
	if len(out) == 0 {
		return nil
	}
	values := mapping{}
	for _, mode := range modeNames {
		values = append(values, yaml.MapItem{Key: mode, Value: []string{p.find("mode.signal", "").word(mode)}})
	}
	return append(out, yaml.MapItem{Key: "values", Value: values})
}

var modeNames = []string{schemas.ModeDisabled, schemas.PeriodAutonomous, schemas.PeriodDriver}

func (p naming) power(w *world) mapping {
	out := p.refs("power", "", "voltage", "current", "battery")
	if p.find("power.voltage", "") != nil {
		out = append(out, yaml.MapItem{Key: "brownout", Value: mapping{
			{Key: "enter_v", Value: w.supply.cutOff}, {Key: "leave_v", Value: w.supply.recover},
		}})
	}
	var branches []mapping
	for _, name := range p.owners("power.branches.current") {
		branches = append(branches, append(mapping{{Key: "name", Value: name}}, p.refs("power.branches", name, "current")...))
	}
	if branches != nil {
		out = append(out, yaml.MapItem{Key: "branches", Value: branches})
	}
	return out
}

// path lists the stages as they were built. A stage of which neither a beam nor a command is
// known cannot be listed.
func (p naming) path(w *world) mapping {
	var stages []mapping
	for _, b := range w.path.belts {
		refs := p.refs("path.stages", b.name, "sensor", "command", "current", "speed")
		if p.find("path.stages.sensor", b.name) == nil && p.find("path.stages.command", b.name) == nil {
			continue
		}
		stages = append(stages, append(mapping{{Key: "name", Value: b.name}}, refs...))
	}
	if stages == nil {
		return nil
	}
	return append(mapping{{Key: "stages", Value: stages}}, p.refs("path", "", "release")...)
}

func (p naming) cycles(w *world) mapping {
	out := p.refs("cycles", "", "score", "handover")
	if align := p.refs("cycles.align", "", "error"); len(align) > 0 {
		align = append(align, yaml.MapItem{Key: "good", Value: goodM})
		out = append(out, yaml.MapItem{Key: "align", Value: append(align, p.refs("cycles.align", "", "assist")...)})
	}
	if pose := p.refs("cycles.pose", "", "x", "y", "heading"); len(pose) > 0 {
		out = append(out, yaml.MapItem{Key: "pose", Value: pose})
	}
	if len(out) == 0 {
		return nil
	}
	var zones []mapping
	for _, z := range zonesOf(w) {
		zones = append(zones, mapping{
			{Key: "name", Value: z.name},
			{Key: "use", Value: z.use},
			{Key: "corners", Value: [][2]float64{{z.x0, z.y0}, {z.x1, z.y0}, {z.x1, z.y1}, {z.x0, z.y1}}},
		})
	}
	return append(out, yaml.MapItem{Key: "zones", Value: zones})
}

// namedZone is a zone as the profile has it.
type namedZone struct {
	name, use string
	zone
}

func zonesOf(w *world) []namedZone {
	var out []namedZone
	for _, p := range w.field.pickups {
		out = append(out, namedZone{p.name, "pickup", p.zone})
	}
	for _, p := range w.field.goals {
		out = append(out, namedZone{p.name, "goal", p.zone})
	}
	return out
}

func (p naming) balance() mapping {
	if p.find("balance.tilt", "") == nil {
		return nil
	}
	return append(
		p.refs("balance", "", "tilt", "rate", "drive"),
		yaml.MapItem{Key: "mount_deg", Value: mountDeg}, yaml.MapItem{Key: "level_deg", Value: levelDeg}, yaml.MapItem{Key: "hold_s", Value: holdS},
	)
}

func (p naming) moves() []mapping {
	var out []mapping
	for _, name := range p.owners("moves.position") {
		target := p.find("moves.target", name)
		if target == nil {
			continue
		}
		move := append(mapping{{Key: "name", Value: name}}, p.refs("moves", name, "position", "target", "current")...)
		out = append(out, append(move, yaml.MapItem{Key: "within", Value: cmp.Or(target.within, withinM)}))
	}
	return out
}
