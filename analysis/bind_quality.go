package analysis

import (
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/check"
	"github.com/afterbell/afterbell/analysis/quality"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// restlessRoles are measured by sensors whose noise never rests on a live robot.
var restlessRoles = []string{"power.voltage", "balance.tilt", "balance.rate"}

func lookAtQuality(m *match) outcome {
	in := quality.Input{Log: m.Log, Mapped: m.mapped(), Periods: m.report.Match.Periods, DropOuts: m.dropOuts}
	works := m.atWork()
	for i := range in.Mapped {
		in.Mapped[i].Works = works[in.Mapped[i].Role]
	}
	q := quality.Detect(in, quality.DefaultConfig())
	q.Faults = slices.Concat(misread(m), m.report.Quality.Faults, q.Faults) // the path's own before the rest
	q.Notes = append(m.report.Quality.Notes, q.Notes...)
	m.report.Quality = q
	return outcome{}
}

// misread are the signals that the profile reads wrongly, beyond doubt.
func misread(m *match) []schemas.Fault {
	var out []schemas.Fault
	for _, w := range check.Misreads(m.Profile, m.Log) {
		out = append(out, schemas.Fault{
			Signal: w.Signal, Kind: schemas.FaultMisread, StartS: schemas.Seconds(m.start), EndS: schemas.Seconds(m.end),
			Note: fmt.Sprintf("%s: %s; in the profile %s", w.Place, w.What, w.Do),
		})
	}
	return out
}

// mapped are the signals of the profile with what a sound one of their kind does.
func (m *match) mapped() []quality.Mapped {
	var out []quality.Mapped
	disabled := m.disabled()
	for _, r := range m.Profile.Refs() {
		out = append(out, quality.Mapped{
			Signal: r.Ref.Signal, Role: r.Role, Rest: disabled,
			Restless:    slices.Contains(restlessRoles, r.Role),
			CannotJump:  r.Role == "balance.tilt" || r.Role == "balance.rate" || strings.HasSuffix(r.Role, "].position"),
			RestsAtZero: strings.HasSuffix(r.Role, "current") || strings.HasSuffix(r.Role, "].speed"),
		})
	}
	return out
}

func (m *match) disabled() []series.Interval {
	var out []series.Interval
	for _, s := range m.Match.Modes {
		if s.Mode == schemas.ModeDisabled {
			out = append(out, series.Interval{Start: s.Start, End: s.End})
		}
	}
	return out
}
