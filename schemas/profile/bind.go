package profile

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

// Volts is the signal as a voltage in V; see FloatIn.
func (r *Ref) Volts(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.Volt) }

// Amps is the signal as a current in A; see FloatIn.
func (r *Ref) Amps(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.Ampere) }

// Command is the signal as a command from -1 to 1; see FloatIn.
func (r *Ref) Command(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.One) }

// Metres is the signal as a length in m; see FloatIn.
func (r *Ref) Metres(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.Metre) }

// Radians is the signal as an angle in rad; see FloatIn.
func (r *Ref) Radians(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.Radian) }

// RadiansPerSecond is the signal as a speed of turning in rad/s; see FloatIn.
func (r *Ref) RadiansPerSecond(log *schemas.Log) (*series.Float, error) {
	return r.FloatIn(log, units.RadianPerSecond)
}

// Degrees is the signal as a tilt in degrees; see FloatIn.
func (r *Ref) Degrees(log *schemas.Log) (*series.Float, error) { return r.FloatIn(log, units.Degree) }

// DegreesPerSecond is the signal as a tilt rate in degrees per second; see FloatIn.
func (r *Ref) DegreesPerSecond(log *schemas.Log) (*series.Float, error) {
	return r.FloatIn(log, units.DegreePerSecond)
}

// Float is the signal as numbers in the base unit of whatever it measures: the choice for
// counters and for quantities that only the robot knows. See FloatIn.
func (r *Ref) Float(log *schemas.Log) (*series.Float, error) { return r.bindFloat(log, nil) }

// FloatIn is the signal as numbers in the target unit. Each sample goes through, in this
// order: the unit (Ref.Unit, else the one that rides on the signal), times Scale, plus
// Offset, negated by Invert. A signal without unit counts as being in the target unit
// already; a unit nobody knows is left alone. A bool signal gives 0 and 1, turned round by
// Invert before Scale and Offset; so does a number with Below or Above, by Bool.
//
// Readings that are NaN or infinite are dropped. The boots of a log are merged by time
// (the log has one time base); of two samples at one time the higher boot's stays. The
// result is strictly increasing in time and may share memory with the log.
//
// It is nil without error when r is nil or the log has no such signal. A text signal, or
// a unit of another quantity than the target's, is an error that names the signal.
func (r *Ref) FloatIn(log *schemas.Log, target units.Unit) (*series.Float, error) {
	return r.bindFloat(log, &target)
}

func (r *Ref) bindFloat(log *schemas.Log, target *units.Unit) (*series.Float, error) {
	s := r.find(log)
	if s == nil {
		return nil, nil
	}
	if s.Kind == schemas.Bool || r.Below != nil || r.Above != nil {
		state, err := r.Bool(log)
		if err != nil {
			return nil, err
		}
		return r.pulses(state, s.Kind == schemas.Bool), nil
	}
	return r.numbers(s, target)
}

// numbers converts a number signal.
func (r *Ref) numbers(s *schemas.Signal, target *units.Unit) (*series.Float, error) {
	if s.Kind == schemas.Text {
		return nil, fmt.Errorf("signal %q is text where a number is needed", s.Name)
	}
	convert, err := r.conversion(s, target)
	if err != nil {
		return nil, err
	}
	if s.Kind == schemas.Float64 && s.Boot == nil && convert.Identity() && r.asIs() && !slices.ContainsFunc(s.Float, noReading) {
		return &series.Float{Name: s.Name, T: s.Time, V: s.Float}, nil
	}
	converted := make([]float64, s.Len())
	for i := range converted {
		converted[i] = r.shape(convert.Apply(s.Number(i)))
	}
	out := &series.Float{Name: s.Name, T: make([]int64, 0, s.Len()), V: make([]float64, 0, s.Len())}
	for _, i := range byTime(s, func(i int) bool { return !noReading(converted[i]) }) {
		out.T, out.V = append(out.T, s.Time[i]), append(out.V, converted[i])
	}
	return out, nil
}

// conversion is what the unit asks for.
func (r *Ref) conversion(s *schemas.Signal, target *units.Unit) (units.Conversion, error) {
	none := units.Conversion{Mul: 1, Div: 1}
	spelling := r.unit(s)
	from, known := units.Find(spelling)
	if spelling == "" || !known {
		return none, nil
	}
	if target == nil {
		base := units.Base(from.Quantity)
		target = &base
	}
	convert, err := from.To(*target)
	if err != nil {
		return none, fmt.Errorf("signal %q is in %s (%s) where %s is needed; if it is not, set its unit in the profile",
			s.Name, spelling, from.Quantity, target.Quantity)
	}
	return convert, nil
}

// unit is the unit of the signal's samples as spelled: the profile's word comes first.
func (r *Ref) unit(s *schemas.Signal) string { return cmp.Or(r.Unit, s.Unit) }

