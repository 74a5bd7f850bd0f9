package analysis

import (
	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas/profile"
)

func lookAtPath(m *match) outcome {
	p := m.Profile.Path
	if p == nil || len(p.Stages) == 0 {
		return off("path")
	}
	in, seen := m.pathInput()
	if !seen {
		return m.without("no stage has a beam")
	}
	for _, h := range m.History {
		in.History = append(in.History, h.Passes)
	}
	out := path.Detect(in, path.DefaultConfig())
	m.path, m.why.Jams, m.why.Suspected = in, out.JamReasons, out.SuspectedReasons
	r := m.report
	r.Passes, r.Stages, r.Jams, r.SuspectedJams = out.Passes, out.Stages, out.Jams, out.Suspected
	r.Quality.Faults = append(r.Quality.Faults, out.Faults...)
	m.note(out.Notes)
	return outcome{}
}

// pathInput binds what the path analysis looks at; seen is whether any stage has a beam. The
// profile must have a path.
func (m *match) pathInput() (in path.Input, seen bool) {
	p := m.Profile.Path
	in = path.Input{
		Explain: m.explain,
		Release: m.float(p.Release, (*profile.Ref).Float),
		Periods: m.report.Match.Periods, Start: m.start, End: m.end, Gaps: m.gaps,
	}
	if c := m.Profile.Cycles; c != nil {
		in.Score = m.float(c.Score, (*profile.Ref).Float)
	}
	if w := m.Profile.Power; w != nil {
		in.Voltage = m.float(w.Voltage, (*profile.Ref).Volts)
	}
	for _, s := range p.Stages {
		st := path.Stage{
			Name: s.Name, Sensor: m.bool(s.Sensor), Command: m.float(s.Command, (*profile.Ref).Command),
			Current: m.float(s.Current, (*profile.Ref).Amps), Speed: m.float(s.Speed, (*profile.Ref).RadiansPerSecond),
		}
		seen = seen || st.Sensor != nil
		in.Stages = append(in.Stages, st)
	}
	return in, seen
}
