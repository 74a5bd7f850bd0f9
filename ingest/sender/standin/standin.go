// Package standin is a collector for tests of senders: in memory, strict about the rules of
// the wire as schemas/live.md has them, and with the troubles that a test asks for. What it
// was sent wrongly is in Server.Wrong.
package standin

import (
	"fmt"
	"math"
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// Sample is one sample as it was taken; Value is a float64, int64, bool or string.
type Sample struct {
	Signal string // without its unit
	Unit   string
	Kind   schemas.Kind
	Time   int64
	Value  any
}

// Bits is the sample's value such that equal bits are equal: NaN is its bits.
func (s Sample) Bits() any {
	if f, ok := s.Value.(float64); ok {
		return math.Float64bits(f)
	}
	return s.Value
}

// Item is a batch or a match message, in the order in which they came.
type Item struct {
	Seq     uint64 // of a batch
	Samples []Sample
	Match   *wire.Match
}

// Boot is what was taken of one power-up.
type Boot struct {
	Robot, Source, Name string
	Items               []Item
	Clocks              []Exchange

	accepted, durable uint64
	kept              int // Items that are durable
	names             wire.Names
	owner             *conn
}

// Samples are those of all batches, in order.
func (b *Boot) Samples() []Sample {
	var out []Sample
	for _, i := range b.Items {
		out = append(out, i.Samples...)
	}
	return out
}

// Matches are the match messages, in order.
func (b *Boot) Matches() []wire.Match {
	var out []wire.Match
	for _, i := range b.Items {
		if i.Match != nil {
			out = append(out, *i.Match)
		}
	}
	return out
}

// Exchange is a clock exchange: T0 and T3 in robot time, T1 and T2 in the server's.
type Exchange struct{ T0, T1, T2, T3 int64 }

// Trouble is what happens instead of taking a message.
type Trouble int

// The troubles.
const (
	None    Trouble = iota
	Cut             // the connection ends, and the message counts not
	CutTook         // the connection ends, and the message counts
	Crash           // the connection ends, and what was accepted and not acked is gone
	Dead            // nothing is heard or said any more, and the connection stays
	Skip            // the batch counts as never arrived
	Storage         // error storage, and nothing is kept
	Bad             // error bad_message, and nothing is kept
	Large           // close code 1009
)

// Server is the stand-in. Set its functions before it is used.
type Server struct {
	HTTP *httptest.Server
	// On is asked before each batch, of which it gets the number and how many samples it has;
	// nil for no trouble. It is called with the lock held.
	On func(b *Boot, seq uint64, samples int) Trouble
	// Refuse is an HTTP status for the next handshake, 0 for none.
	Refuse func() int
	// Hello, if set, is a fault for a hello.
	Hello func(wire.Hello) *wire.Fault
	// Acks says whether to acknowledge now. What is not acknowledged then is with the next.
	Acks  func(seq uint64) bool
	Token string

	mu      sync.Mutex
	boots   []*Boot
	wrong   []string
	conns   map[*conn]bool
	changed chan struct{}
	start   time.Time
}

// New starts a server on a free port of loopback.
func New() *Server {
	s := &Server{conns: map[*conn]bool{}, changed: make(chan struct{}), start: time.Now()}
	s.HTTP = httptest.NewServer(s)
	return s
}

// URL is where it listens.
func (s *Server) URL() string { return "ws" + strings.TrimPrefix(s.HTTP.URL, "http") + wire.Path }

// Close ends all connections.
func (s *Server) Close() {
	s.CutAll()
	s.HTTP.Close()
}

// CutAll ends all connections.
func (s *Server) CutAll() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for c := range s.conns {
		_ = c.ws.NetConn().Close()
	}
}

// Wrong is what senders did that they must not.
func (s *Server) Wrong() []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]string{}, s.wrong...)
}

// Look calls f with the boots, while nothing changes.
func (s *Server) Look(f func([]*Boot)) {
	s.mu.Lock()
	defer s.mu.Unlock()
	f(s.boots)
}

// Wait returns true when is true of the boots, false when that takes longer than most.
func (s *Server) Wait(most time.Duration, is func([]*Boot) bool) bool {
	timeout := time.After(most)
	for {
		s.mu.Lock()
		ok, changed := is(s.boots), s.changed
		s.mu.Unlock()
		if ok {
			return true
		}
		select {
		case <-changed:
		case <-timeout:
			return false
		}
	}
}

// Forget is the server with an empty disk.
func (s *Server) Forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.boots = nil
	for c := range s.conns {
		_ = c.ws.NetConn().Close()
	}
}

func (s *Server) now() int64 { return s.Time(time.Now()) }

