package collector

import (
	"cmp"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// settling is one look at a robot's samples that have no place yet.
//
// All boots of the robot are put on one common time, which is the collector's by the best fit
// of each boot's clock. The shift of a boot is a whole number of microseconds and the same for
// all its samples, so that no two samples can fall together; what its clock drifts within a
// match is in the bound that is stored beside it. Matches are found in common time, and
// stored in that of the first boot of main.
type settling struct {
	c     *Collector
	r     *robot
	why   due
	state robotState
	views map[uint32]bootView

	g       *gathered
	all     []uint32     // boots of log, by their number in it
	log     *schemas.Log // of what is gathered and of the stored matches it may belong to
	loaded  []sealedMatch
	first   int64 // of what is gathered, in common time
	last    int64
	found   []stretch // matches, in order of time, that can be stored now
	running *stretch  // one that goes on
	manual  int       // of state.Manual are done with
	steps   steps
	ahead   int // samples that were read ahead
}

// settleOnce gives the robot's samples their places as far as that can be told now.
func (c *Collector) settleOnce(r *robot, why due) error {
	r.one.Lock()
	defer r.one.Unlock()
	s := settling{c: c, r: r, why: why, steps: newSteps()}
	if err := s.gather(); err != nil {
		return err
	}
	s.steps.done("read")
	if s.g.samples == 0 {
		return s.finish(nil, math.MinInt64)
	}
	if err := s.load(); err != nil {
		return err
	}
	s.find()
	horizon := s.horizon()
	s.steps.done("place")
	stored, err := s.store(horizon)
	if err != nil {
		return err
	}
	return s.finish(stored, horizon)
}

// gather takes a view of the robot as it is now, and reads what has no place.
func (s *settling) gather() error {
	c := s.c
	c.mu.Lock()
	s.state = cloneState(s.r.kept)
	s.views = c.views(s.r)
	through := c.journal.Last()
	if s.why == dueSilence && c.now()-s.r.arrived <= silence {
		s.why = dueEnded // it came back meanwhile
	}
	c.mu.Unlock()
	if c.flush() != nil {
		through, _ = c.journal.Durable()
	}
	s.steps.done("flush")
	s.g = s.r.takeAhead(s.state)
	s.ahead = s.g.samples
	s.g.view(s.views)
	if err := c.gather(through, s.g); err != nil {
		return err
	}
	s.first, s.last = s.g.bounds()
	return nil
}

// forced is whether what runs is taken as ended.
func (s *settling) forced() bool { return s.why == dueSilence || s.why == dueAsked }

// flush waits for the disk, but not for one that fails.
func (c *Collector) flush() error {
	ctx, cancel := context.WithTimeout(c.ctx, 5*time.Second)
	defer cancel()
	if err := c.journal.Trouble(); err != nil {
		return err
	}
	return c.journal.Flush(ctx.Done())
}

func cloneState(s robotState) robotState {
	var out robotState
	if err := json.Unmarshal(encode(s), &out); err != nil { // our own bytes
		panic(err)
	}
	return out
}

// views are the robot's boots with their shifts. Boots of one source follow one another: a
// robot does not send before it starts, whatever the fits say. The lock is held.
func (c *Collector) views(r *robot) map[uint32]bootView {
	out := map[uint32]bootView{}
	ends := map[string]int64{}
	for _, b := range c.boots {
		if b == nil || b.Robot != r.name {
			continue
		}
		v := bootView{number: b.Number, source: b.Source, entries: slices.Clone(b.Entries), shift: b.provisional(), counts: slices.Clone(b.counts)}
		if end, ok := ends[b.Source]; ok && b.Shift == nil && b.Any && b.Oldest+v.shift <= end {
			v.shift = end + 1 - b.Oldest
		}
		out[b.Number] = v
		if b.Any {
			ends[b.Source] = max(ends[b.Source], b.Newest+v.shift)
		}
	}
	return out
}

// load reads the stored matches that what is gathered may belong to, and makes one log of all.
func (s *settling) load() error {
	var signals []*schemas.Signal
	boots := map[uint32]bool{}
	for n := range s.g.boots {
		boots[n] = true
	}
	for _, m := range s.state.Matches {
		until := m.Last
		if m.Open {
			until += silence
		}
		if s.first > until || s.last < m.First || m.Seal == 0 {
			continue
		}
		s.loaded = append(s.loaded, m)
		for _, n := range m.Boots {
			boots[n] = true
		}
	}
	s.all = slices.Sorted(maps.Keys(boots))
	numbers := map[uint32]int32{}
	for i, n := range s.all {
		numbers[n] = int32(i)
	}
	for _, m := range s.loaded {
		log, _, err := s.c.o.Store.Load(m.ID)
		if err != nil {
			return fmt.Errorf("reading %s, to add samples to it: %w", m.ID, err)
		}
		if log == nil {
			continue // someone removed it; what is gathered is stored anew
		}
		for _, sig := range log.Signals {
			renumber(sig, func(n int32) int32 { return numbers[m.Boots[min(int(n), len(m.Boots)-1)]] })
			for i := range sig.Time {
				sig.Time[i] += m.Base
			}
		}
		signals = append(signals, log.Signals...)
	}
	fresh := s.g.log(numbers)
	s.log = fresh
	if len(signals) > 0 {
		s.log = merged(append(signals, fresh.Signals...))
	}
	return nil
}

// horizon is the common time up to which everything gets its place now.
func (s *settling) horizon() int64 {
	horizon := int64(math.MinInt64)
	for _, m := range s.found {
		horizon = max(horizon, m.Last)
	}
	switch s.why {
	case dueIdle:
		horizon = max(horizon, s.last-leadIn-second)
	case dueSilence, dueAsked:
		horizon = max(horizon, s.last)
	}
	if s.running != nil {
		horizon = min(horizon, s.running.First-1)
	}
	return horizon
}

// store names what was found, writes the names down, and publishes it. It returns the
// matches as they are now stored.
func (s *settling) store(horizon int64) ([]sealedMatch, error) {
	idle := s.idleLog(horizon)
	plans, shifts := s.plan(idle != nil)
	c := s.c
	c.mu.Lock()
	f := planFrame{Robot: s.r.name, Plan: plans, Shifts: shifts}
	_, err := c.journal.Append(framePlan, encode(f))
	if err == nil {
		c.planned(f)
	}
	c.mu.Unlock()
	if err != nil {
		return nil, err
	}
	if err := c.flush(); err != nil {
		return nil, err
	}
	s.steps.done("plan")
	var out []sealedMatch
	for i, m := range s.found {
		if m.known != nil && !s.touches(m) {
			kept := *m.known
			kept.Topped = kept.Topped || m.topped
			out = append(out, kept)
			continue
		}
		sealed, err := s.publish(m, plans.Matches[i], i == len(s.found)-1)
		if err != nil {
			return nil, err
		}
		out = append(out, sealed)
	}
	if idle != nil {
		if err := s.publishIdle(idle, plans.Idle); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// finish writes down what has its place now, and drops what the journal need not keep.
func (s *settling) finish(stored []sealedMatch, horizon int64) error {
	c, r := s.c, s.r
	c.mu.Lock()
	k := &r.kept
	k.Planned = nil
	k.Manual = slices.Delete(k.Manual, 0, min(s.manual, len(k.Manual)))
	for _, m := range stored {
		at := slices.IndexFunc(k.Matches, func(o sealedMatch) bool { return o.ID == m.ID })
		if at >= 0 {
			k.Matches[at] = m
		} else {
			k.Matches = append(k.Matches, m)
		}
	}
	slices.SortFunc(k.Matches, func(a, b sealedMatch) int { return cmp.Compare(a.Start, b.Start) })
	if horizon > math.MinInt64 {
		f := settledFrame{Through: s.g.through, Horizons: s.horizonsAt(horizon)}
		k.Settled = append(k.Settled, f)
		r.watch.settledTo(f.Horizons)
		r.watch.look(c.shiftOf)
	}
	if horizon > math.MinInt64 {
		for n := range s.views {
			if b := c.bootOf(n); b != nil { // not forgotten meanwhile
				clear(b.counts) // about: what stays behind is not counted
			}
		}
	}
	from, arrived, bytes := s.g.rest(k.Settled)
	k.From = from
	if n := len(k.Settled); n > 0 { // the newest stays: late is told by it
		newest := k.Settled[n-1]
		k.Settled = slices.DeleteFunc(k.Settled[:n-1], func(f settledFrame) bool { return f.Through < from })
		k.Settled = append(k.Settled, newest)
	}
	k.forgetOld(c.now())
	r.waiting, r.unplaced, r.late = arrived, bytes, 0
	if r.newest > s.g.through && r.waiting == 0 {
		r.waiting = c.now() // what came meanwhile
	}
	if len(stored) > 0 {
		r.volts.lowestSet = false // the next match has its own
	} else {
		r.retryAt = c.now() + lateWait // nothing could be told yet
	}
	_, err := c.journal.Append(frameSettled, encode(settledStateFrame{*k, r.waiting, r.unplaced}))
	c.forgetBoots()
	if err == nil {
		err = c.rotate()
	}
	oldest := c.oldest()
	c.mu.Unlock()
	if err != nil {
		return err
	}
	if err := c.flush(); err != nil {
		return err
	}
	if _, err := c.journal.DropBefore(oldest); err != nil {
		c.log.Warn("an old file of the journal cannot be removed", "err", err)
	}
	return nil
}

func (s *settling) horizonsAt(horizon int64) map[uint32]int64 {
	out := map[uint32]int64{}
	for n, v := range s.views {
		out[n] = horizon - v.shift
	}
	return out
}

// remembered is how long matches, and what a boot has sent, are remembered.
const remembered = 7 * 24 * 3600 * second

func (k *robotState) forgetOld(now int64) {
	k.Matches = slices.DeleteFunc(k.Matches, func(m sealedMatch) bool { return m.Topped && now-m.At > remembered })
}

// forgetBoots forgets boots that were not heard of for long. The lock is held.
func (c *Collector) forgetBoots() {
	for i, b := range c.boots {
		if b == nil || b.owner != nil || c.now()-b.Seen <= remembered {
			continue
		}
		if r := c.robots[b.Robot]; r == nil || r.waiting == 0 {
			c.boots[i] = nil
		}
	}
}

// oldest is the number of the first frame that any robot still needs, or that was not
// understood. The lock is held.
func (c *Collector) oldest() uint64 {
	oldest := uint64(math.MaxUint64)
	if c.unread.Frames > 0 {
		oldest = c.unread.First
	}
	for _, r := range c.robots {
		if r.kept.From > 0 {
			oldest = min(oldest, r.kept.From)
		}
	}
	return oldest
}
