package collector

import "github.com/afterbell/afterbell/ingest/wire"

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
