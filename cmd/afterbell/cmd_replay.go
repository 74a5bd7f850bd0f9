package main

import (
	"cmp"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"os"
	"strconv"
	"sync/atomic"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/sender"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/period"
	"github.com/afterbell/afterbell/schemas/units"
)

type replayOptions struct {
	to, token, speed     string
	robot, source        string
	event, match         string
	from, until          float64
	asMatch, json, noBad bool

	patience time.Duration // without an ack, before it gives up
	run      string        // names its power-ups; made by chance when empty
}

// replayed is what replay did.
type replayed struct {
	Robot   string   `json:"robot"`
	To      string   `json:"to"`
	Samples int      `json:"samples"`
	Signals int      `json:"signals"`
	Boots   []string `json:"boots"`
	LogS    float64  `json:"log_s"`  // from the first sample to the last
	TookS   float64  `json:"took_s"` // until the last was on the collector's disk
}

func (a *app) replayCommand() *cobra.Command {
	o := replayOptions{patience: 30 * time.Second}
	c := &cobra.Command{
		Use:   "replay MATCH|FILE --to ws://HOST:PORT/v1/live",
		Short: "Send a match to a collector again, as the robot did",
		Long: `Replay sends the samples of a stored match, or of a log file, to a collector, at the pace
at which they were taken, or faster. Names, units, types, times and every bit of the
values are kept, and each power-up in the log becomes one of its own. The collector opens
and closes the match by the mode signal, unless --event or --match asks for it by hand.
It ends when everything is on the collector's disk.`,
		Example: "  afterbell replay millbrook-open/q14/heron --to ws://127.0.0.1:4151/v1/live\n" +
			"  afterbell replay q14.csv --robot heron --speed max --match q14 --to ws://127.0.0.1:4151/v1/live",
		Args: oneArg("a match or a log file"),
		RunE: func(c *cobra.Command, args []string) error { return a.runReplay(c.Context(), args[0], o) },
	}
	f := c.Flags()
	f.StringVar(&o.to, "to", "", "`address` of the collector, ws://HOST:PORT/v1/live")
	f.StringVar(&o.token, "token", os.Getenv("AFTERBELL_TOKEN"), "the collector's `token` (or AFTERBELL_TOKEN)")
	f.StringVar(&o.speed, "speed", "1", "how much faster than it was: a `number`, or max")
	f.StringVar(&o.robot, "robot", "", "send as this `robot`; that of the match when left out")
	f.StringVar(&o.source, "source", "main", "send as this computer of the robot, a `name`")
	f.Float64Var(&o.from, "from", math.Inf(-1), "from this log time, `seconds`")
	f.Float64Var(&o.until, "until", math.Inf(1), "to this log time, `seconds`")
	f.StringVar(&o.event, "event", "", "open the match by hand, at this `event`")
	f.StringVar(&o.match, "match", "", "open the match by hand, with this `name`")
	f.BoolVar(&o.asMatch, "stored", false, "take the argument as a match even when such a file exists")
	f.BoolVar(&o.noBad, "skip-bad-rows", false, "leave bad rows of a file out, and say how many")
	f.BoolVar(&o.json, "json", false, "print what was sent as JSON")
	return c
}

