package period

import (
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// modeChanges is when the robot entered each mode: spans with Start and Mode only, one
// for each change. It is nil when the profile maps no mode or the log lacks the signal.
func modeChanges(mode *profile.Mode, log *schemas.Log) ([]Span, error) {
	modes, err := mode.Series(log)
	if err != nil || modes == nil {
		return nil, err
	}
	var out []Span
	for i, m := range modes.V {
		if n := len(out); n == 0 || out[n-1].Mode != m {
			out = append(out, Span{Mode: m, Start: modes.T[i]})
		}
	}
	return out, nil
}
