package collector

import (
	"context"
	"time"

	"github.com/gorilla/websocket"

	"github.com/afterbell/afterbell/ingest/wire"
)

// ask wakes the goroutine that acknowledges.
func (s *session) ask() {
	select {
	case s.acks <- struct{}{}:
	default:
	}
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
