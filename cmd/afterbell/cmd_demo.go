package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"runtime"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/sheet"
)

type demoOptions struct {
	listen               string
	noOpen, once, season bool
}

func (a *app) demoCommand() *cobra.Command {
	var o demoOptions
	c := &cobra.Command{
		Use:   "demo",
		Short: "Make simulated matches, collect and analyze them, and show their sheets",
		Long: `Demo does the whole job on matches that never were: it simulates an event, sends each
match to a collector as a robot does, only faster, prints the newest sheet, and serves the
pages until it is interrupted. It uses its own data folder unless --data says otherwise,
and makes the same matches each time.

With --season it plays a season instead, forty matches at five events and some practice: a belt
that starts to jam, a battery that dies, other gains, a driver who learns. Its page finds what
changed without being told; the parts log has some of it.`,
		Example: "  afterbell demo\n  afterbell demo --season\n  afterbell demo --once --no-open",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if !c.Flags().Changed("data") && os.Getenv("AFTERBELL_DATA") == "" {
				a.dataDir = demoFolder(o.season)
			}
			if o.season {
				return a.runDemoSeason(c.Context(), o)
			}
			return a.runDemo(c.Context(), o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.listen, "listen", "127.0.0.1:0", "loopback `address` to serve on; port 0 picks a free one")
	f.BoolVar(&o.noOpen, "no-open", false, "do not open a browser")
	f.BoolVar(&o.season, "season", false, "play a whole season and show its page")
	f.BoolVar(&o.once, "once", false, "stop when the sheet has been served once")
	return c
}

// demoMatch is one match of the demo's event, in order of time; the last is the newest.
type demoMatch struct {
	match, scenario, at string
	seed                uint64
}

func demoEvent() []demoMatch {
	return []demoMatch{
		{"q2", "clean", "2031-03-01T10:22:00Z", 2},
		{"q5", "clean", "2031-03-01T11:36:00Z", 3},
		{"q8", "rookie", "2031-03-01T12:40:00Z", 4},
		{"q11", "jam-reversed", "2031-03-01T13:41:00Z", 5},
		{"q14", "demo", "2031-03-01T14:32:00Z", 1},
	}
}

func (a *app) runDemo(ctx context.Context, o demoOptions) error {
	if err := checkListen(o.listen); err != nil {
		return err
	}
	w := &writer{dir: a.dataDir}
	defer w.end()
	if err := w.begin(); err != nil {
		return err
	}
	started := time.Now()
	newest, err := a.demoMatches(ctx, w.home)
	if err != nil {
		return err
	}
	r, err := readReport(w.home, newest)
	if err != nil {
		return err
	}
	if err := sheet.Text(a.stdout, r, crew.Said{}, 80, isTerminal(a.stdout)); err != nil {
		return err
	}
	a.say("%d matches simulated, sent to a collector and analyzed in %.1f s, stored in %s", len(demoEvent()), time.Since(started).Seconds(), a.dataDir)

	return a.showDemo(ctx, w.home, o, "the sheet", fmt.Sprintf("/m/%s/%s/%s", newest.Event, newest.Match, newest.Robot))
}

// showDemo serves what a demo stored and opens a page of it, which what names.
func (a *app) showDemo(ctx context.Context, h *home.Home, o demoOptions, what, path string) error {
	s, err := a.listen(ctx, h, o.listen)
	if err != nil {
		return err
	}
	page := s.url + path
	if _, err := fmt.Fprintf(a.stdout, "\nserving on %s\n%s: %s\n", s.url, what, page); err != nil {
		return errors.Join(err, s.listener.Close())
	}
	if o.once {
		return a.serveOnce(ctx, s, page)
	}
	if !o.noOpen {
		openBrowser(page)
	}
	a.say("interrupt (Ctrl C) to stop")
	return s.run(ctx)
}

// serveOnce asks the server for the sheet, to see that it is there, and stops.
func (a *app) serveOnce(ctx context.Context, s *pages, page string) error {
	ctx, stop := context.WithCancel(ctx)
	done := make(chan error, 1)
	go func() { done <- s.run(ctx) }()
	err := fetch(ctx, page)
	stop()
	if served := <-done; err == nil {
		err = served
	}
	return err
}

func fetch(ctx context.Context, page string) error {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, page, nil)
	if err != nil {
		return err
	}
	res, err := http.DefaultClient.Do(req)
	if err != nil {
		return err
	}
	defer res.Body.Close()
	if _, err := io.Copy(io.Discard, res.Body); err != nil {
		return err
	}
	if res.StatusCode != http.StatusOK {
		return fmt.Errorf("%s answers %s", page, res.Status)
	}
	return nil
}

// openBrowser shows a page; where that does not work the printed address is enough.
func openBrowser(page string) {
	switch runtime.GOOS {
	case "windows":
		_ = exec.Command("rundll32", "url.dll,FileProtocolHandler", page).Start()
	case "darwin":
		_ = exec.Command("open", page).Start()
	default:
		_ = exec.Command("xdg-open", page).Start()
	}
}
