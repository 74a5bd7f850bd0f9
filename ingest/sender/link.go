package sender

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net/http"
	"net/netip"
	"path/filepath"
	"strings"
	"time"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/announce"
	"github.com/afterbell/afterbell/ingest/wire"
)

// pace is how long things may take.
type pace struct {
	base, most time.Duration // of the pause before connecting again
	handshake  time.Duration
	silence    time.Duration // without a sign of life a connection is taken for dead
	write      time.Duration // for one message
	ack        time.Duration // without an ack batches are sent again
	clock      time.Duration // from one clock exchange to the next
	pause      time.Duration // after the collector refused something
}

func (p pace) orDefault() pace {
	if p == (pace{}) {
		p = pace{
			base: 50 * time.Millisecond, most: 2 * time.Second, handshake: 5 * time.Second, silence: 6 * time.Second,
			write: 5 * time.Second, ack: 5 * time.Second, clock: 3 * time.Second, pause: 250 * time.Millisecond,
		}
	}
	return p
}

// link connects a spool with the collector, again and again.
type link struct {
	c     Config
	spool *spool
	clock func() int64 // robot time; nil: that clock is gone

	said string // the last trouble that was logged
}

// run connects until ctx ends.
func (l *link) run(ctx context.Context) {
	for attempt := 0; ctx.Err() == nil; attempt++ {
		began := time.Now()
		_, before := l.spool.flying()
		err := l.session(ctx)
		if ctx.Err() != nil {
			return
		}
		l.spool.lost(err)
		l.say(err)
		if _, after := l.spool.flying(); after > before || time.Since(began) > 2*l.c.pace.most {
			attempt = 0 // it was a good connection
		}
		sleep(ctx, backoff(l.c.pace, attempt))
	}
}

// backoff is the pause before the connection after attempt failed ones: anything up to a
// bound that doubles each time (exponential backoff with full jitter, common practice), so
// that robots that lost the same radio do not come back all at once.
func backoff(p pace, attempt int) time.Duration {
	bound := p.most
	if attempt < 30 {
		bound = min(bound, p.base<<attempt)
	}
	return time.Duration(rand.Int64N(int64(bound) + 1))
}

func sleep(ctx context.Context, d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-ctx.Done():
	}
}

// say logs trouble, the same once.
func (l *link) say(err error) {
	text := err.Error()
	if text == l.said {
		return
	}
	l.said = text
	l.c.Log.Warn("no connection to the collector; trying again and again", "why", text)
}

// RefusedError says that the collector does not want this sender: a wrong token, a name that
// is none. Trying again will hardly help, but is done.
type RefusedError struct {
	Status int // of HTTP; 0 when it was refused after the handshake
	Text   string
}

func (e *RefusedError) Error() string { return e.Text }

// discover begins an address that is asked for.
const discover = "mdns:"

// via is the address of this machine in the network to ask, not valid for all.
func via(url string) (netip.Addr, error) {
	text := strings.TrimPrefix(url, discover)
	if text == "" {
		return netip.Addr{}, nil
	}
	a, err := netip.ParseAddr(text)
	if err != nil || !a.Unmap().Is4() {
		return a, fmt.Errorf("the collector's address %q: behind mdns: stands nothing, or the IPv4 address of this robot in the network to ask", url)
	}
	return a, nil
}

// find is the address of the collector.
func (l *link) find(ctx context.Context) (string, error) {
	if !strings.HasPrefix(l.c.URL, discover) {
		return l.c.URL, nil
	}
	asked, err := via(l.c.URL)
	if err != nil {
		return "", err
	}
	found, err := announce.Find(ctx, announce.Options{Address: asked, Service: l.c.service})
	if err != nil {
		return "", fmt.Errorf("asking the network for a collector: %w", err)
	}
	if len(found) > 1 {
		var urls []string
		for _, c := range found {
			urls = append(urls, c.URL)
		}
		return "", fmt.Errorf("several collectors answer, give the address of yours: %s", strings.Join(urls, ", "))
	}
	return found[0].URL, nil
}

// dial opens a connection.
func (l *link) dial(ctx context.Context) (*websocket.Conn, error) {
	ctx, cancel := context.WithTimeout(ctx, l.c.pace.handshake)
	defer cancel()
	url, err := l.find(ctx)
	if err != nil {
		return nil, err
	}
	header := http.Header{}
	if l.c.Token != "" {
		header.Set("Authorization", "Bearer "+l.c.Token)
	}
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}, HandshakeTimeout: l.c.pace.handshake, TLSClientConfig: l.c.TLS}
	ws, response, err := d.DialContext(ctx, url, header)
	switch {
	case errors.Is(err, websocket.ErrBadHandshake) && response != nil:
		return nil, refusal(url, response)
	case err != nil:
		return nil, fmt.Errorf("connecting to %s: %w", url, err)
	case ws.Subprotocol() != wire.Subprotocol:
		_ = ws.Close()
		return nil, &RefusedError{Text: fmt.Sprintf("connecting to %s: what answers there is no collector: it does not speak %s", url, wire.Subprotocol)}
	}
	return ws, nil
}

// refusal words the answer of a server that does not open a WebSocket.
func refusal(url string, response *http.Response) error {
	text := fmt.Sprintf("connecting to %s: it answers %s", url, response.Status)
	if response.StatusCode == http.StatusUnauthorized {
		text += "; give the token of the collector"
	}
	if body, _ := io.ReadAll(io.LimitReader(response.Body, 200)); len(body) > 0 {
		text += ": " + strings.Join(strings.Fields(string(body)), " ")
	}
	if s := response.StatusCode; s < 400 || s >= 500 {
		return errors.New(text) // a server that is about to start, say
	}
	return &RefusedError{Status: response.StatusCode, Text: text}
}

// sendLeftovers sends what earlier power-ups left in the folder of the spool, one after
// another, and removes what was sent.
func sendLeftovers(ctx context.Context, c Config) {
	dirs, err := filepath.Glob(filepath.Join(c.Spool.Dir, "boot-*"))
	if err != nil {
		return // the pattern is ours
	}
	for _, dir := range dirs {
		if dir == bootDir(c) || ctx.Err() != nil {
			continue
		}
		if err := sendLeftover(ctx, c, dir); err != nil {
			c.Log.Warn("the spool of an earlier power-up stays where it is", "folder", dir, "why", err)
		}
	}
}

func sendLeftover(ctx context.Context, c Config, dir string) error {
	p := newSpool(c.Spool.Bytes, c.Log)
	d := &disk{dir: dir, most: mostMemory, log: c.Log}
	if err := d.open(p); err != nil {
		return err
	}
	p.disk = d
	if d.who.Robot != c.Robot || d.who.Source != c.Source || d.who.Boot == "" {
		return d.close(d.who.Boot == "" && p.idle())
	}
	ctx, done := context.WithCancel(ctx)
	defer done()
	c.Boot = d.who.Boot
	stopped := make(chan struct{})
	go func() {
		defer close(stopped)
		(&link{c: c, spool: p}).run(ctx)
	}()
	_ = p.drained(ctx) // an end of ctx is no error: the next program goes on
	done()
	<-stopped
	return d.close(p.idle())
}
