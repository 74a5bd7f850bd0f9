package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

type watchOptions struct {
	profiles                      []string
	season, event, pages          string
	open, once, skipBadRows, json bool
	pagesGiven                    bool
}

func (a *app) watchCommand() *cobra.Command {
	var o watchOptions
	c := &cobra.Command{
		Use:   "watch DIR...",
		Short: "Take in the logs that come into a folder or on a stick, and show their sheets",
		Long: `Watch looks for new log files in folders and below, and stores and analyzes each as soon as
it is complete. The robot is told by its signals: of the profiles given, and of those
stored with earlier matches, the one most of whose signals are in the log. Match and time
are told by the file's name and date; 'afterbell rename' corrects them. A log that no
profile fits is stored and not analyzed. A log of a match that is stored already, from another
computer of the robot or after it started again, is put to that match where it is sure how
their clocks lie to each other; else it is kept apart, and one line says how to put it there. A file is never taken twice, whatever it is
called; files that cannot be read get one line and stay where they are. A stick may be
pulled at any moment and come back.

One process writes the data folder at a time: where robots also send live, use
'afterbell collect --watch DIR'.`,
		Example: "  afterbell watch /media/stick --profile heron.yaml --event millbrook-open --open\n  afterbell watch --once logs",
		Args:    someArgs(1, "a folder"),
		RunE: func(c *cobra.Command, dirs []string) error {
			o.pagesGiven = c.Flags().Changed("pages")
			return a.runWatch(c.Context(), dirs, o)
		},
	}
	f := c.Flags()
	f.StringArrayVar(&o.profiles, "profile", nil, "robot `profile` (robot.yaml), one for each robot; those of stored matches are known anyway")
	f.StringVar(&o.season, "season", "", "`season`; the year of the match when left out")
	f.StringVar(&o.event, "event", "practice", "`event`")
	f.StringVar(&o.pages, "pages", defaultListen, "loopback `address` for the pages, or off")
	f.BoolVar(&o.open, "open", false, "open the sheet of what came last in a browser")
	f.BoolVar(&o.once, "once", false, "take in what is there now, and stop")
	f.BoolVar(&o.skipBadRows, "skip-bad-rows", false, "leave bad rows out, and say how many")
	f.BoolVar(&o.json, "json", false, "machine output, one object a line")
	return c
}

func (a *app) runWatch(ctx context.Context, dirs []string, o watchOptions) error {
	given, err := readProfiles(o.profiles)
	if err != nil {
		return err
	}
	for what, name := range map[string]string{"season": o.season, "event": o.event} {
		if name == "" {
			continue
		}
		if err := schemas.CheckName(what, name); err != nil {
			return usageError{err}
		}
	}
	for _, dir := range dirs {
		if err := a.mayWatch(dir, o.once); err != nil {
			return err
		}
	}
	if o.pages != "off" {
		if err := checkPages(o.pages); err != nil {
			return err
		}
	}
	h, err := home.Create(a.dataDir)
	if err != nil {
		return err
	}
	in := newIntake(a, func() (*home.Home, error) { return h, nil }, given, o.season, o.event)
	if o.once {
		return a.watchOnce(ctx, in, dirs, o)
	}
	return a.watchOn(ctx, h, in, dirs, o)
}

// readProfiles reads profiles of different robots.
func readProfiles(paths []string) ([]*robotProfile, error) {
	var out []*robotProfile
	seen := map[string]bool{}
	for _, path := range paths {
		p, err := readProfile(path)
		if err != nil {
			return nil, err
		}
		if seen[p.Robot] {
			return nil, usagef("profile %s: another profile is for robot %q already", path, p.Robot)
		}
		seen[p.Robot] = true
		out = append(out, p)
	}
	return out, nil
}

// mayWatch says why a folder cannot be watched. One that is not there yet may come.
func (a *app) mayWatch(dir string, now bool) error {
	info, err := os.Stat(dir)
	switch {
	case err != nil && now:
		return fmt.Errorf("%s: %w; check the path", dir, cause(err))
	case err == nil && !info.IsDir():
		return usagef("%s is a file: name the folder it is in, or use `afterbell import`", dir)
	}
	own, err1 := resolved(a.dataDir)
	watched, err2 := resolved(dir)
	if err1 == nil && err2 == nil && own == watched {
		return usagef("%s is the data folder itself: name the folder that logs come into", dir)
	}
	return nil
}

