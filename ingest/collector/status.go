package collector

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Robots says how each robot is doing that sent something in the last minutes, by name.
func (c *Collector) Robots() []schemas.LiveRobot {
	c.mu.Lock()
	defer c.mu.Unlock()
	out := []schemas.LiveRobot{}
	now := c.now()
	for _, r := range c.robots {
		s := schemas.LiveRobot{Robot: r.name, Analyzed: r.profile != nil, Sealing: r.settling && (r.watch.Complete || r.kept.Planned != nil)}
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
		if shown == nil || !s.Connected && abs(now-shown.Seen) > shownFor { // the clock may have been set back
			continue
		}
		tellClock(&s, shown)
		if r.arrived > 0 {
			silent := float64(max(0, now-r.arrived)) / 1e6
			s.SilentS = &silent
		}
		tellMatch(&s, r, c.shiftOf)
		r.volts.tell(&s)
		r.lately.Until(r.arrived)
		r.lately.Tell(&s, s.Period == schemas.ModeDisabled, s.RunningS)
		if r.failed != nil {
			s.Problem = r.failed.Error()
		}
		if m := r.lastMatch(); m != nil {
			s.Newest, s.Seal = m.ID.Event+"/"+m.ID.Match, m.Seal
		}
		out = append(out, s)
	}
	slices.SortFunc(out, func(a, b schemas.LiveRobot) int { return strings.Compare(a.Robot, b.Robot) })
	return out
}

// shownFor is how long a robot that has gone is still told of.
const shownFor = 120 * second

func tellClock(s *schemas.LiveRobot, b *boot) {
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

func tellMatch(s *schemas.LiveRobot, r *robot, shift func(uint32) int64) {
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
	Ahead        int64   `json:"read_ahead"`     // samples that are in memory already for the match they will be in
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
		h.Ahead += r.aheadSamples.Load()
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
