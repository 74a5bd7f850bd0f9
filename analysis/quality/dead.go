package quality

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// leastWork is how long a mechanism must have worked for its sensor to have had something
// to say, µs. Chosen by us.
const leastWork = 2_000_000

// deadSensor tells a sensor that said one value from first to last sample although what it
// watches was at work, or although its kind is never still. A motor nobody used, or one
// that draws nothing since it is not plugged in, is no dead sensor: others must have seen
// it work.
func deadSensor(s *schemas.Signal, v []float64, m Mapped) (schemas.Fault, bool) {
	times := s.Time
	if slices.ContainsFunc(v, func(x float64) bool { return x != v[0] }) {
		return schemas.Fault{}, false
	}
	worked := int64(0)
	for _, w := range m.Works {
		worked += w.Overlap(series.Interval{Start: times[0], End: times[len(times)-1]})
	}
	note := fmt.Sprintf("reads %v from first to last sample", v[0])
	if worked >= leastWork {
		note += fmt.Sprintf(", though what it watches was at work for %.0f s", schemas.Seconds(worked))
	} else if !m.Restless {
		return schemas.Fault{}, false
	}
	return fault(s, Dead, times[0], times[len(times)-1], note), true
}
