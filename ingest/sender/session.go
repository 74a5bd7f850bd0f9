package sender

import (
	"context"
	"errors"
	"fmt"
	"net"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/wire"
)

// session is one connection. One goroutine writes, one reads.
type session struct {
	l        *link
	ws       *websocket.Conn
	numbered int                   // signals that the collector has the numbers of
	asked    atomic.Pointer[int64] // T0 of the clock exchange under way

	events chan event // from the reader
	dead   chan error // why the reader ended
	quit   chan struct{}
}

// event is what the reader tells the writer.
type event struct {
	clock  *wire.Clock // to be sent
	pause  bool        // the collector kept nothing of something
	longer bool        // and will not before long
}

// longest is the most bytes of a message from the collector.
const longest = 64 << 10

// session connects, and sends until the connection ends. The error says why.
func (l *link) session(ctx context.Context) error {
	ws, err := l.dial(ctx)
	if err != nil {
		return err
	}
	defer ws.Close()
	s := &session{l: l, ws: ws, events: make(chan event, 8), dead: make(chan error, 1), quit: make(chan struct{})}
	ws.SetReadLimit(longest)
	ws.SetPongHandler(func(string) error { return s.heard() })
	if err := s.greet(); err != nil {
		return s.whyClosed(err)
	}
	l.said = ""
	go s.read()
	err = s.write(ctx)
	close(s.quit)
	if ctx.Err() != nil {
		_ = ws.WriteControl(websocket.CloseMessage, websocket.FormatCloseMessage(websocket.CloseNormalClosure, ""), time.Now().Add(time.Second))
	}
	_ = ws.Close()
	if readErr := <-s.dead; readErr != nil && !errors.Is(readErr, net.ErrClosed) {
		err = readErr // the reader knows better why the connection ended
	}
	return s.whyClosed(err)
}

// heard moves the time at which the connection is taken for dead.
func (s *session) heard() error {
	return s.ws.SetReadDeadline(time.Now().Add(s.l.c.pace.silence))
}

// greet says who is there and takes up what the collector has.
func (s *session) greet() error {
	c := s.l.c
	if err := s.send(wire.Hello{Type: "hello", Robot: c.Robot, Source: c.Source, Boot: c.Boot}); err != nil {
		return err
	}
	if err := s.ws.SetReadDeadline(time.Now().Add(c.pace.handshake)); err != nil {
		return err
	}
	for {
		m, err := s.receive()
		switch {
		case err != nil:
			return err
		case m.Type == "welcome" && m.DurableSeq != nil:
			if err := s.heard(); err != nil {
				return err
			}
			return s.l.spool.welcome(*m.DurableSeq)
		case m.Type == "error" && m.Code == wire.Storage: // it welcomes when it can
		case m.Type == "error":
			return &RefusedError{Text: fmt.Sprintf("the collector refuses robot %s: %s", c.Robot, m.Message)}
		}
	}
}

// send writes a text message.
func (s *session) send(message any) error {
	return s.sendRaw(websocket.TextMessage, wire.Encode(message))
}

func (s *session) sendRaw(kind int, data []byte) error {
	if err := s.ws.SetWriteDeadline(time.Now().Add(s.l.c.pace.write)); err != nil {
		return err
	}
	return s.ws.WriteMessage(kind, data)
}

// write sends what is to be sent until something ends the connection.
func (s *session) write(ctx context.Context) error {
	p, pace := s.l.spool, s.l.c.pace
	ping := time.NewTicker(pace.silence / 3)
	defer ping.Stop()
	clock := time.NewTicker(pace.clock)
	defer clock.Stop()
	stall := newStall(pace)
	if err := s.askTime(); err != nil {
		return err
	}
	for {
		changed, durable := p.changed(), p.durable() // before looking: what comes later wakes
		if !stall.pausing() {
			if err := s.batches(); err != nil {
				return err
			}
		}
		n, acked := p.flying()
		stall.see(n, acked)
		var err error
		select {
		case <-ctx.Done():
			return ctx.Err()
		case err := <-s.dead:
			s.dead <- nil // session looks there too
			return err
		case <-changed:
		case <-durable:
		case <-stall.due:
			stall.over()
			p.again()
		case e := <-s.events:
			if e.pause {
				stall.pause(e.longer)
			}
			if e.clock != nil {
				err = s.send(e.clock)
			}
		case <-ping.C:
			err = s.ws.WriteControl(websocket.PingMessage, nil, time.Now().Add(pace.write))
		case <-clock.C:
			err = s.askTime()
		}
		if err != nil {
			return err
		}
	}
}

// batches sends all that may be on its way.
func (s *session) batches() error {
	for {
		messages, data, ok := s.l.spool.take()
		if !ok {
			return nil
		}
		if more := s.l.spool.namesFrom(s.numbered); len(more.Names) > 0 {
			if err := s.send(more); err != nil {
				return err
			}
			s.numbered += len(more.Names)
		}
		for _, m := range messages {
			if err := s.sendRaw(websocket.TextMessage, m); err != nil {
				return err
			}
		}
		if err := s.sendRaw(websocket.BinaryMessage, data); err != nil {
			return err
		}
	}
}

