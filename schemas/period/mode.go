package period

import (
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// modeChanges is when the robot entered each mode: spans with Start and Mode only, one
// for each change. It is nil when the profile maps no mode or the log lacks the signal.
// A value the profile does not know counts as disabled: it ends a period and begins none.
func modeChanges(mode *profile.Mode, log *schemas.Log) ([]Span, error) {
	if mode == nil {
		return nil, nil
	}
	if mode.Signal != nil {
		return namedChanges(mode, log)
	}
	enabled, err := mode.Enabled.Bool(log)
	if err != nil || enabled == nil {
		return nil, err
	}
	auto, err := mode.Autonomous.Bool(log)
	if err != nil {
		return nil, err
	}
	times := slices.Clone(enabled.T)
	if auto != nil {
		times = append(times, auto.T...)
		slices.Sort(times)
		times = slices.Compact(times)
	}
	var out []Span
	for _, t := range times {
		on, known := enabled.At(t)
		m := schemas.ModeDisabled
		if known && on {
			m = schemas.PeriodDriver
			if auto != nil {
				if inAuto, ok := auto.At(t); ok && inAuto {
					m = schemas.PeriodAutonomous
				}
			}
		}
		out = appendChange(out, t, m)
	}
	return out, nil
}

func namedChanges(mode *profile.Mode, log *schemas.Log) ([]Span, error) {
	values, err := mode.Signal.Text(log) // a numeric mode 1 comes as "1"
	if err != nil || values == nil {
		return nil, err
	}
	meaning := map[string]string{}
	for name, words := range mode.Values {
		for _, w := range words {
			meaning[w] = name
		}
	}
	var out []Span
	for i, v := range values.V {
		m, ok := meaning[v]
		if !ok {
			m = schemas.ModeDisabled
		}
		out = appendChange(out, values.T[i], m)
	}
	return out, nil
}

func appendChange(out []Span, t int64, mode string) []Span {
	if n := len(out); n > 0 && out[n-1].Mode == mode {
		return out
	}
	return append(out, Span{Mode: mode, Start: t})
}
