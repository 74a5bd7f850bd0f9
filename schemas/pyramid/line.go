package pyramid

import (
	"cmp"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Line is a signal as a line is drawn of it: numbers in order of time.
type Line struct {
	T []int64   // microseconds, never falling; times may repeat where two power-ups meet
	V []float64 // as long as T; NaN and infinities are no readings
	// Boot tells the power-up of each sample and is nil for one: no line leads from one to
	// the next.
	Boot []int32
	// Gap is the time between neighbours beyond which samples are missing between them, 0
	// where a value holds until the next, however late that comes.
	Gap int64
}

// LineOf is a normalized signal as a line: a bool is 0 or 1, text has no reading. Samples
// of several power-ups are put in order of time. Memory is shared where it can be.
func LineOf(s *schemas.Signal) *Line { return lineIn(s, nil) }

// lineIn is LineOf with memory for numbers that have another kind in the signal.
func lineIn(s *schemas.Signal, numbers []float64) *Line {
	l := &Line{T: s.Time, Boot: s.Boot}
	if s.Kind == schemas.Float64 {
		l.V = s.Float
	} else {
		l.V = s.Numbers(numbers[:0])
	}
	if s.Boot != nil && !slices.IsSorted(s.Time) {
		order := InTime(s)
		l.T, l.V, l.Boot = pick(l.T, order), pick(l.V, order), pick(l.Boot, order)
	}
	if s.Kind == schemas.Float64 {
		l.Gap = series.GapLimit(l.T)
	}
	return l
}

// InTime is the order of a normalized signal's samples by time; those of one time stay in
// order of boot.
func InTime(s *schemas.Signal) []int {
	order := make([]int, s.Len())
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(s.Time[a], s.Time[b]) })
	return order
}

func pick[T any](from []T, order []int) []T {
	out := make([]T, len(order))
	for i, at := range order {
		out[i] = from[at]
	}
	return out
}

// reading is whether v is a number that was read; it is false for NaN and infinities.
func reading(v float64) bool { return v-v == 0 }

// broken is whether no line leads from reading a to reading b, of which none lies between:
// samples that are no readings do, or samples are missing, or the robot was off.
func (l *Line) broken(a, b int) bool {
	return b != a+1 || l.Gap > 0 && l.T[b]-l.T[a] > l.Gap || l.Boot != nil && l.Boot[a] != l.Boot[b]
}
