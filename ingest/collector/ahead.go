package collector

import (
	"slices"
	"time"
)

// What belongs to a match is known only when it has ended, but that its samples will be
// wanted is known before. So the journal's segments are read as they are filled, while the
// match runs, and little is left to read when it ends. Settling gets what it would have read
// by itself: the same frames by the same code, only earlier.

// aheadMost is how many bytes all robots together may hold in memory before their matches end.
// A robot that would need more is read from the journal at the end. Chosen by us: four matches
// of seven million samples.
const aheadMost = 512 << 20

// aheadRest is how many times as long as it has read the reader rests, so that a flood of
// batches is acknowledged first. At a tenth of the time it still reads a million samples a
// second, more than robots send.
const aheadRest = 9

// aheadOf is what was read ahead of a robot.
type aheadOf struct {
	read    *gathered // nil when there is nothing
	tooMuch bool      // until the next settle
}

// takeAhead is what was read ahead, or else nothing yet; it is the caller's from now on.
// r.one is held.
func (r *robot) takeAhead(state robotState) *gathered {
	g := r.ahead.read
	r.ahead = aheadOf{}
	r.aheadSamples.Store(0)
	if g == nil {
		return newGathered(state)
	}
	return g
}

// readAhead reads segments of the journal as they are filled.
func (c *Collector) readAhead() {
	for {
		select {
		case <-c.ctx.Done():
			return
		case through := <-c.filled:
			began := time.Now()
			if err := c.aheadThrough(through); err != nil {
				c.log.Warn("the journal cannot be read ahead; it is read when the match ends", "err", err)
			}
			select {
			case <-time.After(aheadRest * time.Since(began)):
			case <-c.ctx.Done():
			}
		}
	}
}

// segmentFilled says that all frames up to that one lie in segments that are not written any
// more. It waits for nobody: the newest news counts.
func (c *Collector) segmentFilled(through uint64) {
	select {
	case <-c.filled:
	default:
	}
	select {
	case c.filled <- through:
	default:
	}
}

// aheadThrough reads up to that frame for all robots that are not being settled.
func (c *Collector) aheadThrough(through uint64) error {
	for {
		durable, turned := c.journal.Durable()
		if durable >= through {
			break
		}
		select {
		case <-turned:
		case <-c.ctx.Done():
			return nil
		}
	}
	var robots []*robot
	var into []*gathered
	c.mu.Lock()
	for _, r := range c.robots {
		if r.kept.From == 0 || !r.one.TryLock() {
			continue
		}
		defer r.one.Unlock()
		if r.ahead.tooMuch {
			continue
		}
		if r.ahead.read == nil {
			r.ahead.read = newGathered(cloneState(r.kept))
		}
		r.ahead.read.view(c.views(r))
		robots, into = append(robots, r), append(into, r.ahead.read)
	}
	c.mu.Unlock()
	if err := c.gather(through, into...); err != nil {
		for _, r := range robots { // what was taken of it is not known
			r.ahead.read = nil
			r.aheadSamples.Store(0)
		}
		return err
	}
	for _, g := range into {
		g.makeRoom()
	}
	shed(robots, c.o.Ahead)
	for _, r := range robots {
		r.aheadSamples.Store(0)
		if r.ahead.read != nil {
			r.aheadSamples.Store(int64(r.ahead.read.samples))
		}
	}
	return nil
}

// makeRoom has room in all columns for what is not read yet when the match ends, a segment of
// the journal and some more. The columns of a robot fill at the same pace and so grow at the
// same time, all that is gathered is then copied, and that should not happen while somebody
// waits for the sheet.
func (g *gathered) makeRoom() {
	for _, p := range g.boots {
		for i := range p.columns {
			c := &p.columns[i]
			c.times, c.values, c.texts = roomy(c.times), roomy(c.values), roomy(c.texts)
		}
	}
}

func roomy[T any](column []T) []T {
	if n := len(column); cap(column)-n < n/6 {
		return slices.Grow(column, n/4)
	}
	return column
}

// shed forgets what was read of the robots that hold most, until all hold less than most bytes.
func shed(robots []*robot, most int64) {
	total := int64(0)
	for _, r := range robots {
		total += r.ahead.read.bytes()
	}
	for total > most {
		var largest *robot
		for _, r := range robots {
			if r.ahead.read != nil && (largest == nil || r.ahead.read.bytes() > largest.ahead.read.bytes()) {
				largest = r
			}
		}
		total -= largest.ahead.read.bytes()
		largest.ahead = aheadOf{tooMuch: true}
	}
}

// bytes is about how much memory the samples take.
func (g *gathered) bytes() int64 {
	n := int64(0)
	for _, p := range g.boots {
		for _, c := range p.columns {
			n += int64(cap(c.times)+cap(c.values))*8 + int64(cap(c.texts))*16 + c.textBytes
		}
	}
	return n
}
