package sender

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"sync/atomic"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// entry is one batch that the collector may not have.
type entry struct {
	matches [][]byte // messages that go before it
	data    []byte   // the binary message; nil when it is on disk only, or empty
	samples int
	size    int64  // bytes it counts for
	frame   uint64 // of the journal; 0 when it is not in it
	empty   bool   // its samples are gone, and it is sent without
	old     bool   // of an earlier program
	refused int    // how often it was, alone
}

// overhead is what an entry counts for besides its bytes.
const overhead = 128

// largestSeq bounds what a collector may say, so that counting on never overflows.
const largestSeq = 1 << 53

// spool holds the batches of one boot from when they are cut until the collector has them on
// disk, and knows which to send next. Batch first+i is entries[i]; what is asked for before
// first is empty: the collector that had it is gone, or another one is there now.
type spool struct {
	limit int64
	log   *slog.Logger
	disk  *disk       // nil: in memory
	tight atomic.Bool // more than half full: blocking senders wait

	mu      sync.Mutex
	names   wire.Names
	kind    []schemas.Kind // of names
	entries []entry
	first   uint64
	bytes   int64
	turned  chan struct{} // closed when something changed
	settled bool          // welcomed since own was cut, so the numbers are final
	own     uint64        // first batch that was cut since a program was welcomed last

	next   uint64 // to be sent on this connection
	acked  uint64 // by the collector of this connection
	sent   uint64 // highest ever sent
	stale  uint64 // gap errors still to come that tell nothing new ...
	gapAt  uint64 // ... about this batch
	alone  uint64 // send one at a time until this is acked
	warned bool   // that the spool is full

	hollowed uint64 // where makeRoom stopped

	counts  Stats
	done    uint64 // of this program's samples, those acked, lost or refused
	refusal error  // of the handshake or hello
}

func newSpool(limit int64, log *slog.Logger) *spool {
	return &spool{limit: limit, log: log, first: 1, own: 1, next: 1, turned: make(chan struct{})}
}

// name numbers a signal.
func (p *spool) name(name string, kind schemas.Kind) (uint32, *wire.Fault) {
	p.mu.Lock()
	defer p.mu.Unlock()
	before := len(p.names.Entries)
	i, fault := p.names.Add(name, kind, wire.MaxSignals)
	if fault == nil && len(p.names.Entries) > before {
		p.kind = append(p.kind, kind)
		if p.disk != nil {
			p.disk.name(p, p.names.Entries[before:])
		}
	}
	return i, fault
}

func (p *spool) kinds() []schemas.Kind {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.kind
}

// namesFrom are the signals numbered from on, spelled as they are sent.
func (p *spool) namesFrom(from int) wire.Signals {
	p.mu.Lock()
	defer p.mu.Unlock()
	m := wire.Signals{Type: "signals", First: uint32(from), Names: []string{}, Types: []string{}}
	for _, e := range p.names.Entries[from:] {
		m.Names = append(m.Names, Spelled(e.Name, e.Unit))
		m.Types = append(m.Types, e.Kind.String())
	}
	return m
}

// Spelled is the name of a signal with its unit in brackets.
func Spelled(name, unit string) string {
	if unit == "" {
		return name
	}
	return name + " [" + unit + "]"
}

// changed is a channel that is closed when something changes from now on.
func (p *spool) changed() <-chan struct{} {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.turned
}

func (p *spool) broadcast() {
	p.mu.Lock()
	p.turn()
	p.mu.Unlock()
}

// turn wakes all who wait. The lock is held.
func (p *spool) turn() {
	p.tight.Store(p.bytes > p.limit/2)
	close(p.turned)
	p.turned = make(chan struct{})
}

// last is the newest batch. The lock is held.
func (p *spool) last() uint64 { return p.first + uint64(len(p.entries)) - 1 }

// push numbers a batch and keeps it.
func (p *spool) push(e entry) {
	p.mu.Lock()
	defer p.mu.Unlock()
	e.size = sizeOf(&e)
	p.entries = append(p.entries, e)
	p.bytes += e.size
	if p.disk != nil {
		p.disk.write(p, len(p.entries)-1)
	}
	p.makeRoom()
	p.turn()
}

func sizeOf(e *entry) int64 {
	n := overhead + len(e.data)
	for _, m := range e.matches {
		n += len(m)
	}
	return int64(n)
}

// makeRoom takes the samples out of the oldest batches when the spool is full. The lock is
// held.
func (p *spool) makeRoom() {
	if p.bytes <= p.limit {
		return
	}
	i := 0
	if p.hollowed > p.first {
		i = int(p.hollowed - p.first)
	}
	for ; p.bytes > p.limit && i < len(p.entries); i++ {
		p.hollowed = p.first + uint64(i)
		if e := &p.entries[i]; !e.empty {
			p.hollow(e)
			p.account(e, &p.counts.Lost)
			if !p.warned && e.samples > 0 {
				p.warned = true
				p.log.Warn("the spool is full: the oldest samples are dropped until the collector is there again; said once", "bytes", p.limit)
			}
		}
	}
	// What is asked for before first is empty anyway, so a hollow batch at the front is not
	// kept, unless a match message goes with it.
	n := 0
	for n < len(p.entries)-1 && p.entries[n].empty && p.entries[n].matches == nil {
		p.bytes -= p.entries[n].size
		n++
	}
	p.entries = p.entries[n:]
	p.first += uint64(n)
	if n > 0 && p.disk != nil {
		p.disk.forget(p)
	}
}