// Time is the server's clock in microseconds at some moment.
func (s *Server) Time(at time.Time) int64 { return 5_000_000_000 + at.Sub(s.start).Microseconds() }

func (s *Server) wrongf(format string, args ...any) {
	s.wrong = append(s.wrong, fmt.Sprintf(format, args...))
}

// conn is one connection.
type conn struct {
	s       *Server
	ws      *websocket.Conn
	boot    *Boot
	reader  wire.Reader
	numbers []uint32
	clocks  map[int64]Exchange
	dead    bool
}

func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	switch {
	case r.URL.Path != wire.Path:
		http.NotFound(w, r)
		return
	case s.Refuse != nil:
		if status := s.Refuse(); status != 0 {
			http.Error(w, "not now", status)
			return
		}
	}
	switch {
	case s.Token != "" && r.Header.Get("Authorization") != "Bearer "+s.Token:
		http.Error(w, "wrong token", http.StatusUnauthorized)
		return
	case r.Header.Get("Origin") != "":
		http.Error(w, "foreign origin", http.StatusForbidden)
		return
	case !strings.Contains(r.Header.Get("Sec-Websocket-Protocol"), wire.Subprotocol):
		http.Error(w, "no subprotocol", http.StatusBadRequest)
		return
	}
	up := websocket.Upgrader{Subprotocols: []string{wire.Subprotocol}, ReadBufferSize: 64 << 10}
	ws, err := up.Upgrade(w, r, nil)
	if err != nil {
		return
	}
	c := &conn{s: s, ws: ws, clocks: map[int64]Exchange{}}
	s.mu.Lock()
	s.conns[c] = true
	s.mu.Unlock()
	defer func() {
		s.mu.Lock()
		delete(s.conns, c)
		s.mu.Unlock()
		_ = ws.Close()
	}()
	ws.SetReadLimit(8 << 20)
	ws.SetPingHandler(func(data string) error {
		s.mu.Lock()
		defer s.mu.Unlock()
		if c.dead {
			return nil
		}
		return ws.WriteControl(websocket.PongMessage, []byte(data), time.Now().Add(time.Second))
	})
	for {
		kind, data, err := ws.ReadMessage()
		if err != nil {
			return
		}
		s.mu.Lock()
		ok := c.take(kind, data)
		close(s.changed)
		s.changed = make(chan struct{})
		s.mu.Unlock()
		if !ok {
			return
		}
	}
}

func (c *conn) say(m any) {
	if !c.dead {
		_ = c.ws.WriteMessage(websocket.TextMessage, wire.Encode(m))
	}
}

func (c *conn) fault(f *wire.Fault) { c.say(f.Message()) }

// take is one message; false ends the connection.
func (c *conn) take(kind int, data []byte) bool {
	if c.dead {
		return true
	}
	if kind == websocket.BinaryMessage {
		if c.boot == nil {
			c.s.wrongf("a batch before hello")
			return false
		}
		b, f := c.reader.Record(data, c.numbers)
		return c.batch(b, f)
	}
	what, f := c.reader.Type(data)
	if f != nil {
		c.s.wrongf("%s", f.Text)
		return false
	}
	if c.boot == nil && what != "hello" {
		c.s.wrongf("%s before hello", what)
		return false
	}
	switch what {
	case "hello":
		return c.hello(data)
	case "batch":
		b, f := c.reader.Batch(data)
		return c.batch(b, f)
	case "signals":
		return c.signals(data)
	case "clock":
		return c.clock(data)
	case "match":
		var m wire.Match
		if f := wire.Decode(data, &m); f != nil {
			c.s.wrongf("match: %s", f.Text)
			return false
		}
		c.boot.Items = append(c.boot.Items, Item{Match: &m})
		c.say(wire.MatchState{Type: "match", State: m.State})
		return true
	}
	c.s.wrongf("a message of type %q", what)
	return false
}

func (c *conn) hello(data []byte) bool {
	var h wire.Hello
	if f := wire.Decode(data, &h); f != nil || h.Robot == "" || h.Boot == "" {
		c.s.wrongf("hello: %s", data)
		return false
	}
	if c.s.Hello != nil {
		if f := c.s.Hello(h); f != nil {
			c.fault(f)
			return false
		}
	}
	for _, b := range c.s.boots {
		if b.Robot == h.Robot && b.Source == h.Source && b.Name == h.Boot {
			c.boot = b
		}
	}
	if c.boot == nil {
		c.boot = &Boot{Robot: h.Robot, Source: h.Source, Name: h.Boot}
		c.s.boots = append(c.s.boots, c.boot)
	}
	if old := c.boot.owner; old != nil && old != c { // a new connection replaces the old one
		old.dead = true
		_ = old.ws.NetConn().Close()
	}
	c.boot.owner = c
	c.reader.Names = &c.boot.names
	c.boot.sync()
	c.say(wire.Welcome{Type: "welcome", DurableSeq: c.boot.durable})
	return true
}

