package main

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer"
)

// defaultListen is where pages are served when nobody says otherwise.
const defaultListen = "127.0.0.1:4150"

func (a *app) serveCommand() *cobra.Command {
	var listen string
	var lan lanOptions
	c := &cobra.Command{
		Use:   "serve",
		Short: "Show the pit board and the match sheets in a browser",
		Long: `Serve shows what the data folder holds, on this machine only, until it is interrupted.

With --lan it shows the pages to phones and laptops in the same network too, for reading
only: it prints a link with a token, and its QR code. Whoever has the link can read every
match with the crew's notes until serve ends; the next run has another token. The pages
are not encrypted on their way.`,
		Example: "  afterbell serve\n  afterbell serve --data season-2031 --listen 127.0.0.1:0\n  afterbell serve --lan",
		Args:    noArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if err := checkListen(listen); err != nil {
				return err
			}
			if err := lan.check(c.Flags().Changed); err != nil {
				return err
			}
			h, err := home.Open(a.dataDir)
			if err != nil {
				return err
			}
			s, err := a.listen(c.Context(), h, listen)
			if err != nil {
				return err
			}
			if err := a.openLan(c.Context(), s, lan); err != nil {
				return errors.Join(err, s.listener.Close())
			}
			if _, err := fmt.Fprintf(a.stdout, "serving on %s\n", s.url); err != nil {
				return errors.Join(err, s.listener.Close())
			}
			a.sayLan(s)
			return s.run(c.Context())
		},
	}
	c.Flags().StringVar(&listen, "listen", defaultListen, "loopback `address` to serve on; port 0 picks a free one")
	lan.flags(c.Flags())
	return c
}

// pages is a server that is bound and not yet running.
type pages struct {
	url      string
	listener net.Listener
	server   *http.Server

	// For other machines, when they are let in.
	viewer      *viewer.Server
	lan         *http.Server
	lanListener net.Listener
	links       []string
}

// checkListen says why pages cannot be served on the address.
func checkListen(address string) error {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		return usagef("--listen %q is not an address: use 127.0.0.1:4150, or port 0 for a free one", address)
	}
	if ip := net.ParseIP(host); host != "localhost" && (ip == nil || !ip.IsLoopback()) {
		return usagef("--listen %q would show the pages to other machines; it takes loopback only, such as %s; --lan shows them to others, for reading", address, defaultListen)
	}
	return nil
}

// listen binds, which comes before anything is printed: a printed address can be opened.
// The address has passed checkListen.
func (a *app) listen(ctx context.Context, h *home.Home, address string) (*pages, error) {
	return a.listenFor(ctx, h, address, nil, newIntake(a, func() (*home.Home, error) { return h, nil }, nil, "", ""))
}

// listenFor is listen for pages that also tell of robots being collected, if live is not nil, and
// hand the logs that are dropped on them to in.
func (a *app) listenFor(ctx context.Context, h *home.Home, address string, live func() []schemas.LiveRobot, in *intake) (*pages, error) {
	l, err := net.Listen("tcp", address)
	if err != nil {
		return nil, fmt.Errorf("cannot serve on %s: %w; another program may use it, try --listen 127.0.0.1:0", address, err)
	}
	log := slog.New(slog.NewTextHandler(a.stderr, nil))
	handler := viewer.New(h, viewer.Options{Version: version, Log: log, Live: live, Formats: exportFormats, Compare: compareFor(h, log), Season: seasonFor(h), Trial: trialFor(h), Fleet: fleetFor(h), Intake: arrivals{in}})
	return &pages{
		url:      "http://" + l.Addr().String(),
		listener: l,
		viewer:   handler,
		server: &http.Server{
			Handler:           handler,
			ReadHeaderTimeout: 10 * time.Second,
			IdleTimeout:       2 * time.Minute,
			BaseContext:       func(net.Listener) context.Context { return ctx },
		},
	}, nil
}

// run serves until ctx ends.
func (p *pages) run(ctx context.Context) error {
	done := make(chan error, 1)
	go func() { done <- p.server.Serve(p.listener) }()
	if p.lan != nil {
		defer p.lan.Close()
		go func() { _ = p.lan.Serve(p.lanListener) }() // the pages here go on without it
	}
	select {
	case err := <-done:
		return err
	case <-ctx.Done():
	}
	grace, cancel := context.WithTimeout(context.Background(), 2*time.Second)
	defer cancel()
	err := p.server.Shutdown(grace)
	if served := <-done; !errors.Is(served, http.ErrServerClosed) {
		err = errors.Join(err, served)
	}
	return err
}
