package collector

import (
	"bytes"
	"context"
	"errors"
	"net"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// Close codes of RFC 6455, section 7.4.
const (
	closeGoingAway = websocket.CloseGoingAway
	closePolicy    = websocket.ClosePolicyViolation
	closeData      = websocket.CloseInvalidFramePayloadData
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

// session is one connection.
type session struct {
	c     *Collector
	conn  *websocket.Conn
	boot  *boot // after hello
	robot *robot

	reader  wire.Reader
	numbers []uint32 // signal of the boot, by number in this connection
	stored  []byte
	asked   map[int64]clock.Exchange // clock exchanges that wait for their last message, by T0

	writing sync.Mutex // one message at a time
	ending  sync.Once
	quit    chan struct{} // closed when the connection is being ended
	done    chan struct{} // closed when reading has ended
	acks    chan struct{} // asks for an ack, new or repeated
	repeat  bool          // guarded by c.mu: an ack is owed though nothing is new
	warned  bool          // guarded by c.mu: was told of storage trouble
	rate    rate
	in      bytes.Buffer // the message being read
}

// run serves the connection until it ends.
func (s *session) run() {
	conn := s.conn
	defer conn.Close()
	defer close(s.done)
	conn.SetReadLimit(s.c.o.Limits.Message)
	s.rate = rate{perSecond: float64(s.c.o.Limits.Rate)}
	if !s.hello() {
		return
	}
	alive := func() {
		_ = conn.SetReadDeadline(time.Now().Add(s.c.o.Limits.Idle))
		if s.ended() { // meanwhile: what end set must stand
			_ = conn.SetReadDeadline(time.Now().Add(farewell))
		}
	}
	conn.SetPongHandler(func(string) error { alive(); return nil })
	ctx, cancel := context.WithCancel(s.c.ctx)
	defer cancel()
	s.c.running.Go(func() { s.acknowledge(ctx) })
	for {
		alive()
		kind, data, err := s.read()
		if err != nil {
			s.lost(err)
			return
		}
		if s.ended() {
			continue // until the other side has answered or given up
		}
		if fault := s.message(kind, data); fault != nil {
			if !s.refuse(fault) {
				return
			}
		}
	}
}

// read is the next message; its bytes are valid until the one after.
func (s *session) read() (kind int, data []byte, err error) {
	if s.in.Cap() > mostKept {
		s.in = bytes.Buffer{} // one large message, of many connections, should not stay
	}
	s.in.Reset()
	kind, r, err := s.conn.NextReader()
	if err == nil {
		_, err = s.in.ReadFrom(r)
	}
	return kind, s.in.Bytes(), err
}

// mostKept is how large a buffer a connection keeps for its next message.
const mostKept = 1 << 20

// lost says why reading ended, where the other side can still hear it.
func (s *session) lost(err error) {
	var timeout net.Error
	switch {
	case errors.Is(err, websocket.ErrReadLimit):
		s.c.counts.refused.Add(1) // the library has sent close code 1009
	case errors.As(err, &timeout) && timeout.Timeout():
		s.end(closePolicy, "nothing came for "+s.c.o.Limits.Idle.String())
	}
}

// hello waits for the first message, and answers it when the boot is ours alone.
func (s *session) hello() bool {
	_ = s.conn.SetReadDeadline(time.Now().Add(s.c.o.Limits.Hello))
	_, data, err := s.conn.ReadMessage()
	if err != nil {
		s.lost(err)
		return false
	}
	var m wire.Hello
	if !utf8.Valid(data) {
		s.end(closeData, "not UTF-8")
		return false
	}
	if wire.Decode(data, &m) != nil || m.Type != "hello" {
		s.refuse(wire.Faultf(wire.NoHello, `the first message is {"type":"hello","robot":"...","boot":"..."}`))
		s.end(closePolicy, "no hello")
		return false
	}
	if m.Source == "" {
		m.Source = mainSource
	}
	fault := checkHello(&m)
	if fault == nil {
		fault = s.take(m)
	}
	if fault != nil {
		s.refuse(fault)
		s.end(closePolicy, string(fault.Code))
		return false
	}
	return true
}

const longestBoot = 256 // bytes of the text that names a power-up

func checkHello(m *wire.Hello) *wire.Fault {
	if err := schemas.CheckName("robot", m.Robot); err != nil {
		return wire.Faultf(wire.BadName, "%s", err)
	}
	if err := schemas.CheckName("source", m.Source); err != nil {
		return wire.Faultf(wire.BadName, "%s", err)
	}
	if m.Boot == "" || len(m.Boot) > longestBoot {
		return wire.Faultf(wire.BadMessage, "boot has %d bytes; give each power-up a text of its own, up to %d bytes", len(m.Boot), longestBoot)
	}
	return nil
}

// take makes the session the one that sends for a boot. One that did so before ends first:
// what it still has on the way may count or not, but never after us.
func (s *session) take(m wire.Hello) *wire.Fault {
	c := s.c
	for {
		c.mu.Lock()
		b := c.findBoot(m.Robot, m.Source, m.Boot)
		if b == nil {
			var fault *wire.Fault
			if b, fault = c.newBoot(m); fault != nil {
				c.mu.Unlock()
				return fault
			}
		}
		old := b.owner
		if old == nil {
			b.owner = s
			s.boot, s.robot = b, c.robot(m.Robot)
			b.Seen = c.now()
			s.reader = wire.Reader{Names: b.names, MostSignal: c.o.Limits.Signals}
			durable, _ := c.journal.Durable()
			welcome := wire.Welcome{Type: "welcome", DurableSeq: b.durable(durable)}
			c.mu.Unlock()
			s.send(welcome)
			return nil
		}
		c.mu.Unlock()
		old.end(closePolicy, "a newer connection of this power-up took over")
		select {
		case <-old.done:
			c.mu.Lock()
			if b.owner == old {
				b.owner = nil
			}
			c.mu.Unlock()
		case <-c.ctx.Done():
			return wire.Faultf(wire.Storage, "the collector stops")
		}
	}
}

// newBoot makes a boot that was not known. The lock is held.
func (c *Collector) newBoot(m wire.Hello) (*boot, *wire.Fault) {
	if err := c.rotateIfFull(); err != nil {
		return nil, wire.Faultf(wire.Storage, "%s", err)
	}
	b := &boot{Number: uint32(len(c.boots)), Robot: m.Robot, Source: m.Source, Boot: m.Boot, Seen: c.now()}
	if _, err := c.journal.Append(frameBoot, encode(b)); err != nil {
		return nil, wire.Faultf(wire.Storage, "%s", err)
	}
	c.putBoot(b)
	return b, nil
}

// message handles one message after hello.
func (s *session) message(kind int, data []byte) *wire.Fault {
	if kind == websocket.BinaryMessage {
		batch, fault := s.reader.Record(data, s.numbers)
		if fault != nil {
			return fault
		}
		return s.batch(batch)
	}
	if !utf8.Valid(data) {
		s.end(closeData, "a text message is not UTF-8")
		return errEnd
	}
	what, fault := s.reader.Type(data)
	if fault != nil {
		return fault
	}
	switch what {
	case "batch":
		batch, fault := s.reader.Batch(data)
		if fault != nil {
			return fault
		}
		return s.batch(batch)
	case "signals":
		return s.signals(data)
	case "clock":
		return s.clock(data)
	case "match":
		return s.match(data)
	case "hello":
		return wire.Faultf(wire.BadMessage, "hello is said once in a connection")
	default:
		return wire.Faultf(wire.BadMessage, "there is no message of type %.40q", what)
	}
}

// errEnd is the fault of a connection that has been ended already.
var errEnd = &wire.Fault{}

// refuse tells a fault. It is false when the connection cannot go on.
func (s *session) refuse(f *wire.Fault) bool {
	if f == errEnd {
		return false
	}
	s.c.counts.refused.Add(1)
	return s.send(f.Message())
}

// batch takes a batch, after waiting for what slows the sender down: its rate, and the disk.
func (s *session) batch(b *wire.Batch) *wire.Fault {
	c := s.c
	if !s.rate.wait(b.Len(), s.quit) {
		return errEnd
	}
	if err := c.journal.Trouble(); err != nil {
		c.mu.Lock()
		s.storageTrouble(err)
		c.mu.Unlock()
	}
	if !c.journal.Admit(s.quit) {
		return errEnd
	}
	s.stored = wire.AppendStored(s.stored[:0], s.boot.Number, c.now(), b)
	fault := c.accept(s, b.Seq)
	if fault == nil || fault.Code != wire.Gap {
		s.ask()
	}
	return fault
}

// ask wakes the goroutine that acknowledges.
func (s *session) ask() {
	select {
	case s.acks <- struct{}{}:
	default:
	}
}

// accept journals the batch in s.stored.
func (c *Collector) accept(s *session, seq uint64) *wire.Fault {
	c.mu.Lock()
	defer c.mu.Unlock()
	b, r := s.boot, s.robot
	switch {
	case b.owner != s:
		return errEnd
	case seq <= b.Seq:
		c.counts.repeats.Add(1)
		s.repeat = true
		s.forgetNewNames()
		return nil
	case seq != b.Seq+1:
		c.counts.gaps.Add(1)
		s.forgetNewNames()
		return &wire.Fault{Code: wire.Gap, Text: "a batch is missing", Expected: b.Seq + 1}
	}
	if err := c.rotateIfFull(); err != nil {
		s.forgetNewNames()
		return wire.Faultf(wire.Storage, "%s", err)
	}
	if fault := c.journalNames(b); fault != nil {
		return fault
	}
	frame, err := c.journal.Append(frameRows, s.stored)
	if err != nil {
		return wire.Faultf(wire.Storage, "%s", err)
	}
	rows, _ := wire.ParseStored(s.stored)
	look := c.took(r, b, &rows, frame, len(s.stored))
	b.unacked = append(b.unacked, accepted{frame, seq})
	c.counts.batches.Add(1)
	c.counts.samples.Add(int64(rows.Samples))
	if look {
		was := r.watch.Complete
		if r.watch.look(c.shiftOf); r.watch.Complete && !was {
			r.retryAt = 0 // there is news
		}
		if want := r.due(c.now(), false); want == dueEnded || want == dueTopUp {
			c.startSettle(r, want)
		}
	}
	return nil
}

// forgetNewNames drops the signals of a batch that is not kept. The lock is held.
func (s *session) forgetNewNames() { s.boot.names.Truncate(len(s.boot.Entries)) }

// journalNames journals the signals that are new since the last time. The lock is held.
func (c *Collector) journalNames(b *boot) *wire.Fault {
	n := len(b.Entries)
	if n == len(b.names.Entries) {
		return nil
	}
	f := namesFrame{Boot: b.Number, First: n, Entries: append([]wire.Entry{}, b.names.Entries[n:]...)}
	if _, err := c.journal.Append(frameNames, encode(f)); err != nil {
		return wire.Faultf(wire.Storage, "%s", err)
	}
	c.addSignals(b, f)
	return nil
}

// signals numbers signals of this connection.
func (s *session) signals(data []byte) *wire.Fault {
	var m wire.Signals
	if f := wire.Decode(data, &m); f != nil {
		return f
	}
	most := s.c.o.Limits.Signals
	switch {
	case len(m.Names) != len(m.Types):
		return wire.Faultf(wire.BadMessage, "%d names and %d types", len(m.Names), len(m.Types))
	case int64(m.First) > int64(len(s.numbers)):
		return wire.Faultf(wire.BadMessage, "first is %d where the next free number is %d", m.First, len(s.numbers))
	case int64(m.First)+int64(len(m.Names)) > int64(4*most):
		return wire.Faultf(wire.TooMany, "more than %d names announced by one connection", 4*most)
	}
	before := len(s.boot.names.Entries)
	numbers := append([]uint32{}, s.numbers[:m.First]...)
	for i, raw := range m.Names {
		kind, ok := schemas.ParseKind(m.Types[i])
		if !ok {
			s.boot.names.Truncate(before)
			return wire.Faultf(wire.BadMessage, "type %.40q is none of float64, int64, bool, text", m.Types[i])
		}
		n, f := s.boot.names.Add(raw, kind, most)
		if f != nil {
			s.boot.names.Truncate(before)
			return f
		}
		numbers = append(numbers, n)
	}
	if len(numbers) < len(s.numbers) {
		numbers = append(numbers, s.numbers[len(numbers):]...)
	}
	s.numbers = numbers
	s.c.mu.Lock()
	defer s.c.mu.Unlock()
	return s.c.journalNames(s.boot)
}

const mostAsked = 64 // clock exchanges under way

// clock is one message of an exchange: the question, or the time at which the answer came.
func (s *session) clock(data []byte) *wire.Fault {
	arrived := s.c.now()
	var m wire.Clock
	if f := wire.Decode(data, &m); f != nil {
		return f
	}
	if m.T0 == nil {
		return wire.Faultf(wire.BadMessage, "a clock message has t0_us")
	}
	if m.T3 == nil {
		if s.asked == nil || len(s.asked) >= mostAsked {
			s.asked = map[int64]clock.Exchange{}
		}
		sent := s.c.now()
		s.asked[*m.T0] = clock.Exchange{T0: *m.T0, T1: arrived, T2: sent}
		s.send(wire.Clock{Type: "clock", T0: m.T0, T1: &arrived, T2: &sent})
		return nil
	}
	e, ok := s.asked[*m.T0]
	if !ok {
		return nil // asked over an earlier connection
	}
	delete(s.asked, *m.T0)
	e.T3 = *m.T3
	if !e.Sound() {
		return wire.Faultf(wire.BadMessage, "the stamps of the clock exchange are not in order")
	}
	c := s.c
	c.mu.Lock()
	defer c.mu.Unlock()
	if _, err := c.journal.Append(frameClock, encode(clockFrame{s.boot.Number, e})); err != nil {
		return wire.Faultf(wire.Storage, "%s", err)
	}
	s.boot.Clock.Add(e)
	return nil
}

// match opens or closes a match by hand.
func (s *session) match(data []byte) *wire.Fault {
	var m wire.Match
	if f := wire.Decode(data, &m); f != nil {
		return f
	}
	if m.State != "start" && m.State != "end" {
		return wire.Faultf(wire.BadMessage, "state %.40q is neither start nor end", m.State)
	}
	if m.State == "start" {
		for _, n := range []struct{ what, name string }{{"event", m.Event}, {"match", m.Match}} {
			if n.what == "event" && n.name == "" {
				continue // the collector's own
			}
			if err := schemas.CheckName(n.what, n.name); err != nil {
				return wire.Faultf(wire.BadName, "%s", err)
			}
		}
	}
	c := s.c
	c.mu.Lock()
	at := m.At
	if at == nil && s.boot.Any {
		newest := s.boot.Newest
		at = &newest
	}
	f := matchFrame{Boot: s.boot.Number, State: m.State, At: at, Message: manualMatch{Event: m.Event, Match: m.Match}}
	if _, err := c.journal.Append(frameMatch, encode(f)); err != nil {
		c.mu.Unlock()
		return wire.Faultf(wire.Storage, "%s", err)
	}
	s.robot.matched(f)
	s.robot.retryAt = 0 // there is news
	if want := s.robot.due(c.now(), false); want == dueEnded {
		c.startSettle(s.robot, want)
	}
	c.mu.Unlock()
	s.send(wire.MatchState{Type: "match", State: m.State})
	return nil
}

// acknowledge sends acks as the journal becomes durable, and pings.
func (s *session) acknowledge(ctx context.Context) {
	ping := time.NewTicker(max(s.c.o.Limits.Idle/4, time.Millisecond))
	defer ping.Stop()
	told := uint64(0)
	for {
		durable, turned := s.c.journal.Durable()
		s.c.mu.Lock()
		seq := s.boot.durable(durable)
		owed := s.repeat
		s.repeat = false
		s.c.mu.Unlock()
		if seq > told || owed {
			told = seq
			if !s.send(wire.Ack{Type: "ack", DurableSeq: seq}) {
				return
			}
		}
		select {
		case <-turned:
		case <-s.acks:
		case <-ping.C:
			_ = s.conn.WriteControl(websocket.PingMessage, nil, time.Now().Add(time.Second))
		case <-ctx.Done():
			return
		}
	}
}

// storageTrouble tells the sender, once, that nothing is acknowledged for now. The lock is
// held.
func (s *session) storageTrouble(err error) {
	if s.boot == nil || s.warned {
		return
	}
	s.warned = true
	s.c.running.Go(func() {
		s.send(wire.Faultf(wire.Storage, "nothing can be stored now (%s); keep what is not acknowledged", err).Message())
	})
}

// send writes a message; false when that is not possible any more.
func (s *session) send(message any) bool {
	s.writing.Lock()
	defer s.writing.Unlock()
	_ = s.conn.SetWriteDeadline(time.Now().Add(10 * time.Second))
	return s.conn.WriteMessage(websocket.TextMessage, wire.Encode(message)) == nil
}

// end closes the connection with a code of RFC 6455, once.
func (s *session) end(code int, why string) {
	s.ending.Do(func() {
		close(s.quit)
		deadline := time.Now().Add(time.Second)
		_ = s.conn.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(code, why), deadline)
		_ = s.conn.SetReadDeadline(time.Now().Add(farewell))
	})
}

// farewell is how long the answer to a close message is waited for.
const farewell = 100 * time.Millisecond

func (s *session) ended() bool {
	select {
	case <-s.quit:
		return true
	default:
		return false
	}
}

// rate is a bucket that holds a second's worth of samples.
type rate struct {
	perSecond float64
	left      float64
	last      time.Time
}

// wait takes n samples out of the bucket, and sleeps as long as it is overdrawn.
func (r *rate) wait(n int, done <-chan struct{}) bool {
	now := time.Now()
	if r.last.IsZero() {
		r.left = r.perSecond
	} else {
		r.left = min(r.perSecond, r.left+now.Sub(r.last).Seconds()*r.perSecond)
	}
	r.last = now
	r.left -= float64(n)
	if r.left >= 0 {
		return true
	}
	t := time.NewTimer(time.Duration(-r.left / r.perSecond * float64(time.Second)))
	defer t.Stop()
	select {
	case <-t.C:
		return true
	case <-done:
		return false
	}
}
