package main

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/profile"
)

// liveDir is where in the data folder the collector keeps what is its own.
const liveDir = ".live"

// defaultLive is where robots send to when nobody says otherwise.
const defaultLive = "127.0.0.1:4151"

type collectOptions struct {
	profiles, watch []string
	listen, pages   string
	lan             lanOptions
	season, event   string
	tlsCert, tlsKey string
	limits          collector.Limits
	commitEvery     time.Duration
	pendingMiB      int
	messageMiB      int
	aheadMiB        int
	noAnnounce      bool
}

func (a *app) collectCommand() *cobra.Command {
	var o collectOptions
	c := &cobra.Command{
		Use:   "collect --profile robot.yaml...",
		Short: "Take in what robots send live, and make a sheet when a match ends",
		Long: `Collect listens for robots over WebSocket, keeps every sample on disk before it
acknowledges it, and seals and analyzes a match when its mode signal (or a message) ends
it. The pages are served by the same process. What was acknowledged survives a crash and
a loss of power; start collect again and it goes on where it was.

On loopback anybody on this machine may send. On any other address a token is needed:
make one with 'afterbell collect token'. There the collector also tells the networks it
listens on where it is (multicast DNS), so that a sender can ask for it: its address and
port, the path, whether it encrypts, and its version. --no-announce keeps it quiet.

schemas/live.md says what a robot sends. /healthz on the listening address says whether
everything can be kept, /metrics how much came (Prometheus text format).`,
		Example: "  afterbell collect --profile heron.yaml --event millbrook-open\n" +
			"  afterbell collect --profile heron.yaml --profile curlew.yaml --listen 0.0.0.0:4151 --tls-cert cert.pem --tls-key key.pem",
		Args: noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := o.lan.check(c.Flags().Changed); err != nil {
				return err
			}
			return a.runCollect(c.Context(), o)
		},
	}
	f := c.Flags()
	f.StringArrayVar(&o.profiles, "profile", nil, "robot `profile` (robot.yaml), one for each robot; others are stored, not analyzed")
	f.StringArrayVar(&o.watch, "watch", nil, "take in the logs that come into this `folder` too, as 'afterbell watch' does; may be given again")
	f.StringVar(&o.listen, "listen", defaultLive, "`address` for robots; port 0 picks a free one")
	f.StringVar(&o.pages, "pages", defaultListen, "loopback `address` for the pages, or off")
	o.lan.flags(f)
	f.StringVar(&o.season, "season", "", "`season`; this year when left out")
	f.StringVar(&o.event, "event", "practice", "`event` of matches that no message names")
	f.StringVar(&o.tlsCert, "tls-cert", "", "certificate `file` (PEM): robots connect with wss://")
	f.StringVar(&o.tlsKey, "tls-key", "", "key `file` of the certificate (PEM)")
	f.BoolVar(&o.noAnnounce, "no-announce", false, "do not tell the network where the collector is; on loopback it never does")
	f.IntVar(&o.messageMiB, "max-message-mib", 8, "longest message in `MiB`; a longer one ends its connection (close code 1009)")
	f.IntVar(&o.limits.Signals, "max-signals", 10_000, "most signals of one power-up of a robot (error too_many)")
	f.IntVar(&o.limits.Connections, "max-connections", 256, "most connections at once (HTTP 503)")
	f.IntVar(&o.limits.Rate, "max-rate", 2_000_000, "most samples a second of one connection; a faster sender waits")
	f.DurationVar(&o.limits.Idle, "idle-timeout", time.Minute, "a connection on which nothing comes for so long, not even the answer to a ping, is ended")
	f.DurationVar(&o.commitEvery, "commit-every", 5*time.Millisecond, "least time from one sync of the disk to the next; acknowledgements wait that much longer")
	f.IntVar(&o.pendingMiB, "max-pending-mib", 64, "most `MiB` that may wait for the disk; then senders wait")
	f.IntVar(&o.aheadMiB, "max-ahead-mib", 512, "most `MiB` of memory for samples of matches that still run; what is above is read from the disk at the end, and its match is sealed somewhat later")
	c.AddCommand(a.tokenCommand())
	return c
}

