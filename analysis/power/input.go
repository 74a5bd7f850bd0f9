package power

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/series"
)

// readable is the input without what is no reading.
func (in Input) readable() Input {
	in.Voltage, in.Current = readings(in.Voltage), readings(in.Current)
	in.Branches = slices.Clone(in.Branches)
	for i := range in.Branches {
		in.Branches[i].Current = readings(in.Branches[i].Current)
	}
	return in
}

// unreal is beyond any volt or ampere of a robot: what is larger is a sensor's or a file's fault.
const unreal = 1e6

// readings leaves out what is no reading.
func readings(s *series.Float) *series.Float {
	if s == nil {
		return nil
	}
	bad := func(v float64) bool { return !(math.Abs(v) <= unreal) } // NaN too
	if !slices.ContainsFunc(s.V, bad) {
		return s
	}
	out := &series.Float{Name: s.Name}
	for k, v := range s.V {
		if !bad(v) {
			out.T, out.V = append(out.T, s.T[k]), append(out.V, v)
		}
	}
	return out
}