func (a *app) runReplay(ctx context.Context, what string, o replayOptions) error {
	speed, err := o.check()
	if err != nil {
		return err
	}
	log, err := a.logToReplay(ctx, what, &o)
	if err != nil {
		return err
	}
	p, err := newPlayer(log, o)
	if err != nil {
		return err
	}
	r := replayed{Robot: o.robot, To: o.to, Samples: log.Samples(), Signals: len(log.Signals), LogS: schemas.Seconds(p.last - p.first)}
	for _, boot := range p.boots {
		r.Boots = append(r.Boots, boot.Boot())
	}
	began := time.Now()
	if err := p.run(ctx, a, speed, o); err != nil {
		return fmt.Errorf("replaying %s: %w", what, err)
	}
	r.TookS = time.Since(began).Seconds()
	if o.json {
		return a.printJSON(r)
	}
	_, err = fmt.Fprintf(a.stdout, "%d samples of %d signals in %s of %s are on the collector's disk, %.1f s of log in %.1f s\n",
		r.Samples, r.Signals, counted(len(r.Boots), "power-up"), r.Robot, r.LogS, r.TookS)
	return err
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// check says what is wrong with the flags; the speed is infinite for max.
func (o replayOptions) check() (speed float64, err error) {
	if o.to == "" {
		return 0, usagef("--to is missing: name the collector, as in --to ws://127.0.0.1:4151/v1/live")
	}
	speed = math.Inf(1)
	if o.speed != "max" {
		if speed, err = strconv.ParseFloat(o.speed, 64); err != nil || !(speed > 0) || math.IsInf(speed, 0) {
			return 0, usagef("--speed %q is neither a number above 0 nor max", o.speed)
		}
	}
	if math.IsNaN(o.from) || math.IsNaN(o.until) || o.from > o.until {
		return 0, usagef("--from %v is later than --until %v", o.from, o.until)
	}
	for what, name := range map[string]string{"robot": o.robot, "source": o.source, "event": o.event, "match": o.match} {
		if name == "" {
			continue
		}
		if err := schemas.CheckName(what, name); err != nil {
			return 0, usagef("--%s: %w", what, err)
		}
	}
	return speed, nil
}

// logToReplay reads the samples asked for, and fills in the robot.
func (a *app) logToReplay(ctx context.Context, what string, o *replayOptions) (log *schemas.Log, err error) {
	if _, statErr := os.Stat(what); statErr == nil && !o.asMatch {
		if o.robot == "" {
			return nil, usagef("--robot is missing: %s does not say whose log it is", what)
		}
		if log, _, err = a.readLog(ctx, []string{what}, o.noBad); err == nil {
			_, last, _ := log.Bounds()
			log = period.Stretch(log, micros(o.from), micros(o.until), last, period.Holds)
		}
	} else {
		h, openErr := home.Open(a.dataDir)
		if openErr != nil {
			return nil, fmt.Errorf("%s is no file, and there is no data folder to look for a match in: %w", what, openErr)
		}
		id, findErr := h.Find(what)
		if findErr != nil {
			return nil, findErr
		}
		if o.robot == "" {
			o.robot = id.Robot
		}
		log, _, err = a.stretch(h, id, exportOptions{from: o.from, to: o.until})
	}
	if err == nil && log.Samples() == 0 {
		err = fmt.Errorf("%s has no samples there: nothing to replay", what)
	}
	return log, err
}

// player sends a log. Each boot in it has a sender of its own, and all have one clock: in a
// stored match their times are one time already.
type player struct {
	boots       []*sender.Sender
	cursors     []*cursor // a heap, the earliest sample first
	first, last int64     // microseconds of log time
	sent        atomic.Int64
	total       int64
}

// cursor is a stretch of a signal, the samples of one boot that are still to be sent.
type cursor struct {
	signal  *schemas.Signal
	to      *sender.Signal
	at, end int
	order   int // of equal times
}

func (c *cursor) before(d *cursor) bool {
	if s, t := c.signal.Time[c.at], d.signal.Time[d.at]; s != t {
		return s < t
	}
	return c.order < d.order
}

func newPlayer(log *schemas.Log, o replayOptions) (*player, error) {
	p := &player{total: int64(log.Samples())}
	p.first, p.last, _ = log.Bounds()
	began := time.Now()
	clock := func() int64 { return p.first + time.Since(began).Microseconds() }
	run := cmp.Or(o.run, rand.Text()[:12]) // so that a second replay is no repeat of the first
	boots := map[int32]*sender.Sender{}
	for _, number := range log.Boots() {
		b, err := sender.New(sender.Config{
			URL: o.to, Robot: o.robot, Source: o.source, Boot: fmt.Sprintf("replay-%s-%d", run, number),
			Token: o.token, Clock: clock, NoExchange: o.speed != "1", Log: slog.New(slog.DiscardHandler),
		})
		if err != nil {
			return nil, p.abandon(usagef("--to: %w", err))
		}
		boots[number] = b
		p.boots = append(p.boots, b)
	}
	for _, s := range log.Signals {
		for i := 0; i < s.Len(); {
			end := i
			for end < s.Len() && s.BootAt(end) == s.BootAt(i) {
				end++
			}
			to, err := signalOf(boots[s.BootAt(i)], s)
			if err != nil {
				return nil, p.abandon(err)
			}
			p.cursors = append(p.cursors, &cursor{signal: s, to: to, at: i, end: end, order: len(p.cursors)})
			i = end
		}
	}
	for i := len(p.cursors)/2 - 1; i >= 0; i-- {
		p.sink(i)
	}
	return p, nil
}

// signalOf is s in the hands of a sender.
func signalOf(b *sender.Sender, s *schemas.Signal) (*sender.Signal, error) {
	spelled := sender.Spelled(s.Name, s.Unit)
	if name, unit := units.Split(spelled); name != s.Name || unit != s.Unit {
		return nil, fmt.Errorf("signal %q cannot be sent under its name: what stands in brackets at its end would be taken for a unit", s.Name)
	}
	to := b.Signal(spelled, s.Kind)
	return to, to.Err()
}

// abandon ends the senders without waiting, and returns err.
func (p *player) abandon(err error) error {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, b := range p.boots {
		_ = b.Close(ctx) // err says why
	}
	return err
}

// run sends everything and waits until the collector has it.
func (p *player) run(ctx context.Context, a *app, speed float64, o replayOptions) error {
	for _, b := range p.boots {
		if err := p.connect(ctx, b, o.patience); err != nil {
			return p.abandon(err)
		}
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	watched := make(chan struct{})
	go func() {
		defer close(watched)
		p.watch(ctx, a, o.patience, stop)
	}()
	err := p.play(ctx, speed, o)
	for _, b := range p.boots {
		err = errors.Join(err, b.Close(ctx))
	}
	cause := context.Cause(ctx)
	stop(nil)
	<-watched
	if cause != nil {
		return cause
	}
	return errors.Join(err, p.complete())
}

func (p *player) connect(ctx context.Context, b *sender.Sender, patience time.Duration) error {
	ready, cancel := context.WithTimeout(ctx, patience/3)
	defer cancel()
	err := b.Ready(ready)
	var refused *sender.RefusedError
	switch {
	case ctx.Err() != nil:
		return ctx.Err()
	case err == nil || errors.As(err, &refused):
		return err
	default:
		return fmt.Errorf("%w; is a collector running there?", err)
	}
}

// complete makes sure that the collector has every sample.
func (p *player) complete() error {
	var acked, refused uint64
	for _, b := range p.boots {
		st := b.Stats()
		acked += st.Acked
		refused += st.Refused
	}
	if acked != uint64(p.total) {
		return fmt.Errorf("%d of %d samples are on the collector's disk, %d it refused", acked, p.total, refused)
	}
	return nil
}

// watch shows how far it is and what is wrong, and gives up when nothing moves for long.
func (p *player) watch(ctx context.Context, a *app, patience time.Duration, giveUp func(error)) {
	bar := a.progress("sending")
	defer bar.done()
	tick := time.NewTicker(100 * time.Millisecond)
	defer tick.Stop()
	var acked uint64
	moved, trouble := time.Now(), ""
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
		}
		now, waiting, why := uint64(0), uint64(0), ""
		for _, b := range p.boots {
			st := b.Stats()
			now, waiting, why = now+st.Acked+st.Refused, waiting+st.Waiting, why+st.Trouble
		}
		bar.at(p.sent.Load(), p.total)
		if why != "" && why != trouble && isTerminal(a.stderr) {
			a.say("%s; trying again", why)
		}
		trouble = why
		if now != acked || waiting == 0 {
			acked, moved = now, time.Now()
		}
		if time.Since(moved) > patience {
			if why == "" {
				why = "the collector takes nothing"
			}
			giveUp(fmt.Errorf("%d samples are not on the collector's disk after %s: %s", waiting, patience, why))
			return
		}
	}
}

