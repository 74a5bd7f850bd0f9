package collector

import (
	"bytes"
	"context"
	"errors"
	"net"
	"sync"
	"time"
	"unicode/utf8"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/wire"
)

// Close codes of RFC 6455, section 7.4.
const (
	closeGoingAway = websocket.CloseGoingAway
	closePolicy    = websocket.ClosePolicyViolation
	closeData      = websocket.CloseInvalidFramePayloadData
)

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

const longestBoot = 256 // bytes of the text that names a power-up

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

const mostAsked = 64 // clock exchanges under way

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
