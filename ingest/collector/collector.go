// Package collector takes in what robots send live, keeps it, and hands whole matches on.
//
// # The way of a sample
//
//	connection ──▶ session ──▶ journal ──▶ settle ──▶ Store
//	 (WebSocket)   one boot    on disk,    samples     match folders, analysis:
//	               at a time   then ack    to matches  handed in, not known here
//
// A session reads the messages of one power-up ("boot") of one computer ("source") of a
// robot. Each batch goes into the journal as one frame, and is acknowledged when the journal
// says that the frame is on stable storage. When a match has ended, settle reads the robot's
// frames again and gives each sample one place: in the match it belongs to, or among the idle
// samples between matches. What has its place leaves the journal.
//
// # What is promised
//
//   - What was acknowledged is on disk. It survives a kill and a loss of power, and comes into
//     the sealed match once: a place that was given is written into the journal, and giving it
//     again after a crash gives the same.
//   - What belongs to a match is decided by package period from the samples themselves, never
//     by when they arrived. The watch (watch.go) only says when it is time to look. So a
//     batch that was held up by the radio ends where it would have ended without.
//   - One order for everything (Collector.mu): the state in memory and the frames of the journal
//     change together, so that reading the frames again makes the same state.
package collector

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
	"sync/atomic"
	"time"

	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Options say how a collector works. Dir, Season, Event and Store are required.
type Options struct {
	Dir     string // of the journal; the collector's own
	Journal journal.Options
	Season  string
	Event   string                      // of matches that no message names
	Robots  map[string]*profile.Profile // what the signals of each robot mean; others are stored only
	Store   Store
	Limits  Limits
	// Ahead is how many bytes of samples may be held in memory, of all robots, before their
	// matches end; 512 MiB. A robot that would need more is sealed somewhat later.
	Ahead int64
	// Token says whether a bearer token may send; nil lets everybody, for loopback only.
	Token func(token string) bool
	Log   *slog.Logger
	// Now is the time; tests replace it.
	Now func() time.Time
}

// Store keeps matches. Its methods may be called from several goroutines, for one robot one
// after another.
type Store interface {
	// Load is the stored samples of a match with their metadata; nil when there is none.
	Load(id schemas.MatchID) (*schemas.Log, map[string]string, error)
	// Taken says whether a name is in use at an event, by any robot.
	Taken(season, event, match string) bool
	// Publish stores a match in place of what is there under its name, at once or not at all.
	Publish(ctx context.Context, m Sealed) error
}

// Sealed is a match on its way into the store.
type Sealed struct {
	ID    schemas.MatchID
	Log   *schemas.Log // normalized, in the time of the first boot of main
	Match period.Match
	At    time.Time         // by the collector's clock, when the match began
	Meta  map[string]string // kept with the samples: boots and clock fits
	Seal  int               // 1 the first time
	Late  int               // samples that came after an earlier seal of what lay before its end
	Idle  bool              // samples outside any match: stored, not analyzed
	// Step is called by the store at the end of each part of its work, with the name of the part:
	// how long each took is told in the log.
	Step func(part string)
}

// Limits bound what senders may do. A field that is 0 has its default.
type Limits struct {
	Message     int64         // bytes of one message; 8 MiB
	Signals     int           // of one power-up; 10 000
	Connections int           // at once; 256
	Rate        int           // samples a second of one connection; 2 000 000. What is above waits.
	Idle        time.Duration // without a message or an answered ping; 60 s
	Hello       time.Duration // from the handshake to hello; 10 s
}

func (l Limits) orDefault() Limits {
	set := func(v *int, d int) {
		if *v == 0 {
			*v = d
		}
	}
	if l.Message == 0 {
		l.Message = 8 << 20
	}
	set(&l.Signals, 10_000)
	set(&l.Connections, 256)
	set(&l.Rate, 2_000_000)
	if l.Idle == 0 {
		l.Idle = time.Minute
	}
	if l.Hello == 0 {
		l.Hello = 10 * time.Second
	}
	return l
}

// Collector is running from Open to Close. Its methods may be called from several goroutines.
type Collector struct {
	o       Options
	journal *journal.Journal
	log     *slog.Logger
	started time.Time // with its monotonic reading
	wall    int64     // the same in microseconds since 1970
	id      string    // of this collector's clock

	mu       sync.Mutex // held while state and journal change together
	robots   map[string]*robot
	boots    []*boot // by number
	sessions map[*session]bool
	found    journal.Recovery
	unread   Unread

	numbered    map[string]int // the last number given in a form of name
	connections int            // open or being opened
	closing     bool

	ctx     context.Context // ends when the collector closes
	stop    context.CancelFunc
	running sync.WaitGroup
	settler chan struct{} // as many tokens as settles may run at once
	filled  chan uint64   // the last frame of the segments that are filled
	counts  counts
}

// counts are for /metrics; they only grow.
type counts struct {
	samples, batches, repeats, gaps, refused, seals, reseals, failedSeals atomic.Int64
}

