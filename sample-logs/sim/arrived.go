package sim

import (
	"cmp"
	"iter"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas"
)

// arrival is how rows reach the file: some late and so out of order, some twice.
type arrival struct {
	late    float64 // chance of a row
	most    float64 // s
	doubled float64 // chance of a row
	r       random
}

// row is all samples of one time, with when they were written.
type row struct {
	time    int64
	written int64
	stale   bool // the first writing of a doubled row: what was known before it
}

// arrived is the log in the order of writing. It holds the same log: a row that is written
// twice is right the second time, and the last written wins.
func (a arrival) arrived(log *schemas.Log) iter.Seq2[*schemas.Signal, int] {
	rows := a.rows(log)
	return func(yield func(*schemas.Signal, int) bool) {
		for _, row := range rows {
			for _, s := range log.Signals {
				i, found := slices.BinarySearch(s.Time, row.time)
				if !found {
					continue
				}
				from := s
				if row.stale && i > 0 && s.Kind == schemas.Float64 {
					from, i = restamped(s, i-1, row.time), 0
				}
				if !yield(from, i) {
					return
				}
			}
		}
	}
}

// restamped is sample i as if it were of time t.
func restamped(s *schemas.Signal, i int, t int64) *schemas.Signal {
	out := *s.Slice(i, i+1)
	out.Time = []int64{t}
	return &out
}

func (a arrival) rows(log *schemas.Log) []row {
	var times []int64
	for _, s := range log.Signals {
		times = append(times, s.Time...)
	}
	slices.Sort(times)
	var rows []row
	for _, t := range slices.Compact(times) {
		wait := 0.0
		if a.r.Float64() < a.late {
			wait = min(-a.most/3*math.Log(1-a.r.Float64()), a.most)
		}
		row := row{time: t, written: t + schemas.Micros(wait)}
		if a.r.Float64() < a.doubled {
			first := row
			first.stale = a.r.Float64() < 0.2
			rows = append(rows, first)
			if a.r.Float64() < 0.5 {
				row.written += schemas.Micros(a.r.between(0, 1))
			}
		}
		rows = append(rows, row)
	}
	slices.SortStableFunc(rows, func(a, b row) int { return cmp.Compare(a.written, b.written) })
	return rows
}