// watches are one watch a folder, which tell what they do on the app's streams.
func (a *app) watches(in *intake, dirs []string, skip, asJSON bool, sheet func(imported)) []*folderWatch {
	var mu sync.Mutex // lines of several folders do not mix
	var out []*folderWatch
	for _, dir := range dirs {
		out = append(out, &folderWatch{
			dir: filepath.Clean(dir), in: in, settle: watchSettle, most: watchFiles, skip: skip,
			told: func(line string) {
				mu.Lock()
				defer mu.Unlock()
				a.say("%s", line)
			},
			noted: func(line string) {
				mu.Lock()
				defer mu.Unlock()
				a.say("%s", line)
			},
			stored: func(l *looked, done []imported) {
				mu.Lock()
				defer mu.Unlock()
				a.sayTaken(l, done, asJSON)
				if sheet != nil && len(done) > 0 {
					sheet(done[len(done)-1])
				}
			},
		})
	}
	return out
}

// takenJSON is one stored match, as watch --json tells it.
type takenJSON struct {
	File string `json:"file"`
	imported
	Told string `json:"told"` // by what robot and time were told
	At   string `json:"at,omitempty"`
}

func (a *app) sayTaken(l *looked, done []imported, asJSON bool) {
	for _, m := range done {
		if asJSON {
			_ = a.printLine(takenJSON{l.report.Name, m, l.words(), l.report.Guess.At}) // the reader has gone
			continue
		}
		fmt.Fprintf(a.stdout, "%s: %s%s\n  from %s: %s\n", m.name(), severityWord(m.Severity), m.Verdict, l.report.Name, l.words())
	}
}

// watchOnce takes in what is there. A file that is still being written is waited for a little.
func (a *app) watchOnce(ctx context.Context, in *intake, dirs []string, o watchOptions) error {
	lines := 0
	for _, w := range a.watches(in, dirs, o.skipBadRows, o.json, nil) {
		w.settle = 100 * time.Millisecond
		say := w.told
		w.told = func(line string) { lines++; say(line) }
		for until := time.Now().Add(10 * time.Second); ; {
			if w.look(ctx, time.Now()) == 0 {
				break
			}
			if time.Now().After(until) || ctx.Err() != nil {
				return errors.Join(ctx.Err(), fmt.Errorf("some files in %s are not complete yet: run it again when they are", w.dir))
			}
			time.Sleep(w.settle / 2)
		}
	}
	if lines > 0 {
		return fmt.Errorf("%d %s not stored, for the reasons above", lines, plural(lines, "file was", "files were"))
	}
	return nil
}

// watchOn watches until ctx ends, and serves the pages.
func (a *app) watchOn(ctx context.Context, h *home.Home, in *intake, dirs []string, o watchOptions) error {
	var shown *pages
	if o.pages != "off" {
		var err error
		shown, err = a.listenFor(ctx, h, o.pages, nil, in)
		if err != nil && !o.pagesGiven { // another afterbell serves there
			shown, err = a.listenFor(ctx, h, "127.0.0.1:0", nil, in)
		}
		if err != nil {
			return err
		}
		if !o.json {
			if _, err := fmt.Fprintf(a.stdout, "serving on %s\n", shown.url); err != nil {
				return errors.Join(err, shown.listener.Close())
			}
		}
	}
	var newest *openNewest
	if o.open && shown != nil {
		newest = &openNewest{url: shown.url, wait: 3 * time.Second, open: openBrowser}
	}
	a.say("watching %s; interrupt (Ctrl C) to stop", strings.Join(dirs, ", "))
	ctx, stop := context.WithCancel(ctx)
	defer stop()
	var running sync.WaitGroup
	for _, w := range a.watches(in, dirs, o.skipBadRows, o.json, newest.show) {
		running.Go(func() { w.run(ctx) })
	}
	var err error
	if shown != nil {
		err = shown.run(ctx)
		stop()
	}
	running.Wait()
	return err
}

// openNewest opens the sheet of what came last, once for all that came together: a stick full
// of logs must not open a window for each.
type openNewest struct {
	url  string
	wait time.Duration
	open func(page string)

	mu    sync.Mutex
	timer *time.Timer
}

func (n *openNewest) show(m imported) {
	if n == nil || m.Severity == "" { // nobody asked for it, or there is no sheet
		return
	}
	n.mu.Lock()
	defer n.mu.Unlock()
	if n.timer != nil {
		n.timer.Stop()
	}
	page := fmt.Sprintf("%s/m/%s", n.url, m.name())
	n.timer = time.AfterFunc(n.wait, func() { n.open(page) })
}
