// Package sender sends what a robot program measures to the collector on the pit laptop, and
// never makes the robot wait for it.
//
// Make one Sender when the program starts, one Signal for each thing measured, and record
// samples from the control loop: a sample costs well under a microsecond and no allocation.
// Everything else (batches, the network, the disk) happens in the background. The example
// is a whole program to copy.
//
// # What is promised
//
//   - Recording never waits for network or disk. When samples come faster than they can be
//     taken up, the newest are counted in Stats.Dropped and left out.
//   - A batch stays in the spool until the collector says that it is on its disk. After a lost
//     connection it is sent again, and the collector takes each batch once.
//   - The spool is bounded. When it is full, the oldest batches lose their samples, counted in
//     Stats.Lost, and keep their numbers.
//   - With Spool.Dir the spool is on disk and outlives the program. The next one sends what was
//     left, also that of an earlier power-up. Without it, use another Boot for every start.
//
// Times are the robot's own, in microseconds; they need not start at zero.
package sender

import (
	"context"
	"crypto/rand"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"math"
	"net/url"
	"strings"
	"sync"
	"time"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// Config says who sends, to where and how. URL and Robot are required.
type Config struct {
	// URL is that of the collector, such as ws://10.0.0.5:4151/v1/live. With "mdns:" the sender asks
	// the network for it each time it connects, with "mdns:10.0.0.2" the network in which this robot
	// has that address. Whoever is in that network can answer, and gets the token.
	URL    string
	Robot  string      // as in its profile
	Source string      // which computer of the robot; main
	Boot   string      // unique for this power-up; a new one for each Sender
	Token  string      // the collector's, when it asks for one
	TLS    *tls.Config // for wss://, such as the collector's own certificate among RootCAs
	Spool  Spool
	// Every is the time from one batch to the next; 20 ms.
	Every time.Duration
	// Ring is how many samples may come between two batches; 65 536, less with a small spool.
	Ring int
	// Clock is the robot's time in microseconds, by the clock that the samples' times are of;
	// the time since New.
	Clock func() int64
	// NoExchange compares no clocks: for samples that are sent at another pace than that at
	// which they were taken.
	NoExchange bool
	// Log gets what a person should know; slog.Default().
	Log *slog.Logger

	pace    pace   // tests are in a hurry
	service string // and ask for another than announce.Service
}

// Spool says where batches wait until the collector has them.
type Spool struct {
	Bytes int64  // at most; 64 MiB in memory, 1 GiB on disk
	Dir   string // on disk, in this folder, which one Sender at a time has; in memory when empty
}

// Least is the smallest spool in bytes.
const Least = 64 << 10

// Stats counts samples since New, and says how things are. Acked, Lost and Refused also count
// what an earlier program left in the spool; but for that Recorded is Acked, Lost, Refused and
// Waiting together.
type Stats struct {
	Recorded uint64 // taken from the program
	Acked    uint64 // on the collector's disk
	Waiting  uint64 // recorded, and none of Acked, Lost and Refused yet
	Dropped  uint64 // not taken: there was no room
	Unfit    uint64 // not taken: of another kind than the signal, no UTF-8, too long, or after Close
	Lost     uint64 // taken, and dropped from a full spool before the collector had them
	Refused  uint64 // taken, and refused by the collector more than once

	Batches   uint64 // acked
	Spooled   int64  // bytes
	Connects  uint64 // connections that were welcomed
	Connected bool
	Trouble   string // why there is no connection; empty when there is one
}

// Sender sends the samples of one robot computer. Its methods may be called from several
// goroutines.
type Sender struct {
	c     Config
	ring  *ring
	spool *spool
	guard io.Closer // of the spool's folder
	log   *slog.Logger

	mu      sync.Mutex // of the names
	signals map[string]*Signal

	misfits chan error    // to be logged
	kick    chan struct{} // cut now
	closing chan struct{} // cut for the last time and end
	cutDone chan struct{}
	stop    context.CancelFunc
	running sync.WaitGroup
	once    sync.Once
}

// New makes a sender and begins to connect. It does not wait for the collector, which may
// come later. An error says what is wrong with the configuration, or that the folder of the
// spool cannot be used.
func New(c Config) (*Sender, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	guard, err := guardSpool(c.Spool.Dir)
	if err != nil {
		return nil, err
	}
	p, err := openSpool(c)
	if err != nil {
		return nil, errors.Join(err, guard.Close())
	}
	ctx, stop := context.WithCancel(context.Background())
	s := &Sender{
		c: c, guard: guard, ring: newRing(c.Ring, textBytes(c.Spool.Bytes)), spool: p, log: c.Log, stop: stop, signals: map[string]*Signal{},
		misfits: make(chan error, 16), kick: make(chan struct{}, 1), closing: make(chan struct{}), cutDone: make(chan struct{}),
	}
	own := &link{c: c, spool: p, clock: c.Clock}
	if c.NoExchange {
		own.clock = nil
	}
	s.running.Go(s.cutting)
	s.running.Go(func() { own.run(ctx) })
	if c.Spool.Dir != "" {
		s.running.Go(func() { sendLeftovers(ctx, c) })
	}
	return s, nil
}

// check says what is wrong, and fills in what was left out.
func (c *Config) check() error {
	u, err := url.Parse(c.URL)
	switch {
	case strings.HasPrefix(c.URL, discover):
		if _, err := via(c.URL); err != nil {
			return err
		}
	case err != nil:
		return fmt.Errorf("the collector's address: %w", err)
	case u.Scheme != "ws" && u.Scheme != "wss" || u.Host == "":
		return fmt.Errorf("the collector's address %q is not of the form ws://HOST:PORT%s", c.URL, wire.Path)
	case u.Path == "" || u.Path == "/":
		u.Path = wire.Path
		c.URL = u.String()
	}
	if c.Source == "" {
		c.Source = "main"
	}
	if err := errors.Join(schemas.CheckName("robot", c.Robot), schemas.CheckName("source", c.Source)); err != nil {
		return err
	}
	if c.Boot == "" {
		c.Boot = rand.Text()
	}
	if c.Spool.Bytes == 0 {
		c.Spool.Bytes = 64 << 20
		if c.Spool.Dir != "" {
			c.Spool.Bytes = 1 << 30
		}
	}
	if c.Spool.Bytes < Least {
		return fmt.Errorf("a spool of %d bytes is too small: give it %d or more", c.Spool.Bytes, Least)
	}
	if c.Every == 0 {
		c.Every = 20 * time.Millisecond
	}
	if c.Every < 0 {
		return fmt.Errorf("%s from batch to batch is negative", c.Every)
	}
	// Two rings at most are on their way into the spool, of which a blocking sender leaves
	// half free.
	most := int(min(c.Spool.Bytes/4/(rowBytes+1)/2, 65_536))
	if c.Ring <= 0 || c.Ring > most {
		c.Ring = most
	}
	if c.Clock == nil {
		began := time.Now()
		c.Clock = func() int64 { return time.Since(began).Microseconds() }
	}
	if c.Log == nil {
		c.Log = slog.Default()
	}
	c.pace = c.pace.orDefault()
	return nil
}

// textBytes is how much text may come between two batches.
func textBytes(spool int64) int { return int(min(spool/16, 1<<20)) }

// Now is the robot's time in microseconds, by Config.Clock.
func (s *Sender) Now() int64 { return s.c.Clock() }

// Boot is the name of this power-up.
func (s *Sender) Boot() string { return s.c.Boot }

// The states of a match.
const (
	Start = "start"
	End   = "end"
)

// Newest stands for the time of the newest sample in Match.
const Newest = math.MinInt64

// Match opens or closes a match by hand, at atUS in robot time or Newest. It needs neither:
// without it the mode signal of the robot's profile opens and closes matches. The message keeps
// its place among the samples and is sent again until the collector has it. event and match may
// be empty: the collector then names them.
func (s *Sender) Match(event, match, state string, atUS int64) error {
	if event != "" {
		if err := schemas.CheckName("event", event); err != nil {
			return err
		}
	}
	if match != "" {
		if err := schemas.CheckName("match", match); err != nil {
			return err
		}
	}
	if state != Start && state != End {
		return fmt.Errorf("the state of a match is %s or %s, not %q", Start, End, state)
	}
	return s.ring.mark(mark{event: event, match: match, state: state, at: atUS})
}

// Stats is how things are.
func (s *Sender) Stats() Stats {
	recorded, dropped, unfit := s.ring.counts()
	st := s.spool.stats(recorded)
	st.Dropped, st.Unfit = dropped, unfit
	return st
}

// Ready waits until the collector has welcomed this sender, or says why it has not when ctx
// ends. Robot programs need not call it.
func (s *Sender) Ready(ctx context.Context) error { return s.spool.ready(ctx) }

// ErrClosed is returned by calls on a closed sender.
var ErrClosed = errors.New("the sender is closed")

// Close takes no more samples, and returns when everything recorded is on the collector's
// disk or ctx has ended; the error then says how many samples are not. What is in a spool on
// disk is sent by the next program that uses it.
func (s *Sender) Close(ctx context.Context) error {
	var err error
	closed := false
	s.once.Do(func() {
		closed = true
		s.ring.close()
		close(s.closing)
		<-s.cutDone
		err = s.spool.drained(ctx)
		s.stop()
		s.running.Wait()
		if closeErr := errors.Join(s.spool.close(), s.guard.Close()); err == nil {
			err = closeErr
		}
	})
	if !closed {
		return ErrClosed
	}
	return err
}
