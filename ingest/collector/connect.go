package collector

import (
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/wire"
)

// ServeHTTP takes connections at wire.Path.
func (c *Collector) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	refuse := func(status int, why string) {
		c.counts.refused.Add(1)
		http.Error(w, why, status)
	}
	if r.URL.Path != wire.Path {
		refuse(http.StatusNotFound, "robots send to "+wire.Path)
		return
	}
	if c.o.Token != nil {
		token, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
		if !ok || !c.o.Token(token) {
			w.Header().Set("WWW-Authenticate", "Bearer")
			refuse(http.StatusUnauthorized, "send a token that `afterbell collect token` made: Authorization: Bearer TOKEN")
			return
		}
	}
	if !sameOrigin(r) {
		refuse(http.StatusForbidden, "pages of other sites cannot send here")
		return
	}
	if !websocket.IsWebSocketUpgrade(r) {
		refuse(http.StatusBadRequest, "this address takes WebSocket connections (RFC 6455) only")
		return
	}
	if !offers(r, wire.Subprotocol) {
		refuse(http.StatusBadRequest, "ask for the subprotocol "+wire.Subprotocol)
		return
	}
	if !c.admit() {
		refuse(http.StatusServiceUnavailable, "too many connections, or the collector stops")
		return
	}
	defer c.running.Done()
	up := websocket.Upgrader{
		HandshakeTimeout: 10 * time.Second,
		ReadBufferSize:   64 << 10,
		Subprotocols:     []string{wire.Subprotocol},
		CheckOrigin:      func(*http.Request) bool { return true }, // checked above
	}
	conn, err := up.Upgrade(w, r, nil)
	if err != nil {
		c.counts.refused.Add(1)
		c.mu.Lock()
		c.connections--
		c.mu.Unlock()
		return
	}
	s := &session{c: c, conn: conn, done: make(chan struct{}), quit: make(chan struct{}), acks: make(chan struct{}, 1)}
	c.enter(s)
	defer c.leave(s)
	s.run()
}

func offers(r *http.Request, protocol string) bool {
	for _, p := range websocket.Subprotocols(r) {
		if p == protocol {
			return true
		}
	}
	return false
}

// sameOrigin is whether a request comes from a robot program, which names no origin, or from
// a page of this very server.
func sameOrigin(r *http.Request) bool {
	origin := r.Header.Get("Origin")
	if origin == "" {
		return true
	}
	u, err := url.Parse(origin)
	return err == nil && strings.EqualFold(u.Host, r.Host)
}

// admit counts a connection in, if there is room.
func (c *Collector) admit() bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.connections >= c.o.Limits.Connections || c.closing {
		return false
	}
	c.connections++
	c.running.Add(1)
	return true
}

func (c *Collector) enter(s *session) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.sessions[s] = true
	if c.closing {
		go s.end(closeGoingAway, "the collector stops")
	}
}

func (c *Collector) leave(s *session) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.connections--
	delete(c.sessions, s)
	if s.boot != nil && s.boot.owner == s {
		s.boot.owner = nil
	}
}
