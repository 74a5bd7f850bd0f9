package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"math"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/profile"
)

// demoMatches plays the demo's matches and sends each to a collector. It returns the newest.
func (a *app) demoMatches(ctx context.Context, h *home.Home) (newest schemas.MatchID, err error) {
	var matches []*sim.Match
	for _, d := range demoEvent() {
		a.say("simulating %s (%s)", d.match, d.scenario)
		m, err := sim.RunOptions(sim.Options{Scenario: d.scenario, Seed: d.seed, Event: "millbrook-open", MatchName: d.match, At: d.at})
		if err != nil {
			return newest, err
		}
		matches = append(matches, m)
	}
	rig, err := a.newDemoRig(h, matches)
	if err != nil {
		return newest, err
	}
	defer func() { err = errors.Join(err, rig.close()) }()
	for i, m := range matches {
		newest = schemas.MatchID{Season: m.Season, Event: m.Event, Match: demoEvent()[i].match, Robot: m.Robot}
		if err := a.demoSend(ctx, rig, h, newest, m); err != nil {
			return newest, fmt.Errorf("%s: %w", newest, err)
		}
	}
	return newest, nil
}

// demoSend sends one match, and waits until it is stored.
func (a *app) demoSend(ctx context.Context, rig *demoRig, h *home.Home, id schemas.MatchID, m *sim.Match) error {
	if h.Exists(id) { // of an earlier demo
		if err := h.Remove(id); err != nil {
			return err
		}
	}
	at, err := time.Parse(time.RFC3339, m.At)
	if err != nil {
		return err
	}
	_, last, _ := m.Log.Bounds()
	rig.set(at.Add(time.Duration(last-schemas.Micros(m.Truth.Match.StartS)) * time.Microsecond))
	a.say("sending %s as %s does", id.Match, id.Robot)
	o := replayOptions{
		to: rig.url, speed: "max", robot: id.Robot, source: "main", event: id.Event, match: id.Match, run: id.Match, patience: 30 * time.Second,
	}
	p, err := newPlayer(m.Log, o)
	if err != nil {
		return err
	}
	if err := p.run(ctx, a, math.Inf(1), o); err != nil {
		return err
	}
	return rig.await(ctx, id)
}

// await waits until a match is stored. The collector's clock stood while the match came in, so
// that the demo's matches have the same times each time; now it runs.
func (r *demoRig) await(ctx context.Context, id schemas.MatchID) error {
	tick := time.NewTicker(50 * time.Millisecond)
	defer tick.Stop()
	for began := time.Now(); time.Since(began) < time.Minute; {
		select {
		case stored := <-r.store.stored:
			if stored == id {
				return nil
			}
		case <-tick.C:
			r.set(r.now().Add(50 * time.Millisecond))
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	return errors.New("it was sent, and not stored within a minute")
}

// demoRig is a collector and a robot's sender in one process: the demo's matches go over the
// real wire.
type demoRig struct {
	store  *demoStore
	live   *collector.Collector
	server *http.Server
	url    string

	mu   sync.Mutex
	time time.Time // of the collector's clock, which the demo moves from match to match
}

// demoStore tells when a match is stored.
type demoStore struct {
	*liveStore
	stored chan schemas.MatchID
}

func (s *demoStore) Publish(ctx context.Context, m collector.Sealed) error {
	if m.Idle {
		return nil // between matches that were never played
	}
	err := s.liveStore.Publish(ctx, m)
	if err == nil {
		s.stored <- m.ID
	}
	return err
}

// newDemoRig starts the collector, which knows nothing of an earlier demo.
func (a *app) newDemoRig(h *home.Home, matches []*sim.Match) (*demoRig, error) {
	dir := filepath.Join(a.dataDir, liveDir)
	if err := os.RemoveAll(dir); err != nil {
		return nil, err
	}
	log := slog.New(slog.DiscardHandler)
	first, err := time.Parse(time.RFC3339, demoEvent()[0].at)
	if err != nil {
		return nil, err
	}
	r := &demoRig{time: first.Add(-time.Hour)}
	r.store = &demoStore{&liveStore{home: h, profiles: map[string]*robotProfile{}, log: log}, make(chan schemas.MatchID, 16)}
	robots := map[string]*profile.Profile{}
	for _, m := range matches {
		p, err := parseProfile(m.Robot+".yaml", m.Profile)
		if err != nil {
			return nil, err
		}
		r.store.profiles[m.Robot], robots[m.Robot] = p, p.Profile
	}
	r.live, err = collector.Open(collector.Options{
		Dir: filepath.Join(dir, "journal"), Season: "2031", Event: "millbrook-open", Robots: robots, Store: r.store, Log: log, Now: r.now,
	})
	if err != nil {
		return nil, err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return nil, errors.Join(err, r.live.Close())
	}
	r.url = "ws://" + l.Addr().String() + wire.Path
	r.server = &http.Server{Handler: r.live, ReadHeaderTimeout: 10 * time.Second}
	go func() { _ = r.server.Serve(l) }() // until close
	return r, nil
}

func (r *demoRig) now() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.time
}

func (r *demoRig) set(t time.Time) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.time = t
}

func (r *demoRig) close() error {
	err := r.live.Close()
	return errors.Join(err, r.server.Close())
}
