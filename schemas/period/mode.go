package period

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// modeChanges is when the robot entered each mode: spans with Start and Mode only, one
// for each change. A mode does not outlast a silence: what it is afterwards is not known
// until its next sample, and counts as disabled. It is nil when the profile maps no mode or
// the log lacks the signal.
func modeChanges(mode *profile.Mode, log *schemas.Log, silences [][2]int64) ([]Span, error) {
	modes, err := mode.Series(log)
	if err != nil || modes == nil {
		return nil, err
	}
	var out []Span
	enter := func(m string, t int64) {
		if n := len(out); n == 0 || out[n-1].Mode != m {
			out = append(out, Span{Mode: m, Start: t})
		}
	}
	for i, m := range modes.V {
		for len(silences) > 0 && silences[0][0] < modes.T[i] {
			if i > 0 {
				enter(schemas.ModeDisabled, silences[0][0])
			}
			silences = silences[1:]
		}
		enter(m, modes.T[i])
	}
	if len(silences) > 0 {
		enter(schemas.ModeDisabled, silences[0][0])
	}
	return out, nil
}
