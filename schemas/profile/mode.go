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
// In the form of two bools the series begins when both have had a sample. It is nil
// without error when a signal it needs is not in the log.
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

func (m *Mode) ofBools(log *schemas.Log) (*series.Text, error) {
	enabled, err := m.Enabled.Bool(log)
	if err != nil {
		return nil, err
	}
	autonomous, err := m.Autonomous.Bool(log)
	if err != nil || enabled == nil || autonomous == nil {
		return nil, err
	}
	times := slices.Concat(enabled.T, autonomous.T)
	slices.Sort(times)
	out := &series.Text{Name: enabled.Name}
	for _, t := range slices.Compact(times) {
		on, known := enabled.At(t)
		auto, both := autonomous.At(t)
		if !known || !both {
			continue
		}
		mode := schemas.PeriodDriver
		switch {
		case !on:
			mode = schemas.ModeDisabled
		case auto:
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
