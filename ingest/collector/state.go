package collector

import (
	"math"
	"sync"
	"sync/atomic"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/lately"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// mainSource is the computer of a robot whose clock is that of its matches.
const mainSource = "main"

// boot is one power-up of one source of a robot. Its number is its place in Collector.boots
// and what the frames of the journal call it.
type boot struct {
	Number  uint32       `json:"number"`
	Robot   string       `json:"robot"`
	Source  string       `json:"source"`
	Boot    string       `json:"boot"`
	Entries []wire.Entry `json:"entries"` // of the signals, as journalled
	Seq     uint64       `json:"seq"`     // of the highest batch accepted
	Seen    int64        `json:"seen"`    // collector time of the last message
	Newest  int64        `json:"newest"`  // greatest time of a sample; robot time
	Oldest  int64        `json:"oldest"`  // least time of a sample
	Any     bool         `json:"any"`     // whether there was a sample at all
	Samples int64        `json:"samples"`
	Clock   clock.Track  `json:"clock"`
	// Shift is what was added to robot time for a common time of all boots of the robot, once
	// it was used for a sealed match: it never changes after that.
	Shift *int64 `json:"shift,omitempty"`

	unacked []accepted // batches that are not known to be durable
	watched []bool     // by signal: one the watch looks at
	mapped  []int      // by signal: its place among those the profile names, -1 for none
	counts  []int32    // by signal: samples since the last settle
	names   *wire.Names
	owner   *session // the one connection that may send for it
}

// accepted is a batch and the frame it is in.
type accepted struct{ frame, seq uint64 }

// durable is the highest batch of the boot in a frame up to that one.
func (b *boot) durable(frame uint64) uint64 {
	n := 0
	for n < len(b.unacked) && b.unacked[n].frame <= frame {
		n++
	}
	b.unacked = b.unacked[n:]
	if len(b.unacked) > 0 {
		return b.unacked[0].seq - 1
	}
	return b.Seq
}

// provisional is the shift to a common time as it is known now: by the clock fit, which is
// never worse than 'it was sent before it arrived'.
func (b *boot) provisional() int64 {
	if b.Shift != nil {
		return *b.Shift
	}
	if fit, ok := b.Clock.Fit(); ok {
		return int64(math.Round(fit.Collector(b.Newest))) - b.Newest
	}
	return b.Seen - b.Newest
}

// robot is everything of one robot.
type robot struct {
	name    string
	profile *profile.Profile // nil when nobody gave one
	kept    robotState
	watch   watch
	volts   volts
	lately  *lately.Tracker

	arrived      int64        // collector time of the last batch
	newest       uint64       // number of its frame
	waiting      int64        // collector time of the oldest batch that may hold unsettled samples; 0 for none
	unplaced     int64        // bytes of journal since then
	late         int64        // collector time of the first late batch not looked at; 0 for none
	lateAt       int64        // and of the last
	one          sync.Mutex   // held while settling, and while the journal is read ahead
	ahead        aheadOf      // guarded by one
	aheadSamples atomic.Int64 // held ahead, for who does not hold one
	settling     bool         // guarded by Collector.mu, as all that follows
	failed       error
	retryAt      int64
}

// robotState is what of a robot survives in the journal.
type robotState struct {
	Robot   string         `json:"robot"`
	Manual  []manualMatch  `json:"manual,omitempty"`  // by message, and not settled
	Matches []sealedMatch  `json:"matches,omitempty"` // of the last days, in order of time
	Settled []settledFrame `json:"settled,omitempty"`
	From    uint64         `json:"from"`              // no frame before this has an unsettled sample
	Planned *plan          `json:"planned,omitempty"` // names given and not yet published
}

// manualMatch is one that a message opened.
type manualMatch struct {
	Event string `json:"event"`
	Match string `json:"match"`
	Boot  uint32 `json:"boot"`
	Start *int64 `json:"start,omitempty"` // robot time; nil: that of the first sample to follow
	End   *int64 `json:"end,omitempty"`   // robot time; nil while it runs
	Ended bool   `json:"ended"`
}

// sealedMatch is one that is in the store.
type sealedMatch struct {
	ID     schemas.MatchID `json:"id"`
	Base   int64           `json:"base"` // what was taken from common time for the times of its file
	First  int64           `json:"first"`
	Last   int64           `json:"last"`  // greatest time it may hold, whether reached or not
	Until  int64           `json:"until"` // greatest time of a sample in it
	Start  int64           `json:"start"`
	End    int64           `json:"end"`
	Manual bool            `json:"manual,omitempty"`
	Open   bool            `json:"open,omitempty"` // ended by silence only: it may go on
	Seal   int             `json:"seal"`
	Boots  []uint32        `json:"boots"` // number in its file is the place here
	At     int64           `json:"at"`    // collector time of its start
	Topped bool            `json:"topped"`
	Late   int             `json:"late"`
}

// settledFrame says which samples have their place: those in frames up to Through whose time
// is at or below the horizon of their boot.
type settledFrame struct {
	Through  uint64           `json:"through"`
	Horizons map[uint32]int64 `json:"horizons"` // robot time, by boot
}

// plan is the names that the settle under way gives, so that one that is begun again after
// a crash gives the same.
type plan struct {
	Matches []plannedMatch `json:"matches,omitempty"`
	Idle    string         `json:"idle,omitempty"`
}

type plannedMatch struct {
	ID    schemas.MatchID `json:"id"`
	Start int64           `json:"start"` // common time
	Base  int64           `json:"base"`
	Boots []uint32        `json:"boots"`
}

// robot is the robot of that name, made when it is new. The lock is held.
func (c *Collector) robot(name string) *robot {
	r := c.robots[name]
	if r == nil {
		r = &robot{name: name, profile: c.o.Robots[name]}
		r.kept.Robot = name
		r.watch.mode = modeOf(r.profile)
		r.lately = lately.New(r.profile)
		if r.profile != nil && r.profile.Power != nil {
			r.volts.ref = r.profile.Power.Voltage
		}
		c.robots[name] = r
	}
	return r
}

// putBoot puts a boot into its place. The lock is held.
func (c *Collector) putBoot(b *boot) {
	for len(c.boots) <= int(b.Number) {
		c.boots = append(c.boots, nil)
	}
	c.boots[b.Number] = b
	b.names = &wire.Names{}
	b.names.Restore(b.Entries)
	b.watched, b.mapped = nil, nil
	c.robot(b.Robot).markWatched(b)
}

// findBoot is the boot of that name, or nil. The lock is held.
func (c *Collector) findBoot(robot, source, name string) *boot {
	for _, b := range c.boots {
		if b != nil && b.Robot == robot && b.Source == source && b.Boot == name {
			return b
		}
	}
	return nil
}

// shiftOf brings the time of a boot to the common time of its robot, as well as is known now.
func (c *Collector) shiftOf(number uint32) int64 {
	if b := c.bootOf(number); b != nil {
		return b.provisional()
	}
	return 0
}

func (c *Collector) bootOf(number uint32) *boot {
	if int(number) >= len(c.boots) {
		return nil
	}
	return c.boots[number]
}

// addSignals takes new signals into a boot. The lock is held.
func (c *Collector) addSignals(b *boot, n namesFrame) {
	if n.First > len(b.Entries) {
		return // the frame between was damaged: these numbers mean nothing we know
	}
	b.Entries = append(b.Entries[:n.First:n.First], n.Entries...)
	if len(b.names.Entries) < len(b.Entries) {
		b.names.Restore(b.Entries[len(b.names.Entries):])
	}
	c.robot(b.Robot).markWatched(b)
}

// took notes a batch that is in the journal, and says whether it is time for the watch to
// look. The lock is held.
func (c *Collector) took(r *robot, b *boot, rows *wire.Stored, frame uint64, size int) (look bool) {
	b.Seq = max(b.Seq, rows.Seq)
	b.Seen = max(b.Seen, rows.Arrived)
	b.Samples += int64(rows.Samples)
	r.arrived, r.newest = max(r.arrived, rows.Arrived), frame
	if rows.Samples == 0 {
		return false
	}
	if !b.Any {
		b.Newest, b.Oldest = rows.Newest, rows.Newest
	}
	b.Newest = max(b.Newest, rows.Newest)
	if n := len(b.Entries); len(b.counts) < n {
		b.counts = append(b.counts, make([]int32, n-len(b.counts))...)
	}
	for i := range rows.Samples {
		b.Oldest = min(b.Oldest, rows.TimeAt(i))
		if n := rows.SignalAt(i); int(n) < len(b.counts) {
			b.counts[n]++
		}
	}
	b.Any = true
	b.Clock.Arrived(rows.Newest, rows.Arrived)
	if r.waiting == 0 {
		r.waiting = rows.Arrived
	}
	r.unplaced += int64(size)
	if r.kept.From == 0 {
		r.kept.From = frame
	}
	if r.isLate(b, rows) {
		if r.late == 0 {
			r.late = rows.Arrived
		}
		r.lateAt = rows.Arrived
	}
	r.openedBySample(b, rows)
	r.volts.see(b, rows)
	r.seeMapped(b, rows)
	return r.watch.see(b, rows)
}

// seeMapped takes in what a batch says of the signals that the profile names. The lock is held.
func (r *robot) seeMapped(b *boot, rows *wire.Stored) {
	if r.profile == nil {
		return
	}
	for i := range rows.Samples {
		n := int(rows.SignalAt(i))
		if n >= len(b.mapped) || b.mapped[n] < 0 {
			continue
		}
		e := b.Entries[n]
		v, number := float64(rows.ValueAt(i)), true
		switch e.Kind {
		case schemas.Float64:
			v = math.Float64frombits(rows.ValueAt(i))
		case schemas.Int64:
			v = float64(int64(rows.ValueAt(i)))
		case schemas.Text:
			number = false // its place among the texts: enough to see that it came
		}
		r.lately.See(b.mapped[n], b.Number, rows.TimeAt(i), rows.Arrived, v, number, e.Unit)
	}
}

// isLate is whether a batch holds a sample whose place was given to others already.
func (r *robot) isLate(b *boot, rows *wire.Stored) bool {
	n := len(r.kept.Settled)
	if n == 0 {
		return false
	}
	horizon, ok := r.kept.Settled[n-1].Horizons[b.Number]
	if !ok {
		// A boot the last settle knew nothing of, such as a radio that held everything back.
		return len(r.kept.Matches) > 0 && rows.TimeAt(0)+b.provisional() <= r.kept.Matches[len(r.kept.Matches)-1].Last
	}
	for i := range rows.Samples {
		if rows.TimeAt(i) <= horizon {
			return true
		}
	}
	return false
}

// planned takes over the names and shifts that a settle has fixed. The lock is held.
func (c *Collector) planned(p planFrame) {
	c.robot(p.Robot).kept.Planned = &p.Plan
	for number, shift := range p.Shifts {
		if b := c.bootOf(number); b != nil && b.Shift == nil {
			b.Shift = &shift
		}
	}
}

// recovered looks, after all frames were read, for what a crash interrupted.
func (c *Collector) recovered() {
	c.mu.Lock()
	defer c.mu.Unlock()
	for _, r := range c.robots {
		r.watch.look(c.shiftOf)
		if r.kept.Planned != nil {
			c.startSettle(r, dueEnded)
		}
	}
}