// account counts the samples of a batch that has come to its end. The lock is held.
func (p *spool) account(e *entry, as *uint64) {
	*as += uint64(e.samples)
	if !e.old {
		p.done += uint64(e.samples)
	}
}

// hollow takes the samples out of a batch. The lock is held.
func (p *spool) hollow(e *entry) {
	e.data, e.empty = nil, true
	p.bytes -= e.size
	e.size = sizeOf(e)
	p.bytes += e.size
}

// welcome takes up what a collector has: everything to durable. It begins to send behind it.
func (p *spool) welcome(durable uint64) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if durable > largestSeq {
		return fmt.Errorf("the collector says it has batch %d, which nobody sent", durable)
	}
	switch {
	case !p.settled && durable >= p.own:
		// Nothing from own on was ever sent, so what the collector has under those numbers is
		// of a program whose spool is gone: ours come behind.
		p.drop(p.own - 1)
		p.settle(durable + 1)
	case durable > p.last():
		p.log.Warn("the collector has batches of this power-up that this program did not send; is another program using the same boot?")
		p.settle(durable + 1)
	default:
		p.drop(durable)
		if !p.settled {
			p.settle(p.first)
		}
	}
	p.acked, p.next = durable, durable+1
	p.sent = max(p.sent, durable)
	p.stale = 0
	p.counts.Connects++
	p.counts.Connected, p.counts.Trouble, p.refusal = true, "", nil
	p.turn()
	return nil
}

// settle makes first the number of the oldest batch, for good. The lock is held.
func (p *spool) settle(first uint64) {
	if p.disk != nil {
		p.disk.settle(settled{From: p.first, To: first})
	}
	p.first, p.settled = first, true
}

// drop lets go of the batches up to seq, which the collector has. The lock is held.
func (p *spool) drop(seq uint64) {
	n := 0
	for ; n < len(p.entries) && p.first+uint64(n) <= seq; n++ {
		e := &p.entries[n]
		p.bytes -= e.size
		p.counts.Batches++
		if !e.empty {
			p.account(e, &p.counts.Acked)
		}
		*e = entry{}
	}
	if n == 0 {
		return
	}
	p.entries = p.entries[n:]
	p.first += uint64(n)
	p.warned = p.warned && len(p.entries) > 0
	if p.disk != nil {
		p.disk.forget(p)
	}
}

// ack takes the collector's word that everything to durable is on its disk.
func (p *spool) ack(durable uint64) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	if durable > p.sent {
		return fmt.Errorf("the collector acknowledges batch %d, and %d is the last that was sent", durable, p.sent)
	}
	if durable <= p.acked {
		return nil
	}
	p.acked = durable
	p.next = max(p.next, durable+1)
	if p.gapAt <= durable {
		p.stale = 0
	}
	p.drop(durable)
	p.turn()
	return nil
}

// gap goes back to the batch that the collector waits for. Every batch that was on its way
// behind the hole brings one error, of which the first is enough.
func (p *spool) gap(expected uint64) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch {
	case expected <= p.acked || expected > p.sent+1:
		return fmt.Errorf("the collector expects batch %d, and has said that it has %d of %d sent", expected, p.acked, p.sent)
	case expected >= p.next:
		return nil // went back already
	case p.stale > 0 && expected == p.gapAt:
		p.stale--
		return nil
	}
	p.gapAt, p.stale = expected, 0
	if behind := p.next - 1 - expected; behind > 0 {
		p.stale = behind - 1
	}
	p.next = expected
	p.turn()
	return nil
}

// again goes back to the first batch that is not acked.
func (p *spool) again() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.next, p.stale = p.acked+1, 0
	p.turn()
}

// errAlone asks for a new connection on which batches go one at a time.
var errAlone = errors.New("the collector refused something; sending one batch at a time to find out what")

// refuse takes up that the collector keeps nothing of something that was sent. Errors do not
// say what they are about: when one batch only is on its way it is that, otherwise errAlone
// is returned. A batch that is refused twice loses its samples, so that those behind it get
// through.
func (p *spool) refuse(why string) error {
	p.mu.Lock()
	defer p.mu.Unlock()
	flying := p.next - 1 - p.acked
	if p.next <= p.acked+1 {
		return nil // nothing of ours
	}
	p.alone = max(p.alone, p.next-1)
	if flying > 1 {
		return errAlone
	}
	if e := p.at(p.acked + 1); e != nil && !e.empty {
		if e.refused++; e.refused > 1 {
			p.account(e, &p.counts.Refused)
			p.log.Error("the collector refuses a batch, whose samples are dropped", "samples", e.samples, "why", why)
			p.hollow(e)
		}
	}
	return nil
}

