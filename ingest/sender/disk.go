package sender

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas/filelock"
)

// Kinds of frames, besides journal.Head.
const (
	frameNames = 2 // []wire.Entry, behind those before
	frameBatch = 3 // stored
	frameFinal = 4 // settled
)

// head begins each segment: who sends, and which signals there are.
type head struct {
	Robot  string       `json:"robot"`
	Source string       `json:"source"`
	Boot   string       `json:"boot"`
	Next   uint64       `json:"next"`          // number of the batch that follows
	Own    uint64       `json:"own,omitempty"` // first batch whose number is not final; 0 when all are
	Names  []wire.Entry `json:"names"`
}

// settled says that the numbers of all batches so far are final, once that of batch From,
// the oldest, is To, and those of the others follow.
type settled struct {
	From uint64 `json:"from"`
	To   uint64 `json:"to"`
}

// disk is the part of a spool that outlives the program: a journal in a folder of its own for
// each boot. A batch goes to the collector when it is durable here, so that the next program
// never gives its number to another one. When this disk fails, batches go without it.
//
// Its methods are called with the spool's lock held.
type disk struct {
	dir     string
	who     head
	journal *journal.Journal
	memory  int64  // bytes of batches that are in memory besides ...
	most    int64  // ... and may be, roughly
	final   uint64 // the frame that says that the numbers are final
	log     *slog.Logger
}

// mostMemory bounds the batches of a spool on disk that are in memory.
const mostMemory = 16 << 20

// bootDir is the folder of a boot in the spool's folder. Boot is any text, so it is hashed.
func bootDir(c Config) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%s\x00%s", c.Robot, c.Source, c.Boot))
	return filepath.Join(c.Spool.Dir, "boot-"+hex.EncodeToString(sum[:8]))
}

// guardSpool keeps other senders out of the folder until it is closed: two would send the same,
// and write into each other's files.
func guardSpool(dir string) (io.Closer, error) {
	if dir == "" {
		return io.NopCloser(nil), nil
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return nil, fmt.Errorf("opening the spool: %w", err)
	}
	f, err := os.OpenFile(filepath.Join(dir, "lock"), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, fmt.Errorf("opening the spool: %w", err)
	}
	if err := filelock.Try(f); err != nil {
		if errors.Is(err, filelock.ErrTaken) {
			err = fmt.Errorf("the folder %s is the spool of another sender that runs: end that one, or give each sender a folder of its own", dir)
		}
		return nil, errors.Join(err, f.Close())
	}
	return f, nil
}

// openSpool is the spool of c, with what an earlier program left in it.
func openSpool(c Config) (*spool, error) {
	p := newSpool(c.Spool.Bytes, c.Log)
	if c.Spool.Dir == "" {
		return p, nil
	}
	d := &disk{dir: bootDir(c), who: head{Robot: c.Robot, Source: c.Source, Boot: c.Boot}, most: mostMemory, log: c.Log}
	if err := d.open(p); err != nil {
		return nil, fmt.Errorf("opening the spool: %w", err)
	}
	p.disk = d
	return p, nil
}

func (d *disk) open(p *spool) error {
	j, found, err := journal.Open(d.options(p.limit), func(f journal.Frame) error {
		d.replay(p, f)
		return nil
	})
	if err != nil {
		return err
	}
	d.journal = j
	for _, bad := range append(found.Damaged, found.Bad...) {
		d.log.Warn("a part of the spool cannot be read", "where", bad.String())
	}
	if d.who.Own == 0 || d.who.Own > p.last() {
		p.own = p.last() + 1
	} else {
		p.own = max(d.who.Own, p.first)
	}
	if err := d.rotate(p); err != nil {
		return errors.Join(err, j.Close())
	}
	p.makeRoom()
	return nil
}

func (d *disk) options(limit int64) journal.Options {
	return journal.Options{
		Dir: d.dir, Segment: min(max(limit/16, 64<<10), 8<<20), Pending: 8 << 20,
		Trouble: func(err error) {
			if err != nil {
				d.log.Warn("the spool's disk cannot be written; sending from memory meanwhile", "why", err)
			}
		},
	}
}

