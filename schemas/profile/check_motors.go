package profile

import "fmt"

// checkMotors refuses a motor without any current to look at, half a heat limit, and a twin
// that is no other motor.
func (d *decoder) checkMotors(p *Profile) error {
	if err := d.names("motors", "motor", len(p.Motors), func(i int) string { return p.Motors[i].Name }); err != nil {
		return err
	}
	for i, m := range p.Motors {
		place := fmt.Sprintf("motors[%d]", i)
		if m.Current == nil && !p.drives(m.Name) {
			return d.fail(place, "motor %q has no current, and no stage or move of that name has one; add current", m.Name)
		}
		if m.Heat != nil {
			for _, n := range []number{{place + ".heat.amps", "A", m.Heat.Amps}, {place + ".heat.tau_s", "s", m.Heat.TauS}} {
				if err := d.needed(n); err != nil {
					return err
				}
			}
		}
		if d.has(place+".twin") && (m.Twin == m.Name || !p.hasMotor(m.Twin)) {
			return d.fail(place+".twin", "the twin of motor %q is %q, which is no other motor; name one of motors, path.stages or moves", m.Name, m.Twin)
		}
	}
	return nil
}

// MoveMotor is the name of the motor of a move: the move's, and told apart from a stage's of
// the same name.
func (p *Profile) MoveMotor(move string) string {
	if p.Path != nil {
		for _, s := range p.Path.Stages {
			if s.Name == move {
				return move + " (move)"
			}
		}
	}
	return move
}

// drives says whether a stage or a move has a motor of that name with a current.
func (p *Profile) drives(name string) bool {
	if p.Path != nil {
		for _, s := range p.Path.Stages {
			if s.Name == name && s.Current != nil {
				return true
			}
		}
	}
	for _, m := range p.Moves {
		if p.MoveMotor(m.Name) == name && m.Current != nil {
			return true
		}
	}
	return false
}

// hasMotor says whether that is the name of a motor.
func (p *Profile) hasMotor(name string) bool {
	for _, m := range p.Motors {
		if m.Name == name {
			return true
		}
	}
	return p.drives(name)
}
