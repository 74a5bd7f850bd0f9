package analysis

import (
	"slices"

	"github.com/afterbell/afterbell/analysis/quality"
)

// restlessRoles are measured by sensors whose noise never rests on a live robot.
var restlessRoles = []string{"power.voltage", "balance.tilt", "balance.rate"}

func lookAtQuality(m *match) outcome {
	in := quality.Input{Log: m.Log, Periods: m.report.Match.Periods}
	for _, r := range m.Profile.Refs() {
		in.Mapped = append(in.Mapped, quality.Mapped{
			Signal: r.Ref.Signal, Role: r.Role, Restless: slices.Contains(restlessRoles, r.Role),
		})
	}
	q := quality.Detect(in, quality.DefaultConfig())
	q.Faults = append(m.report.Quality.Faults, q.Faults...) // the path's own come first
	q.Notes = append(m.report.Quality.Notes, q.Notes...)
	m.report.Quality = q
	return outcome{}
}