// replay takes up one frame that an earlier program left. What cannot be read is passed over.
func (d *disk) replay(p *spool, f journal.Frame) {
	switch f.Kind {
	case journal.Head:
		var h head
		if json.Unmarshal(f.Payload, &h) != nil {
			return
		}
		d.who = h
		restoreNames(p, h.Names)
		if len(p.entries) == 0 && h.Next > p.first {
			p.first = h.Next
		}
	case frameNames:
		var more []wire.Entry
		if json.Unmarshal(f.Payload, &more) == nil {
			restoreNames(p, append(p.names.Entries[:len(p.names.Entries):len(p.names.Entries)], more...))
		}
	case frameBatch:
		b, ok := readStored(f.Payload)
		if !ok || b.seq > largestSeq {
			return
		}
		e := entry{matches: b.matches, data: b.data, samples: b.samples, frame: f.Number, old: true}
		e.size = sizeOf(&e)
		e.data = nil // it can be read again
		if len(p.entries) == 0 {
			p.first = b.seq
		}
		switch next := p.last() + 1; {
		case b.seq < p.first:
			return
		case b.seq < next: // written again under its number
			p.bytes -= p.entries[b.seq-p.first].size
			p.entries[b.seq-p.first] = e
		case b.seq-next > 1<<20: // the batches between are on no disk
			p.entries, p.bytes, p.first = []entry{e}, 0, b.seq
		default:
			for ; next < b.seq; next++ {
				p.entries = append(p.entries, entry{empty: true, old: true, size: overhead})
				p.bytes += overhead
			}
			p.entries = append(p.entries, e)
		}
		p.bytes += e.size
	case frameFinal:
		var s settled
		if json.Unmarshal(f.Payload, &s) != nil || s.From > largestSeq || s.To > largestSeq {
			return
		}
		for len(p.entries) > 0 && p.first < s.From {
			p.bytes -= p.entries[0].size
			p.entries, p.first = p.entries[1:], p.first+1
		}
		p.first = s.To
		d.who.Own = 0
	}
}

// restoreNames makes names those of the spool, of which it has the first already.
func restoreNames(p *spool, names []wire.Entry) {
	if n := len(p.names.Entries); n < len(names) {
		p.names.Restore(names[n:])
		for _, e := range names[n:] {
			p.kind = append(p.kind, e.Kind)
		}
	}
}

// stored is a batch in the journal:
//
//	seq      u64
//	samples  u32
//	matches  u32  how many, then for each its length u32 and its bytes
//	data     the binary message
type stored struct {
	seq     uint64
	samples int
	matches [][]byte
	data    []byte
}

func appendStored(dst []byte, seq uint64, e *entry) []byte {
	le := binary.LittleEndian
	dst = le.AppendUint64(dst, seq)
	dst = le.AppendUint32(dst, uint32(e.samples))
	dst = le.AppendUint32(dst, uint32(len(e.matches)))
	for _, m := range e.matches {
		dst = le.AppendUint32(dst, uint32(len(m)))
		dst = append(dst, m...)
	}
	return append(dst, e.data...)
}

// readStored copies what it keeps.
func readStored(b []byte) (s stored, ok bool) {
	le := binary.LittleEndian
	if len(b) < 16 {
		return s, false
	}
	s.seq, s.samples = le.Uint64(b), int(le.Uint32(b[8:]))
	n := le.Uint32(b[12:])
	b = b[16:]
	for range n {
		if len(b) < 4 || uint64(le.Uint32(b)) > uint64(len(b)-4) {
			return s, false
		}
		size := le.Uint32(b)
		s.matches = append(s.matches, append([]byte{}, b[4:4+size]...))
		b = b[4+size:]
	}
	if len(b) < wire.RecordHeader {
		return s, false
	}
	s.data = append([]byte{}, b...)
	return s, true
}

// name writes signals that are new.
func (d *disk) name(p *spool, fresh []wire.Entry) {
	if d.journal.Full() {
		_ = d.rotate(p) // the head has them; an error here is that the journal is closed
		return
	}
	_, _ = d.journal.Append(frameNames, encode(fresh))
}

