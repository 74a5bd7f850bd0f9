package collector

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Status is what can be said of a robot that is being collected.
type Status struct {
	Robot     string  `json:"robot"`
	Profile   bool    `json:"profile"` // without one it is stored, and not analyzed
	Connected bool    `json:"connected"`
	Sources   int     `json:"sources"` // power-ups sending now
	Match     string  `json:"match"`   // of a match that was opened by hand and runs
	Running   bool    `json:"running"` // a match runs
	Period    string  `json:"period"`
	RunningS  float64 `json:"running_s"` // since it began
	// SilentS is the age of the newest batch in seconds; null before the first.
	SilentS  *float64 `json:"silent_s"`
	Samples  int64    `json:"samples"` // since their power-ups were first heard of
	OffsetMS *float64 `json:"offset_ms"`
	BoundMS  *float64 `json:"bound_ms"` // the offset is right to within this; null when only arrivals tell it
	Sealing  bool     `json:"sealing"`
	Problem  string   `json:"problem"` // why the newest match could not be sealed
	Newest   string   `json:"newest"`  // the newest sealed match
}

// Robots says how each robot is doing that sent something in the last minutes, by name.
func (c *Collector) Robots() []Status {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := []Status{}
	now := c.now()
	for _, r := range c.robots {
		s := Status{Robot: r.name, Profile: r.profile != nil, Sealing: r.settling && (r.watch.Complete || r.kept.Planned != nil)}
		var shown *boot
		for _, b := range c.boots {
			if b == nil || b.Robot != r.name {
				continue
			}
			s.Samples += b.Samples
			if b.owner != nil {
				s.Connected = true
				s.Sources++
			}
			if shown == nil || (b.Source == "main") == (shown.Source == "main") && b.Seen > shown.Seen || b.Source == "main" && shown.Source != "main" {
				shown = b
			}
		}
		if shown == nil || !s.Connected && now-shown.Seen > shownFor {
			continue
		}
		s.clock(shown)
		if r.arrived > 0 {
			silent := float64(max(0, now-r.arrived)) / 1e6
			s.SilentS = &silent
		}
		s.running(r, c.shiftOf)
		if r.failed != nil {
			s.Problem = r.failed.Error()
		}
		if m := r.lastMatch(); m != nil {
			s.Newest = m.ID.Match
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b Status) int { return strings.Compare(a.Robot, b.Robot) })
	return out
}

// shownFor is how long a robot that has gone is still told of.
const shownFor = 120 * second

func (s *Status) clock(b *boot) {
	if _, ok := b.Clock.Fit(); !ok {
		return
	}
	offset, bound := b.Clock.BoundAt(b.Newest)
	offset /= 1e3
	s.OffsetMS = &offset
	if !math.IsInf(bound, 0) && !math.IsNaN(bound) {
		bound /= 1e3
		s.BoundMS = &bound
	}
}

func (s *Status) running(r *robot, shift func(uint32) int64) {
	s.Period = schemas.ModeDisabled
	if r.watch.mode != nil {
		s.Period = r.watch.Period
	}
	start := r.watch.Start
	s.Running = r.watch.Open
	if n := len(r.kept.Manual); r.manualOpen() {
		m := r.kept.Manual[n-1]
		s.Running, s.Match = true, m.Match
		start = r.watch.newest
		if m.Start != nil {
			start = *m.Start + shift(m.Boot)
		}
	}
	if s.Running {
		s.RunningS = float64(max(0, r.watch.newest-start)) / 1e6
	}
}

// Health says whether everything that is acknowledged can be kept.
type Health struct {
	OK           bool    `json:"ok"`
	Problem      string  `json:"problem"`
	JournalBytes int64   `json:"journal_bytes"`
	Segments     int     `json:"journal_segments"`
	Connections  int     `json:"connections"`
	Unplaced     int64   `json:"unsealed_bytes"` // samples that have no match folder yet
	UptimeS      float64 `json:"uptime_s"`
}

// Health is for /healthz.
func (c *Collector) Health() Health {
	trouble := c.journal.Trouble()
	h := Health{OK: trouble == nil}
	h.JournalBytes, h.Segments = c.journal.Size()
	c.mu.Lock()
	defer c.mu.Unlock()
	if trouble != nil {
		h.Problem = trouble.Error()
	}
	h.Connections = c.connections
	for _, r := range c.robots {
		h.Unplaced += r.unplaced
		if r.failed != nil {
			h.OK = false
			h.Problem = r.failed.Error()
		}
	}
	h.UptimeS = float64(c.now()-c.wall) / 1e6
	return h
}

// Counts are the totals since the collector opened, for metrics.
type Counts struct {
	Samples, Batches, Repeats, Gaps, Refused, Seals, Reseals, FailedSeals int64
}

// Counts are for /metrics.
func (c *Collector) Counts() Counts {
	n := &c.counts
	return Counts{
		Samples: n.samples.Load(), Batches: n.batches.Load(), Repeats: n.repeats.Load(), Gaps: n.gaps.Load(),
		Refused: n.refused.Load(), Seals: n.seals.Load(), Reseals: n.reseals.Load(), FailedSeals: n.failedSeals.Load(),
	}
}
