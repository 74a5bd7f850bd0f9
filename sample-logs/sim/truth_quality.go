package sim

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// quality is what is wrong with the log itself: what the profile names in vain, stretches
// without samples, and sensors that cannot be true. A sensor that is noisy, late, off by
// something or flickers is a poor one and none of these.
func quality(w *world, log *schemas.Log, q *schemas.Quality) {
	for _, c := range w.recorder.channels {
		if c.role != "" && !c.unmapped && log.Find(c.name) == nil {
			q.Missing = append(q.Missing, c.name)
		}
	}
	slices.Sort(q.Missing)
	q.Gaps = trueGaps(w, log)
	for i, c := range w.recorder.channels {
		for _, f := range slices.Concat(c.stuck, c.faults) {
			times := w.recorder.signals[i].Time
			if !f.lied || len(times) == 0 {
				continue
			}
			end := f.after
			if !f.over {
				end = times[len(times)-1]
			}
			q.Faults = append(q.Faults, schemas.Fault{
				Signal: c.name, Kind: f.kind, StartS: schemas.Seconds(f.first), EndS: schemas.Seconds(end), Note: f.note,
			})
		}
	}
	slices.SortStableFunc(q.Faults, func(a, b schemas.Fault) int {
		return cmp.Or(cmp.Compare(a.Signal, b.Signal), cmp.Compare(a.StartS, b.StartS))
	})
}

// trueGaps are the stretches without any sample round each time the radio or the robot's
// computer was out, and those of single signals whose device was.
func trueGaps(w *world, log *schemas.Log) []schemas.Gap {
	var out []schemas.Gap
	for _, g := range w.scenario.gaps {
		if q, ok := around(w, g, log.Signals...); ok {
			out = append(out, q)
		}
	}
	for _, d := range w.recorder.silent {
		s := log.Find(w.recorder.channel(d.id).name)
		if s == nil {
			continue
		}
		if q, ok := around(w, d.gap, s); ok {
			q.Signal = s.Name
			out = append(out, q)
		}
	}
	sortGaps(out)
	return slices.Compact(out)
}

func sortGaps(gaps []schemas.Gap) {
	slices.SortStableFunc(gaps, func(a, b schemas.Gap) int {
		return cmp.Or(cmp.Compare(a.Signal, b.Signal), cmp.Compare(a.StartS, b.StartS))
	})
}

// silence is a stretch in which one signal does not come.
type silence struct {
	id string
	gap
}

// around is the stretch without a sample of these signals round the middle of g, if there
// are samples on both sides.
func around(w *world, g gap, signals ...*schemas.Signal) (schemas.Gap, bool) {
	middle := schemas.Micros(w.begin + g.start + g.length/2)
	before, after := int64(math.MinInt64), int64(math.MaxInt64)
	for _, s := range signals {
		i, found := slices.BinarySearch(s.Time, middle)
		if found {
			i++
		}
		if i > 0 {
			before = max(before, s.Time[i-1])
		}
		if i < len(s.Time) {
			after = min(after, s.Time[i])
		}
	}
	return schemas.Gap{StartS: schemas.Seconds(before), EndS: schemas.Seconds(after)}, before != math.MinInt64 && after != math.MaxInt64
}