// askTime begins a clock exchange.
func (s *session) askTime() error {
	if s.l.clock == nil {
		return nil
	}
	t0 := s.l.clock()
	s.asked.Store(&t0)
	return s.send(wire.Clock{Type: "clock", T0: &t0})
}

// incoming is any message of the collector.
type incoming struct {
	Type       string    `json:"type"`
	DurableSeq *uint64   `json:"durable_seq"`
	Code       wire.Code `json:"code"`
	Message    string    `json:"message"`
	Expected   *uint64   `json:"expected"`
	T0         *int64    `json:"t0_us"`
	T1         *int64    `json:"t1_us"`
	T2         *int64    `json:"t2_us"`
}

// receive is the next message. Whatever the collector says, it is a message or an error.
func (s *session) receive() (incoming, error) {
	var m incoming
	kind, data, err := s.ws.ReadMessage()
	if err != nil {
		return m, err
	}
	if kind != websocket.TextMessage {
		return m, errors.New("the collector sends a binary message, which means nothing here")
	}
	if fault := wire.Decode(data, &m); fault != nil {
		return m, fmt.Errorf("the collector sends what cannot be read: %w", fault)
	}
	return m, nil
}

// read is the goroutine that takes up what the collector says.
func (s *session) read() {
	for {
		m, err := s.receive()
		if err == nil {
			err = s.heard()
		}
		if err == nil {
			err = s.take(m)
		}
		if err != nil {
			s.dead <- err
			return
		}
	}
}

func (s *session) take(m incoming) error {
	p := s.l.spool
	switch m.Type {
	case "ack":
		if m.DurableSeq == nil {
			return errors.New(`the collector sends an ack without "durable_seq"`)
		}
		return p.ack(*m.DurableSeq)
	case "clock":
		return s.takeTime(m)
	case "error":
		return s.takeError(m)
	default: // welcome again, match, or what a later collector may say
		return nil
	}
}

// takeTime ends a clock exchange. T3 is taken here, right when the answer came. A robot's
// clock that stepped back meanwhile tells nothing.
func (s *session) takeTime(m incoming) error {
	asked := s.asked.Swap(nil)
	if m.T0 == nil || asked == nil || *m.T0 != *asked {
		return nil
	}
	t3 := s.l.clock()
	if t3 < *asked {
		return nil
	}
	s.tell(event{clock: &wire.Clock{Type: "clock", T0: m.T0, T3: &t3}})
	return nil
}

func (s *session) takeError(m incoming) error {
	switch m.Code {
	case wire.Gap:
		if m.Expected == nil {
			return errors.New(`the collector sends a gap error without "expected"`)
		}
		return s.l.spool.gap(*m.Expected)
	case wire.Storage:
		s.l.c.Log.Warn("the collector's disk takes nothing now; keeping everything here", "why", m.Message)
		s.tell(event{pause: true, longer: true})
		return nil
	case wire.BadName: // of a match message: the batches do not depend on it
		s.l.c.Log.Error("the collector refuses a name", "why", m.Message)
		return nil
	default:
		s.l.c.Log.Warn("the collector refuses something", "code", string(m.Code), "why", m.Message)
		err := s.l.spool.refuse(m.Message)
		s.tell(event{pause: true})
		return err
	}
}

// tell hands an event to the writer, which may have ended.
func (s *session) tell(e event) {
	select {
	case s.events <- e:
	case <-s.quit:
	}
}

// whyClosed takes up a close code that says that a message was refused.
func (s *session) whyClosed(err error) error {
	var closed *websocket.CloseError
	if !errors.As(err, &closed) {
		return err
	}
	switch closed.Code {
	case websocket.CloseMessageTooBig, websocket.CloseInvalidFramePayloadData, websocket.CloseUnsupportedData, websocket.CloseProtocolError:
		_ = s.l.spool.refuse(closed.Error())
	}
	return fmt.Errorf("the collector closed the connection: %w", err)
}

// stall says when to send again what was sent and not acked: when no ack has come for long,
// and, after the collector refused something, when a pause is over.
type stall struct {
	pace  pace
	timer *time.Timer
	due   <-chan time.Time

	paused bool
	longer time.Duration // next pause for a full disk
	n      uint64
	acked  uint64
}

func newStall(p pace) *stall {
	t := time.NewTimer(time.Hour)
	t.Stop()
	return &stall{pace: p, timer: t, due: t.C, longer: p.pause}
}

// see is told how many batches are on their way, and the last that is acked.
func (s *stall) see(n, acked uint64) {
	moved := acked != s.acked
	if moved {
		s.paused, s.longer = false, s.pace.pause
	}
	switch {
	case s.paused:
	case n == 0:
		s.timer.Stop()
	case moved || s.n == 0:
		s.timer.Reset(s.pace.ack)
	}
	s.n, s.acked = n, acked
}

func (s *stall) pausing() bool { return s.paused }

func (s *stall) pause(longer bool) {
	if s.paused {
		return
	}
	s.paused = true
	d := s.pace.pause
	if longer {
		d, s.longer = s.longer, min(2*s.longer, max(s.pace.most, s.pace.pause))
	}
	s.timer.Reset(d)
}

// over ends a pause, or the wait for an ack.
func (s *stall) over() {
	s.paused = false
	s.n = 0 // so that see begins to wait anew
}