// check finds out what is wrong with the command before anything is touched.
func (o *collectOptions) check() error {
	if o.pages != "off" {
		if err := checkPages(o.pages); err != nil {
			return err
		}
	} else if o.lan.on {
		return usagef("--lan shows the pages, and --pages off says there are none")
	}
	if _, _, err := net.SplitHostPort(o.listen); err != nil {
		return usagef("--listen %q is not an address: use %s, or port 0 for a free one", o.listen, defaultLive)
	}
	if (o.tlsCert == "") != (o.tlsKey == "") {
		return usagef("--tls-cert and --tls-key go together")
	}
	for _, n := range []struct {
		flag  string
		value int
	}{
		{"max-message-mib", o.messageMiB},
		{"max-signals", o.limits.Signals},
		{"max-connections", o.limits.Connections},
		{"max-rate", o.limits.Rate},
		{"max-pending-mib", o.pendingMiB},
		{"max-ahead-mib", o.aheadMiB},
	} {
		if n.value < 1 {
			return usagef("--%s %d: it must be at least 1", n.flag, n.value)
		}
	}
	if o.limits.Idle < time.Second || o.commitEvery < 0 {
		return usagef("--idle-timeout must be at least 1s, and --commit-every no less than 0")
	}
	o.limits.Message = int64(o.messageMiB) << 20
	if o.season == "" {
		o.season = time.Now().Format("2006")
	}
	if err := schemas.CheckName("season", o.season); err != nil {
		return usageError{err}
	}
	if err := schemas.CheckName("event", o.event); err != nil {
		return usageError{err}
	}
	return nil
}

func checkPages(address string) error {
	if err := checkListen(address); err != nil {
		return usagef("--pages: %w", err)
	}
	return nil
}

func (a *app) runCollect(ctx context.Context, o collectOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	given, err := readProfiles(o.profiles)
	if err != nil {
		return err
	}
	profiles := map[string]*robotProfile{}
	robots := map[string]*profile.Profile{}
	for _, p := range given {
		profiles[p.Robot], robots[p.Robot] = p, p.Profile
	}
	for _, dir := range o.watch {
		if err := a.mayWatch(dir, false); err != nil {
			return err
		}
	}
	tls, err := o.certificate()
	if err != nil {
		return err
	}
	if err := checkComplete(a.dataDir); err != nil {
		return err
	}
	w := &writer{dir: a.dataDir}
	defer w.end()
	if err := w.begin(); err != nil {
		return err
	}
	log := slog.New(slog.NewTextHandler(a.stderr, nil))
	live := filepath.Join(a.dataDir, liveDir)
	tokens, err := o.tokens(live)
	if err != nil {
		return err
	}
	listener, err := net.Listen("tcp", o.listen)
	if err != nil {
		return fmt.Errorf("cannot listen on %s: %w; another program may use it, try --listen 127.0.0.1:0", o.listen, err)
	}
	store := newLiveStore(w.home, profiles, log)
	c, err := collector.Open(collector.Options{
		Dir: filepath.Join(live, "journal"), Season: o.season, Event: o.event, Robots: robots, Limits: o.limits, Token: tokens, Log: log,
		Store:   store,
		Ahead:   int64(o.aheadMiB) << 20,
		Journal: journal.Options{Every: max(o.commitEvery, time.Microsecond), Pending: o.pendingMiB << 20},
	})
	if err != nil {
		return errors.Join(fmt.Errorf("opening the journal in %s: %w", live, err), listener.Close())
	}
	a.sayFound(c.Found())
	if u := c.Unread(); u.Frames > 0 {
		a.say("%d frames of the journal in %s were written by another version of afterbell and are not in any match; they stay there: collect once with that version", u.Frames, live)
	}
	in := newIntake(a, func() (*home.Home, error) { return w.home, nil }, given, o.season, o.event)
	return a.serveLive(ctx, store, c, listener, tls, in, o)
}

// sayFound tells what an earlier collector left that is not whole.
func (a *app) sayFound(f journal.Recovery) {
	for _, d := range f.Torn {
		a.say("the journal ended in a frame that was never whole, and never acknowledged; cut off: %s", d)
	}
	for _, d := range f.Damaged {
		a.say("the journal is damaged, what stood there is lost: %s", d)
	}
	for _, d := range f.Bad {
		a.say("a file of the journal cannot be read and is left alone: %s", d)
	}
}

// certificate is the user's, or nil for connections in the clear.
func (o *collectOptions) certificate() (*tls.Config, error) {
	if o.tlsCert == "" {
		return nil, nil
	}
	pair, err := tls.LoadX509KeyPair(o.tlsCert, o.tlsKey)
	if err != nil {
		return nil, usagef("--tls-cert: %w", err)
	}
	return &tls.Config{Certificates: []tls.Certificate{pair}, MinVersion: tls.VersionTLS12}, nil
}

