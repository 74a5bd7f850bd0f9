package collector

import (
	"time"
	"unicode/utf8"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

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
