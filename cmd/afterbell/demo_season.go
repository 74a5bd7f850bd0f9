package main

import (
	"context"
	"fmt"
	"path/filepath"
	"runtime"
	"slices"
	"time"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/parts"
)

// runDemoSeason plays a season, stores and analyzes it, and shows its page.
func (a *app) runDemoSeason(ctx context.Context, o demoOptions) error {
	if err := checkListen(o.listen); err != nil {
		return err
	}
	w := &writer{dir: a.dataDir}
	defer w.end()
	if err := w.begin(); err != nil {
		return err
	}
	started := time.Now()
	plan := sim.DemoSeason()
	if err := a.storeSeason(ctx, w, plan); err != nil {
		return err
	}
	a.say("%d matches simulated and analyzed in %.0f s, stored in %s", len(plan.Matches), time.Since(started).Seconds(), a.dataDir)
	look, _, err := lookAtSeason(w.home, plan.Robot, plan.Matches[0].Season)
	if err != nil {
		return err
	}
	if err := a.printSeason(look); err != nil {
		return err
	}
	return a.showDemo(ctx, w.home, o, "the season", "/s/"+plan.Robot)
}

// storeSeason simulates the matches, some at a time, and stores them one after another, each with
// those before it as its past. What the crew wrote down goes into the parts log, once.
func (a *app) storeSeason(ctx context.Context, w *writer, plan *sim.Season) error {
	ctx, stop := context.WithCancel(ctx)
	defer stop() // of those still playing, when one could not be stored
	type result struct {
		m   *sim.Match
		err error
	}
	played := make([]chan result, len(plan.Matches))
	for i := range played {
		played[i] = make(chan result, 1)
	}
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		go func() {
			for i := range next {
				m, err := sim.RunOptions(plan.Matches[i])
				played[i] <- result{m, err}
			}
		}()
	}
	go func() {
		defer close(next)
		for i := range played {
			select {
			case next <- i:
			case <-ctx.Done():
				return
			}
		}
	}()
	var history []*schemas.Report
	for i := range played {
		var p result
		select {
		case p = <-played[i]:
		case <-ctx.Done():
			return ctx.Err()
		}
		if p.err != nil {
			return p.err
		}
		r, err := a.storePlayed(ctx, w, p.m, history)
		if err != nil {
			return err
		}
		history = append(history, r)
		if (i+1)%10 == 0 {
			a.say("%d of %d matches", i+1, len(played))
		}
	}
	return a.logOnce(w, plan)
}

// storePlayed stores a simulated match in place of one of an earlier demo.
func (a *app) storePlayed(ctx context.Context, w *writer, m *sim.Match, history []*schemas.Report) (*schemas.Report, error) {
	p, err := parseProfile(m.Robot+".yaml", m.Profile)
	if err != nil {
		return nil, err
	}
	id := schemas.MatchID{Season: m.Season, Event: m.Event, Match: m.MatchName, Robot: m.Robot}
	jobs, err := a.matchesIn(m.Log, job{id: id, at: &m.At, profile: p, seal: 1, stored: m.At})
	if err != nil {
		return nil, err
	}
	if len(jobs) != 1 {
		return nil, fmt.Errorf("%s: the log holds %d matches, not one", id, len(jobs))
	}
	jobs[0].history = history
	return jobs[0].publish(ctx, w.home, true)
}

// logOnce adds to the parts log what is not in it.
func (a *app) logOnce(w *writer, plan *sim.Season) error {
	data, err := w.home.Parts(plan.Robot)
	if err != nil {
		return err
	}
	there, _ := parts.Parse(data, time.Local)
	for _, e := range plan.Log {
		at, day, err := parts.ParseWhen(e.At, time.UTC)
		if err != nil {
			return err
		}
		entry := parts.Entry{At: at.In(time.Local), Day: day, Kind: e.Kind, Text: e.Text}
		text := entry.String()
		if !slices.ContainsFunc(there, func(old parts.Entry) bool { return old.String() == text }) {
			if err := w.home.AddPart(plan.Robot, entry); err != nil {
				return err
			}
		}
	}
	return nil
}

// demoFolder is where a demo's matches go unless somebody says otherwise.
func demoFolder(season bool) string {
	if season {
		return filepath.Join("afterbell-data", "demo-season")
	}
	return filepath.Join("afterbell-data", "demo")
}