// tokens is who may send: nil is everybody, which is for loopback only.
func (o *collectOptions) tokens(dir string) (func(string) bool, error) {
	host, _, _ := net.SplitHostPort(o.listen)
	if ip := net.ParseIP(host); host == "localhost" || ip != nil && ip.IsLoopback() {
		return nil, nil
	}
	file := collector.TokenFile(dir)
	n, err := file.Count()
	if err != nil {
		return nil, err
	}
	if n == 0 {
		return nil, usagef("--listen %s is open to other machines, and no token was made: make one with `afterbell collect token --data %s`", o.listen, filepath.Dir(dir))
	}
	return file.Knows, nil
}

// serveLive serves robots and pages until ctx ends.
func (a *app) serveLive(ctx context.Context, store *liveStore, c *collector.Collector, l net.Listener, cert *tls.Config, in *intake, o collectOptions) error {
	scheme := "ws"
	if cert != nil {
		scheme = "wss"
		l = tls.NewListener(l, cert)
	}
	seen := &onlooker{collector: c, home: store.home, store: store, folder: a.dataDir, log: slog.New(slog.NewTextHandler(a.stderr, nil))}
	server := &http.Server{
		Handler: liveRoutes(c, seen.robots), ReadHeaderTimeout: 10 * time.Second, IdleTimeout: 2 * time.Minute, TLSConfig: cert,
		ErrorLog: slog.NewLogLogger(slog.NewTextHandler(a.stderr, nil), slog.LevelDebug),
	}
	var shown *pages
	if o.pages != "off" {
		var err error
		if shown, err = a.listenFor(ctx, store.home, o.pages, seen.robots, in); err != nil {
			return errors.Join(err, l.Close(), c.Close())
		}
		if err = a.openLan(ctx, shown, o.lan); err != nil {
			return errors.Join(err, shown.listener.Close(), l.Close(), c.Close())
		}
	}
	at := strings.Replace(scheme, "ws", "http", 1) + "://" + l.Addr().String()
	if shown != nil {
		at = shown.url // without encryption, and on this machine
	}
	defer a.sayWhere(at)()
	if _, err := fmt.Fprintf(a.stdout, "listening on %s://%s%s\n", scheme, l.Addr(), wire.Path); err != nil {
		return errors.Join(err, l.Close(), c.Close())
	}
	if shown != nil {
		fmt.Fprintf(a.stdout, "serving on %s\n", shown.url)
		a.sayLan(shown)
	}
	if !o.noAnnounce {
		defer a.announce(l.Addr(), cert != nil)()
	}
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var watching sync.WaitGroup
	for _, f := range a.watches(in, o.watch, false, false, nil) {
		watching.Go(func() { f.run(ctx) })
	}
	failed := make(chan error, 2)
	go func() { failed <- server.Serve(l) }()
	if shown != nil {
		go func() { failed <- shown.run(ctx) }()
	}
	var err error
	select {
	case <-ctx.Done():
	case err = <-failed:
	}
	stop()
	watching.Wait()
	err = errors.Join(err, c.Close()) // connections first: they are told why
	_ = server.Close()
	if shown != nil && err == nil {
		<-failed
	}
	return err
}

func (a *app) tokenCommand() *cobra.Command {
	var name string
	c := &cobra.Command{
		Use:   "token",
		Short: "Make a token for robots that send from other machines",
		Long: `Token makes a random token, prints it once, and keeps only its hash. A robot sends it as
'Authorization: Bearer TOKEN'. Whoever has it can send as any robot.`,
		Example: "  afterbell collect token --for heron",
		Args:    noArgs,
		RunE: func(*cobra.Command, []string) error {
			dir := filepath.Join(a.dataDir, liveDir)
			if err := os.MkdirAll(dir, 0o755); err != nil {
				return err
			}
			token, err := collector.TokenFile(dir).Make(name)
			if err != nil {
				return err
			}
			a.say("this token is shown once; give it to the robot's sender, and keep it out of public code")
			_, err = fmt.Fprintln(a.stdout, token)
			return err
		},
	}
	c.Flags().StringVar(&name, "for", "", "what the token is for, so that you know it again in the file")
	return c
}
