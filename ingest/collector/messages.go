package collector

import (
	"github.com/afterbell/afterbell/ingest/clock"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

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