// shape is scale, offset and sign.
func (r *Ref) shape(v float64) float64 {
	if r.Scale != nil {
		v *= *r.Scale
	}
	if r.Offset != nil {
		v += *r.Offset
	}
	if r.Invert {
		v = -v
	}
	return v
}

// asIs reports whether shape changes nothing.
func (r *Ref) asIs() bool { return r.Scale == nil && r.Offset == nil && !r.Invert }

// pulses is a state as numbers. Scale and offset of an analogue signal have done their
// work before its threshold; for a bool signal they apply to its 0 and 1.
func (r *Ref) pulses(state *series.Bool, scaled bool) *series.Float {
	out := &series.Float{Name: state.Name, T: state.T, V: make([]float64, len(state.V))}
	for i, on := range state.V {
		v := 0.0
		if on {
			v = 1
		}
		if scaled {
			v = (&Ref{Scale: r.Scale, Offset: r.Offset}).shape(v)
		}
		out.V[i] = v
	}
	return out
}

// Bool is the signal as a state. With Below, a number is true from the first reading under
// Below until one at or over Below+Hysteresis; with Above, from the first over Above until
// one at or under Above-Hysteresis. The reading compared has gone through unit (to its base
// unit: a distance in mm is compared in m), Scale and Offset. Without either, a number
// other than 0 is true. Invert turns the state round at the end.
//
// Samples that are no reading, boots and absence are treated as in FloatIn; a text signal
// is an error.
func (r *Ref) Bool(log *schemas.Log) (*series.Bool, error) {
	s := r.find(log)
	if s == nil {
		return nil, nil
	}
	out := &series.Bool{Name: s.Name}
	if s.Kind == schemas.Bool {
		for _, i := range byTime(s, always) {
			out.T, out.V = append(out.T, s.Time[i]), append(out.V, s.Bool[i] != r.Invert)
		}
		return out, nil
	}
	// A sign is turned by Invert only once, after the comparison.
	upright := *r
	upright.Invert = false
	numbers, err := upright.numbers(s, nil)
	if err != nil {
		return nil, err
	}
	out.T, out.V = numbers.T, make([]bool, len(numbers.V))
	on := false
	for i, v := range numbers.V {
		on = r.state(v, on)
		out.V[i] = on != r.Invert
	}
	return out, nil
}

// state is what a reading makes of the state before it.
func (r *Ref) state(v float64, on bool) bool {
	switch {
	case r.Below != nil && on:
		return v < *r.Below+r.Hysteresis
	case r.Below != nil:
		return v < *r.Below
	case r.Above != nil && on:
		return v > *r.Above-r.Hysteresis
	case r.Above != nil:
		return v > *r.Above
	default:
		return v != 0
	}
}

// Text is the signal in words. Numbers are written in their shortest decimal form (1, not
// 1.0), bools as true and false, so that a numeric mode 1 equals "1". Samples that are no
// reading, boots and absence are treated as in FloatIn.
func (r *Ref) Text(log *schemas.Log) (*series.Text, error) {
	s := r.find(log)
	if s == nil {
		return nil, nil
	}
	out := &series.Text{Name: s.Name}
	for _, i := range byTime(s, func(i int) bool { return s.Kind != schemas.Float64 || !noReading(s.Float[i]) }) {
		out.T = append(out.T, s.Time[i])
		out.V = append(out.V, wordOf(s, i))
	}
	return out, nil
}

func wordOf(s *schemas.Signal, i int) string {
	switch s.Kind {
	case schemas.Float64:
		return strconv.FormatFloat(s.Float[i]+0, 'f', -1, 64) // +0 turns -0 into 0
	case schemas.Int64:
		return strconv.FormatInt(s.Int[i], 10)
	case schemas.Bool:
		return strconv.FormatBool(s.Bool[i])
	default:
		return s.Text[i]
	}
}

func (r *Ref) find(log *schemas.Log) *schemas.Signal {
	if r == nil || log == nil {
		return nil
	}
	return log.Find(r.Signal)
}

func noReading(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }

func always(int) bool { return true }

// byTime is the samples that pass keep, in order of time, one for each time: that of the
// highest boot.
func byTime(s *schemas.Signal, keep func(int) bool) []int {
	order := make([]int, 0, s.Len())
	for i := range s.Time {
		if keep(i) {
			order = append(order, i)
		}
	}
	if s.Boot == nil {
		return order // normalized: one boot is in strict order of time
	}
	slices.SortFunc(order, func(a, b int) int {
		return cmp.Or(cmp.Compare(s.Time[a], s.Time[b]), cmp.Compare(s.Boot[a], s.Boot[b]))
	})
	kept := order[:0]
	for i, at := range order {
		if i+1 < len(order) && s.Time[order[i+1]] == s.Time[at] {
			continue // a later boot has the same time
		}
		kept = append(kept, at)
	}
	return kept
}