func encode(v any) []byte {
	data, err := json.Marshal(v)
	if err != nil { // our own types hold nothing JSON cannot
		panic(err)
	}
	return data
}

func (d *disk) rotate(p *spool) error { return d.begin(p, p.last()+1) }

// begin begins a segment in front of batch next.
func (d *disk) begin(p *spool, next uint64) error {
	h := d.who
	h.Next, h.Names, h.Own = next, p.names.Entries, 0
	if !p.settled {
		h.Own = p.own
	}
	_, err := d.journal.Rotate(encode(h))
	return err
}

// settle writes that numbers are final. No batch may be sent before that is durable: else the
// next program would take it for one that was not.
func (d *disk) settle(s settled) {
	if number, err := d.journal.Append(frameFinal, encode(s)); err == nil {
		d.final = number
	}
}

// atOnce is closed: it makes Admit look without waiting.
var atOnce = func() chan struct{} { c := make(chan struct{}); close(c); return c }()

// write appends entry i, unless the disk is too far behind.
func (d *disk) write(p *spool, i int) {
	e := &p.entries[i]
	d.memory += int64(len(e.data))
	if !d.journal.Admit(atOnce) {
		return
	}
	if d.journal.Full() && d.begin(p, p.first+uint64(i)) != nil {
		return
	}
	if number, err := d.journal.Append(frameBatch, appendStored(nil, p.first+uint64(i), e)); err == nil {
		e.frame = number
	}
	d.unload(p)
}

// unload leaves to the disk what need not be in memory.
func (d *disk) unload(p *spool) {
	if d.memory <= d.most {
		return
	}
	durable, _ := d.journal.Durable()
	d.memory = 0
	ahead := int64(0) // of what is to be sent
	for i := range p.entries {
		e := &p.entries[i]
		if p.first+uint64(i) >= p.next {
			ahead += e.size
		}
		if e.data == nil {
			continue
		}
		soon := ahead <= mostFlyingBytes
		if e.frame > 0 && e.frame <= durable && !soon {
			e.data = nil
			continue
		}
		d.memory += int64(len(e.data))
	}
}

// load reads entry i from disk, and some of those behind it.
func (d *disk) load(p *spool, i int) error {
	last := i
	for bytes := int64(0); last+1 < len(p.entries) && bytes < mostFlyingBytes && p.entries[last+1].frame > 0; last++ {
		bytes += p.entries[last+1].size
	}
	at := i
	err := d.journal.Read(p.entries[i].frame, p.entries[last].frame, nil, func(frames []journal.Frame) error {
		for _, f := range frames {
			for at <= last && p.entries[at].frame < f.Number {
				at++
			}
			if at > last || p.entries[at].frame != f.Number {
				continue
			}
			e := &p.entries[at]
			if s, ok := readStored(f.Payload); ok && e.data == nil && !e.empty {
				e.data = s.data
				d.memory += int64(len(s.data))
			}
		}
		return nil
	})
	if err == nil && p.entries[i].data == nil {
		err = errors.New("it is damaged")
	}
	return err
}

// safe is whether a batch may be sent: when it is durable, or this disk is no help.
func (d *disk) safe(e *entry) bool {
	durable, _ := d.journal.Durable()
	return max(e.frame, d.final) <= durable || d.journal.Trouble() != nil
}

// forget removes the segments of which nothing is needed any more.
func (d *disk) forget(p *spool) {
	for i := range p.entries {
		if e := &p.entries[i]; e.frame > 0 && !e.empty {
			_, _ = d.journal.DropBefore(e.frame) // what stays takes room only
			return
		}
	}
	if len(p.entries) == 0 {
		_, _ = d.journal.DropBefore(d.journal.Last())
	}
}

// close ends the journal; when nothing is left to send, its folder goes.
func (d *disk) close(empty bool) error {
	err := d.journal.Close()
	if empty {
		return errors.Join(err, os.RemoveAll(d.dir))
	}
	return err
}
