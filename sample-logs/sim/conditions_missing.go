package sim

import (
	"slices"
	"strings"
)

// missingConditions leave something out: of log and profile, of one, or of the other.
func missingConditions() []condition {
	out := []condition{
		missing("no-roller-speeds", "the speeds of the path's rollers are not known", "path.stages.speed"),
		missing("no-roller-currents", "the currents of the path's motors are not known", "path.stages.current"),
		sensor("few-beams", "only the first and the last stage of the path have a beam", func(s *scenario, r random) {
			way := absence(r)
			s.change(func(_ *world, rec *recorder) {
				beams := rec.those((*channel).isBeam)
				if len(beams) < 3 {
					return
				}
				kept := []string{beams[0].id, beams[len(beams)-1].id}
				rec.leaveOut(way, func(c *channel) bool { return c.isBeam() && !slices.Contains(kept, c.id) })
			})
		}),
		sensor("no-commands", "the commands of the path's stages are not known where there is a beam", func(s *scenario, r random) {
			way := absence(r)
			s.change(func(_ *world, rec *recorder) {
				beams := map[string]bool{}
				for _, c := range rec.those((*channel).isBeam) {
					beams[c.of] = !c.unmapped && !c.unlogged
				}
				rec.leaveOut(way, func(c *channel) bool { return c.role == "path.stages.command" && beams[c.of] })
			})
		}),
		missing("no-release", "releases are not counted", "path.release"),
		missing("no-whole-current", "the current of the whole robot is not known", "power.current"),
		missing("no-branches", "the currents of the branches are not known", "power.branches"),
		missing("no-battery-name", "nobody said which battery is in", "power.battery"),
		missing("no-mode", "the log does not say when each period runs", "mode"),
		missing("no-pose", "the robot's place on the field is not known", "cycles.pose"),
		missing("no-aim", "the distance from the aiming point is not known", "cycles.align"),
		missing("no-tilt-rate", "there is a tilt, but no rate", "balance.rate"),
		missing("no-drive-command", "the drive command is not known", "balance.drive"),
	}
	sections := []string{"power", "path", "cycles", "balance", "moves"}
	return append(out, sensor("no-section", "the robot logs nothing of one of power, path, cycles, balance and moves", func(s *scenario, r random) {
		way, section := absence(r), sections[r.IntN(len(sections))]
		s.change(func(_ *world, rec *recorder) { rec.leaveOut(way, under(section)) })
	}))
}

// missing leaves out what has its place under one of the profile.
func missing(name, summary, place string) condition {
	return sensor(name, summary, func(s *scenario, r random) {
		way := absence(r)
		s.change(func(_ *world, rec *recorder) { rec.leaveOut(way, under(place)) })
	})
}

func under(place string) func(*channel) bool {
	return func(c *channel) bool { return c.role == place || strings.HasPrefix(c.role, place+".") }
}

// The ways in which something can be missing.
const (
	nowhere      = iota // neither in the log nor in the profile
	notInProfile        // in the log, but the profile does not name it
	notInLog            // the profile names it in vain
)

func absence(r random) int {
	switch d := r.Float64(); {
	case d < 0.5:
		return nowhere
	case d < 0.8:
		return notInProfile
	default:
		return notInLog
	}
}

func (rec *recorder) leaveOut(way int, which func(*channel) bool) {
	for _, c := range rec.those(which) {
		c.unlogged = c.unlogged || way != notInProfile
		c.unmapped = c.unmapped || way != notInLog
	}
}