func (b *Boot) sync() { b.durable, b.kept = b.accepted, len(b.Items) }

func (c *conn) signals(data []byte) bool {
	var m wire.Signals
	if f := wire.Decode(data, &m); f != nil || len(m.Names) != len(m.Types) || int(m.First) != len(c.numbers) {
		c.s.wrongf("signals: %s", data)
		return false
	}
	for i, name := range m.Names {
		kind, ok := schemas.ParseKind(m.Types[i])
		number, f := c.boot.names.Add(name, kind, wire.MaxSignals)
		if !ok || f != nil {
			c.s.wrongf("signal %q: %v", name, f)
			return false
		}
		c.numbers = append(c.numbers, number)
	}
	return true
}

func (c *conn) clock(data []byte) bool {
	var m wire.Clock
	if f := wire.Decode(data, &m); f != nil || m.T0 == nil {
		c.s.wrongf("clock: %s", data)
		return false
	}
	if m.T3 == nil {
		t := c.s.now()
		e := Exchange{T0: *m.T0, T1: t, T2: c.s.now()}
		c.clocks[*m.T0] = e
		c.say(wire.Clock{Type: "clock", T0: m.T0, T1: &e.T1, T2: &e.T2})
		return true
	}
	e, ok := c.clocks[*m.T0]
	if !ok || *m.T3 < *m.T0 {
		c.s.wrongf("clock: no exchange began at %d", *m.T0)
		return false
	}
	e.T3 = *m.T3
	c.boot.Clocks = append(c.boot.Clocks, e)
	return true
}

func (c *conn) batch(batch *wire.Batch, f *wire.Fault) bool {
	if f != nil {
		c.s.wrongf("batch: %s", f.Text)
		c.fault(f)
		return true
	}
	b := c.boot
	trouble := None
	if c.s.On != nil {
		trouble = c.s.On(b, batch.Seq, batch.Len())
	}
	switch trouble {
	case Cut:
		return false
	case Crash:
		b.accepted, b.Items = b.durable, b.Items[:b.kept]
		return false
	case Dead:
		c.dead = true
		return true
	case Skip:
		return true
	case Storage:
		c.fault(wire.Faultf(wire.Storage, "no space left on device"))
		return true
	case Bad:
		c.fault(wire.Faultf(wire.BadMessage, "row 0: not liked"))
		return true
	case Large:
		_ = c.ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseMessageTooBig, ""), time.Now().Add(time.Second))
		return false
	}
	switch {
	case batch.Seq <= b.accepted: // a repeat
		c.say(wire.Ack{Type: "ack", DurableSeq: b.durable})
		return true
	case batch.Seq > b.accepted+1:
		gap := wire.Faultf(wire.Gap, "batch %d is missing", b.accepted+1)
		gap.Expected = b.accepted + 1
		c.fault(gap)
		return true
	}
	b.accepted = batch.Seq
	b.Items = append(b.Items, b.item(batch))
	if trouble == CutTook {
		return false
	}
	if c.s.Acks == nil || c.s.Acks(batch.Seq) {
		b.sync()
		c.say(wire.Ack{Type: "ack", DurableSeq: b.durable})
	}
	return true
}

// item is a batch, copied.
func (b *Boot) item(batch *wire.Batch) Item {
	item := Item{Seq: batch.Seq}
	for i, signal := range batch.Signal {
		e := b.names.Entries[signal]
		s := Sample{Signal: e.Name, Unit: e.Unit, Kind: e.Kind, Time: batch.Time[i]}
		switch v := batch.Value[i]; e.Kind {
		case schemas.Float64:
			s.Value = math.Float64frombits(v)
		case schemas.Int64:
			s.Value = int64(v)
		case schemas.Bool:
			s.Value = v != 0
		default:
			s.Value = string(batch.TextAt(v))
		}
		item.Samples = append(item.Samples, s)
	}
	return item
}

// Blackhole listens and takes connections, and says nothing.
func Blackhole() (url string, closeIt func(), err error) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return "", nil, err
	}
	var held []net.Conn
	var done sync.WaitGroup
	done.Go(func() {
		for {
			c, err := l.Accept()
			if err != nil {
				break
			}
			held = append(held, c)
		}
		for _, c := range held {
			_ = c.Close()
		}
	})
	return "ws://" + l.Addr().String() + wire.Path, func() { _ = l.Close(); done.Wait() }, nil
}
