package collector

import (
	"log/slog"
	"time"
)

// steps are how long the parts of a seal took, for the log: who wonders why a sheet was late
// reads there what it waited for.
type steps struct {
	began, last time.Time
	took        []any // slog attributes
}

func newSteps() steps {
	now := time.Now()
	return steps{began: now, last: now}
}

// done ends a part; what begins now is the next.
func (s *steps) done(name string) {
	now := time.Now()
	s.took = append(s.took, slog.Duration(name, now.Sub(s.last).Round(10*time.Microsecond)))
	s.last = now
}

// told are all parts since the beginning, or since they were told the last time, and how long
// they took together.
func (s *steps) told() (whole, parts slog.Attr) {
	whole = slog.Duration("took", s.last.Sub(s.began).Round(10*time.Microsecond))
	parts = slog.Group("steps", s.took...)
	s.began, s.took = s.last, nil
	return whole, parts
}