// Open recovers what an earlier collector left and begins to work. The recovery is also what
// Found returns.
func Open(o Options) (*Collector, error) {
	if o.Log == nil {
		o.Log = slog.New(slog.DiscardHandler)
	}
	if o.Now == nil {
		o.Now = time.Now
	}
	o.Limits = o.Limits.orDefault()
	if o.Ahead == 0 {
		o.Ahead = aheadMost
	}
	c := &Collector{
		o: o, log: o.Log, robots: map[string]*robot{}, sessions: map[*session]bool{},
		settler: make(chan struct{}, 2), filled: make(chan uint64, 1), started: o.Now(), numbered: map[string]int{},
	}
	c.wall = c.started.UnixMicro()
	c.ctx, c.stop = context.WithCancel(context.Background())
	jo := o.Journal
	jo.Dir = o.Dir
	jo.Trouble = c.trouble
	var err error
	if c.journal, c.found, err = journal.Open(jo, c.replay); err != nil {
		c.stop()
		return nil, err
	}
	c.id = identity(o.Dir)
	c.recovered()
	c.running.Go(c.keepHouse)
	c.running.Go(c.readAhead)
	return c, nil
}

// Found is what the journal held when the collector opened.
func (c *Collector) Found() journal.Recovery { return c.found }

// Unread is what of it the collector could not make sense of.
func (c *Collector) Unread() Unread { return c.unread }

// now is collector time: microseconds since 1970 that never step back.
func (c *Collector) now() int64 {
	return c.wall + c.o.Now().Sub(c.started).Microseconds()
}

// Close ends all connections, waits for settles that run, and closes the journal. What is not
// in a match yet stays in the journal for the next collector.
func (c *Collector) Close() error {
	c.mu.Lock()
	c.closing = true
	sessions := make([]*session, 0, len(c.sessions))
	for s := range c.sessions {
		sessions = append(sessions, s)
	}
	c.mu.Unlock()
	c.stop()
	for _, s := range sessions {
		s.end(closeGoingAway, "the collector stops; what is not acknowledged must be sent again")
	}
	c.running.Wait()
	return c.journal.Close()
}

// trouble is called when the disk begins to fail, and with nil when it works again.
func (c *Collector) trouble(err error) {
	if err == nil {
		c.log.Info("the journal takes data again; acknowledging goes on")
		return
	}
	c.log.Error("the journal cannot be written: nothing is acknowledged until it can; make room or check the disk", "err", err)
	c.running.Go(func() { // not in the committer's own goroutine
		c.mu.Lock()
		defer c.mu.Unlock()
		for s := range c.sessions {
			s.storageTrouble(err)
		}
	})
}

// rotateIfFull begins a new segment of the journal when it is time. The lock is held.
func (c *Collector) rotateIfFull() error {
	if !c.journal.Full() {
		return nil
	}
	return c.rotate()
}

func (c *Collector) rotate() error {
	head, err := c.snapshot()
	if err != nil {
		return err
	}
	number, err := c.journal.Rotate(head)
	if err == nil {
		c.segmentFilled(number - 1)
	}
	return err
}

// keepHouse looks once a second for what time alone brings about.
func (c *Collector) keepHouse() {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	for {
		select {
		case <-c.ctx.Done():
			return
		case <-tick.C:
			c.look()
		}
	}
}

// look settles the robots for which it is time.
func (c *Collector) look() {
	c.mu.Lock()
	defer c.mu.Unlock()
	now := c.now()
	for _, r := range c.robots {
		if want := r.due(now, c.pressure()); want != nothingDue {
			c.startSettle(r, want)
		}
	}
}

// pressure is whether the journal has grown so large that idle samples should leave it.
func (c *Collector) pressure() bool {
	bytes, _ := c.journal.Size()
	return bytes > 1<<30
}

// Settle settles a robot's samples now, as if it had been silent for long; it is for tests
// and for those who shut down. It waits until that is done.
func (c *Collector) Settle(name string) error {
	c.mu.Lock()
	r := c.robots[name]
	c.mu.Unlock()
	if r == nil {
		return fmt.Errorf("no robot %q has sent anything", name)
	}
	return c.settleOnce(r, dueAsked)
}

// startSettle settles a robot in the background, unless that is under way; then what is due
// is looked at again when it has ended. The lock is held.
func (c *Collector) startSettle(r *robot, why due) {
	if r.settling || c.closing {
		return
	}
	r.settling = true
	c.running.Go(func() {
		for why != nothingDue {
			select {
			case c.settler <- struct{}{}:
			case <-c.ctx.Done():
				return
			}
			err := c.settleOnce(r, why)
			<-c.settler
			why = c.settled(r, err)
		}
	})
}

// settled notes how a settle ended, and says what is due now. When nothing is, the robot is
// free for the next.
func (c *Collector) settled(r *robot, err error) due {
	c.mu.Lock()
	defer c.mu.Unlock()
	r.settling = false
	if err != nil && c.ctx.Err() != nil {
		return nothingDue // not its fault
	}
	if r.failed = err; err != nil {
		c.counts.failedSeals.Add(1)
		c.log.Error("a match could not be sealed; its samples stay in the journal and it is tried again", "robot", r.name, "err", err)
		r.retryAt = c.now() + failedWait
	}
	why := r.due(c.now(), c.pressure())
	r.settling = why != nothingDue && c.ctx.Err() == nil
	if !r.settling {
		return nothingDue
	}
	return why
}
