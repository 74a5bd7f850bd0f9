package profile

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

var modes = []string{schemas.ModeDisabled, schemas.PeriodAutonomous, schemas.PeriodDriver}

// Of is the mode (disabled, autonomous, driver) that a value of the mode signal stands for;
// ok is false for a value the profile does not list. Numbers are equal by value: a signal
// that says 1 or 1.0 matches "1".
func (m *Mode) Of(value string) (mode string, ok bool) {
	value = canonical(value)
	for _, mode := range modes {
		if slices.ContainsFunc(m.Values[mode], func(v string) bool { return canonical(v) == value }) {
			return mode, true
		}
	}
	return "", false
}

// Series is the mode over time, in either form, as disabled, autonomous or driver. A value
// the profile does not list counts as disabled: the robot is in none of the two periods.
// It is nil without error when the log lacks the mode signal, or enabled in the form of two
// bools.
func (m *Mode) Series(log *schemas.Log) (*series.Text, error) {
	if m == nil {
		return nil, nil
	}
	if m.Signal == nil {
		return m.ofBools(log)
	}
	s, err := m.Signal.Text(log)
	if s == nil || err != nil {
		return nil, err
	}
	for i, v := range s.V {
		mode, ok := m.Of(v)
		if !ok {
			mode = schemas.ModeDisabled
		}
		s.V[i] = mode
	}
	return s, nil
}

// ofBools reads enabled and autonomous. Where autonomous is not known, because the log lacks
// it or it has not been said yet, an enabled robot counts as driven.
func (m *Mode) ofBools(log *schemas.Log) (*series.Text, error) {
	enabled, err := m.Enabled.Bool(log)
	if err != nil || enabled == nil {
		return nil, err
	}
	autonomous, err := m.Autonomous.Bool(log)
	if err != nil {
		return nil, err
	}
	times := slices.Clone(enabled.T)
	if autonomous == nil {
		autonomous = &series.Bool{}
	}
	times = append(times, autonomous.T...)
	slices.Sort(times)
	out := &series.Text{Name: enabled.Name}
	for _, t := range slices.Compact(times) {
		on, known := enabled.At(t)
		if !known {
			continue
		}
		mode := schemas.PeriodDriver
		if auto, _ := autonomous.At(t); !on {
			mode = schemas.ModeDisabled
		} else if auto {
			mode = schemas.PeriodAutonomous
		}
		out.T, out.V = append(out.T, t), append(out.V, mode)
	}
	return out, nil
}

// canonical is one spelling for equal values: numbers in shortest form, true and false in
// lower case, text without blanks around it.
func canonical(v string) string {
	v = strings.TrimSpace(v)
	if f, err := strconv.ParseFloat(v, 64); err == nil && !math.IsInf(f, 0) && !math.IsNaN(f) {
		return strconv.FormatFloat(f+0, 'g', -1, 64)
	}
	if lower := strings.ToLower(v); lower == "true" || lower == "false" {
		return lower
	}
	return v
}