// at is batch seq, nil when it is not there. The lock is held.
func (p *spool) at(seq uint64) *entry {
	if seq < p.first || seq > p.last() {
		return nil
	}
	return &p.entries[seq-p.first]
}

// The most that is on its way without an ack. More would fill the network's buffers, and an
// answer to a ping would come too late.
const (
	mostFlying      = 64
	mostFlyingBytes = 4 << 20
)

// take is the next batch to be sent, when there is one and it may be on its way. The binary
// message is numbered and must not be changed.
func (p *spool) take() (messages [][]byte, data []byte, ok bool) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.maySend() {
		return nil, nil, false
	}
	seq := p.next
	e := p.at(seq)
	if e != nil {
		if e.data == nil && !e.empty {
			if err := p.disk.load(p, int(seq-p.first)); err != nil {
				// What the disk cannot read is lost; those behind it are not.
				p.log.Error("a batch cannot be read from the spool, its samples are lost", "why", err, "samples", e.samples)
				p.account(e, &p.counts.Lost)
				p.hollow(e)
			}
		}
		messages, data = e.matches, e.data
	}
	if data == nil {
		data = slices.Clone(nothing)
	}
	binary.LittleEndian.PutUint64(data, seq)
	p.next++
	p.sent = max(p.sent, seq)
	return messages, data, true
}

// maySend is whether the next batch may be on its way. The lock is held.
func (p *spool) maySend() bool {
	if p.next > p.last() {
		return false
	}
	flying := p.next - 1 - p.acked
	switch {
	case flying == 0:
	case flying >= mostFlying || p.acked < p.alone:
		return false
	default:
		bytes := int64(0)
		for seq := p.acked + 1; seq < p.next; seq++ {
			if e := p.at(seq); e != nil {
				bytes += e.size
			}
		}
		if bytes >= mostFlyingBytes {
			return false
		}
	}
	e := p.at(p.next)
	return e == nil || p.disk == nil || p.disk.safe(e)
}

// nothing is a batch without samples, not numbered.
var nothing = func() []byte {
	data, err := wire.NewEncoder().Encode(&wire.Batch{}, nil)
	if err != nil {
		panic(err) // our own schema
	}
	return slices.Clone(data)
}()

// flying is how many batches are on their way, and the last that is acked.
func (p *spool) flying() (n, acked uint64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.next - 1 - p.acked, p.acked
}

// durable is a channel that is closed when more of the spool is durable here; nil when it is
// in memory.
func (p *spool) durable() <-chan struct{} {
	if p.disk == nil {
		return nil
	}
	_, turned := p.disk.journal.Durable()
	return turned
}

// idle is whether everything is acked.
func (p *spool) idle() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return len(p.entries) == 0
}

// lost records why there is no connection.
func (p *spool) lost(why error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.counts.Connected, p.counts.Trouble = false, why.Error()
	p.refusal = nil
	var r *RefusedError
	if errors.As(why, &r) {
		p.refusal = r
	}
	p.turn()
}

func (p *spool) stats(recorded uint64) Stats {
	p.mu.Lock()
	defer p.mu.Unlock()
	st := p.counts
	st.Spooled, st.Recorded = p.bytes, recorded
	st.Waiting = recorded - min(p.done, recorded)
	return st
}

// ready waits for a welcome. A collector that refuses ends the wait.
func (p *spool) ready(ctx context.Context) error {
	for {
		p.mu.Lock()
		welcomed, trouble, refusal, turned := p.counts.Connects > 0, p.counts.Trouble, p.refusal, p.turned
		p.mu.Unlock()
		switch {
		case welcomed:
			return nil
		case refusal != nil:
			return refusal
		}
		select {
		case <-turned:
		case <-ctx.Done():
			if trouble == "" {
				trouble = "the collector does not answer"
			}
			return errors.New(trouble)
		}
	}
}

// drained waits until everything is acked.
func (p *spool) drained(ctx context.Context) error {
	for {
		p.mu.Lock()
		left, samples, turned, trouble := len(p.entries), 0, p.turned, p.counts.Trouble
		for i := range p.entries {
			if e := &p.entries[i]; !e.empty {
				samples += e.samples
			}
		}
		p.mu.Unlock()
		if left == 0 {
			return nil
		}
		select {
		case <-turned:
		case <-ctx.Done():
			return p.unacked(samples, trouble)
		}
	}
}

func (p *spool) unacked(samples int, trouble string) error {
	if trouble != "" {
		trouble = " (" + trouble + ")"
	}
	if p.disk != nil {
		return fmt.Errorf("%d samples are not acknowledged%s; they are kept in %s and sent by the next program that uses it", samples, trouble, p.disk.dir)
	}
	return fmt.Errorf("%d samples are not acknowledged%s and lost with this program", samples, trouble)
}

func (p *spool) close() error {
	if p.disk == nil {
		return nil
	}
	return p.disk.close(p.idle())
}
