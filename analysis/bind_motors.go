package analysis

import (
	"github.com/afterbell/afterbell/analysis/motors"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

func lookAtMotors(m *match) outcome {
	in := motors.Input{Motors: m.motors(), Start: m.start, End: m.end, Gaps: m.gaps}
	if len(in.Motors) == 0 {
		return m.without("no motor has a current")
	}
	if w := m.Profile.Power; w != nil {
		in.Voltage = m.float(w.Voltage, (*profile.Ref).Volts)
		if w.Brownout != nil {
			in.LeaveV = w.Brownout.LeaveV
		}
	}
	if m.Profile.Mode != nil {
		in.Disabled = m.outsidePeriods()
	}
	for _, h := range m.History {
		in.History = append(in.History, h.Motors)
	}
	m.report.Motors = motors.Detect(in, motors.DefaultConfig())
	return outcome{}
}

// motors are those of the path's stages, of the mechanisms that are sent to a position, and
// of the profile's list, which may say more about the former. Each needs a current in the log.
func (m *match) motors() []motors.Motor {
	p := m.Profile
	var out []motors.Motor
	if p.Path != nil {
		for _, s := range p.Path.Stages {
			out = append(out, motors.Motor{
				Name: s.Name, Kind: "path", Command: m.float(s.Command, (*profile.Ref).Command),
				Current: m.float(s.Current, (*profile.Ref).Amps), Speed: m.float(s.Speed, (*profile.Ref).RadiansPerSecond),
			})
		}
	}
	for i := range p.Moves {
		mech := m.mechanism(&p.Moves[i])
		out = append(out, motors.Motor{
			Name: p.MoveMotor(mech.Name), Kind: "moves", Current: mech.Current, Position: mech.Position, Target: mech.Target, Within: mech.Within,
		})
	}
	for _, more := range p.Motors {
		k := 0
		for k < len(out) && out[k].Name != more.Name {
			k++
		}
		if k == len(out) {
			out = append(out, motors.Motor{Name: more.Name, Kind: "motors"})
		}
		m.add(&out[k], more)
	}
	known := out[:0]
	for _, motor := range out {
		if motor.Current != nil {
			known = append(known, motor)
		}
	}
	return known
}

// add puts what the profile's list says of a motor to what another section does.
func (m *match) add(motor *motors.Motor, more profile.Motor) {
	for _, s := range []struct {
		to   **series.Float
		ref  *profile.Ref
		bind func(*profile.Ref, *schemas.Log) (*series.Float, error)
	}{
		{&motor.Command, more.Command, (*profile.Ref).Command},
		{&motor.Current, more.Current, (*profile.Ref).Amps},
		{&motor.Speed, more.Speed, (*profile.Ref).RadiansPerSecond},
	} {
		if f := m.float(s.ref, s.bind); f != nil {
			*s.to = f
		}
	}
	motor.Twin = more.Twin
	if more.Heat != nil {
		motor.LimitA, motor.TauS = more.Heat.Amps, more.Heat.TauS
	}
}

// outsidePeriods are the stretches of the log in which the robot was disabled.
func (m *match) outsidePeriods() []series.Interval {
	var out []series.Interval
	from := m.start
	for _, p := range m.report.Match.Periods {
		if at := schemas.Micros(p.StartS); at > from {
			out = append(out, series.Interval{Start: from, End: at})
		}
		from = max(from, schemas.Micros(p.EndS))
	}
	return append(out, series.Interval{Start: from, End: m.end + 1})
}