// play hands the samples to the senders in order of time, each when it is due.
func (p *player) play(ctx context.Context, speed float64, o replayOptions) error {
	byHand := o.event != "" || o.match != ""
	if byHand {
		if err := p.boots[0].Match(o.event, o.match, sender.Start, p.first); err != nil {
			return err
		}
	}
	began := time.Now()
	for len(p.cursors) > 0 {
		c := p.cursors[0]
		if !math.IsInf(speed, 1) {
			due := time.Duration(float64(c.signal.Time[c.at]-p.first) / speed * 1000)
			if err := waitUntil(ctx, began.Add(due)); err != nil {
				return err
			}
		}
		if err := c.send(ctx); err != nil {
			return err
		}
		p.sent.Add(1)
		if c.at++; c.at == c.end {
			n := len(p.cursors) - 1
			p.cursors[0], p.cursors = p.cursors[n], p.cursors[:n]
		}
		p.sink(0)
	}
	if byHand {
		return p.boots[0].Match(o.event, o.match, sender.End, p.last)
	}
	return nil
}

// sink moves cursor i down to its place in the heap.
func (p *player) sink(i int) {
	h := p.cursors
	for {
		least := i
		for child := 2*i + 1; child <= 2*i+2 && child < len(h); child++ {
			if h[child].before(h[least]) {
				least = child
			}
		}
		if least == i {
			return
		}
		h[i], h[least] = h[least], h[i]
		i = least
	}
}

// waitUntil sleeps until then, no shorter than what a batch takes anyway.
func waitUntil(ctx context.Context, then time.Time) error {
	left := time.Until(then)
	if left <= 0 {
		return nil
	}
	t := time.NewTimer(max(left, 5*time.Millisecond))
	defer t.Stop()
	select {
	case <-t.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}

// send sends the sample at the cursor, when there is room for it.
func (c *cursor) send(ctx context.Context) error {
	t := c.signal.Time[c.at]
	switch c.signal.Kind {
	case schemas.Float64:
		return c.to.Put(ctx, t, c.signal.Float[c.at])
	case schemas.Int64:
		return c.to.PutInt(ctx, t, c.signal.Int[c.at])
	case schemas.Bool:
		return c.to.PutBool(ctx, t, c.signal.Bool[c.at])
	default:
		return c.to.PutText(ctx, t, c.signal.Text[c.at])
	}
}
