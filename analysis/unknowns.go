package analysis

import (
	"fmt"

	"github.com/afterbell/afterbell/analysis/check"
	"github.com/afterbell/afterbell/schemas"
)

// unknowns lists what this log cannot tell, most useful first: the question, the signal
// that would answer it, and what the sheet would then show.
func unknowns(m *match) []schemas.Unknown {
	var out []schemas.Unknown
	add := func(what, signal, shows string) {
		out = append(out, schemas.Unknown{What: what, Signal: signal, Shows: shows})
	}
	r, p := m.report, m.Profile
	pieces, platform := r.Match.Game.Pieces, r.Match.Game.Platform
	if r.Ran("power") && r.Battery.ResistanceOhm == nil {
		if p.Power.Current == nil && len(p.Power.Branches) == 0 {
			add("Which battery is dying", "whole-robot current, any rate from 10 Hz", "load line, resistance, who drew the current")
		} else if r.Battery.Reason != "" {
			add("The battery's resistance: "+r.Battery.Reason, "", "")
		}
	}
	if !r.Ran("power") {
		add("Whether the supply sagged", "supply voltage, from 50 Hz", "voltage strip, brownouts")
	}
	if !r.Ran("path") {
		add(fmt.Sprintf("Whether and where %s jam", pieces), "one beam at the mouth, one at the last stage", "path drawing, jams, time lost")
	}
	if r.Ran("path") {
		for _, s := range p.Path.Stages {
			if s.Sensor == nil {
				add(fmt.Sprintf("Where in the %s a piece stands", s.Name), fmt.Sprintf("a beam on the %s", s.Name), "the place of a jam, and its transit time")
			}
		}
		if p.Path.Release == nil {
			add("Whether the last stage released on purpose", "path.release, a counter or a pulse", "released passes apart from lost ones")
		}
	}
	if !r.Ran("cycles") {
		add("How long a cycle takes", "a score counter, one up for each piece", "cycles, slow ones and why")
	} else if p.Cycles.Pose == nil || len(p.Cycles.Zones) == 0 {
		have := "pose and zones in the profile"
		if p.Cycles.Pose != nil {
			have = "zones in the profile (pose is there already)"
		}
		add("Which phase of a cycle is slow", have, "return, collect, carry, place")
	}
	if !r.Ran("balance") {
		add(fmt.Sprintf("How the %s was taken", platform), "tilt of the robot, from 20 Hz", "tilt trace, swings, settling time")
	} else if len(r.Balances) == 0 {
		if lean, flat := check.Flat(p, m.Log); flat {
			add(fmt.Sprintf("Whether the robot was on the %s: it never leans by more than %.1f deg", platform, lean), "the unit of the tilt in the profile, unit: rad if it is in radians", "tilt trace, swings, settling time")
		}
	} else if p.Balance.Drive == nil {
		add("Why the balance swings", "drive command, with the tilt", "whether the loop has a rate term, whether a lower gain would damp it, and who else moved it")
	}
	for _, g := range r.Quality.Gaps {
		if g.Signal == "" {
			add(fmt.Sprintf("What happened from %.2f to %.2f s", g.StartS-r.Match.StartS, g.EndS-r.Match.StartS), "a log without gaps", "that stretch")
		}
	}
	return out
}
