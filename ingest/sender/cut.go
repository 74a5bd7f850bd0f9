package sender

import (
	"slices"
	"time"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// mostRows bounds the samples of one batch, and mostText its text in bytes, so that no
// message comes near the collector's limit.
const (
	mostRows = 16_384
	mostText = 256 << 10
)

// cutter makes batches of what was recorded. It belongs to one goroutine.
type cutter struct {
	s       *Sender
	encoder *wire.Encoder
	batch   wire.Batch
	order   []uint32 // rows sorted by signal
	counts  []uint32
	newest  int64 // time of the newest sample, if any
	any     bool
}

// cutting is the goroutine that cuts a batch every so often, sooner when there is much.
func (s *Sender) cutting() {
	defer close(s.cutDone)
	c := &cutter{s: s, encoder: wire.NewEncoder()}
	tick := time.NewTicker(s.c.Every)
	defer tick.Stop()
	for {
		select {
		case <-tick.C:
			c.cut()
		case <-s.kick:
			c.cut()
		case err := <-s.misfits:
			s.sayMisfit(err)
		case <-s.closing:
			c.cut() // the ring takes nothing any more
			for len(s.misfits) > 0 {
				s.sayMisfit(<-s.misfits)
			}
			return
		}
	}
}

func (s *Sender) sayMisfit(why error) {
	s.log.Error("a sample cannot be sent; said once for each signal", "why", why)
}

func (s *Sender) kickCutter() {
	select {
	case s.kick <- struct{}{}:
	default:
	}
}

// cut puts what was recorded into the spool.
func (c *cutter) cut() {
	p := c.s.ring.turn()
	c.s.spool.broadcast() // there is room for those who wait
	if len(p.rows) == 0 && len(p.marks) == 0 {
		return
	}
	from := 0
	var before []wire.Match // since the last batch
	for _, m := range p.marks {
		if from < m.row {
			c.samples(p, from, m.row, before)
			from, before = m.row, nil
		}
		before = append(before, c.message(m))
	}
	// What a match message needs to be durable is a later batch, even one without samples.
	c.samples(p, from, len(p.rows), before)
}

// message is a match message as it is sent.
func (c *cutter) message(m mark) wire.Match {
	out := wire.Match{Type: "match", Event: m.event, Match: m.match, State: m.state}
	switch {
	case m.at != Newest:
		out.At = &m.at
	case c.any: // now and not when it arrives
		newest := c.newest
		out.At = &newest
	}
	return out
}

// samples puts rows from up to to into the spool, behind match messages.
func (c *cutter) samples(p *page, from, to int, before []wire.Match) {
	var messages [][]byte
	for _, m := range before {
		messages = append(messages, wire.Encode(m))
	}
	kinds := c.s.spool.kinds()
	for from < to || messages != nil {
		end := fitting(p, kinds, from, to)
		c.fill(p, kinds, from, end)
		data, err := c.encoder.Encode(&c.batch, kinds)
		if err != nil { // the columns are ours, so it cannot be
			c.s.log.Error("a batch cannot be encoded", "why", err)
			return
		}
		c.s.spool.push(entry{matches: messages, data: slices.Clone(data), samples: end - from})
		from, messages = end, nil
	}
}

// fitting is the end of the rows from from on that one batch may hold.
func fitting(p *page, kinds []schemas.Kind, from, to int) int {
	text := 0
	for i := from; i < to; i++ {
		text += len(p.textOf(p.rows[i], kinds[p.rows[i].signal]))
		if i-from == mostRows || text > mostText && i > from {
			return i
		}
	}
	return to
}

// fill makes the rows a batch sorted by signal. Rows of one signal keep their order: of two
// samples of one time the later counts.
func (c *cutter) fill(p *page, kinds []schemas.Kind, from, to int) {
	rows := p.rows[from:to]
	c.sort(rows, len(kinds))
	b := &c.batch
	b.Reset()
	for _, i := range c.order {
		r := rows[i]
		b.Signal = append(b.Signal, r.signal)
		b.Time = append(b.Time, r.time)
		if text := p.textOf(r, kinds[r.signal]); text != nil {
			r.value = uint64(len(b.Text))<<32 | uint64(len(text))
			b.Text = append(b.Text, text...)
		}
		b.Value = append(b.Value, r.value)
		if !c.any || r.time > c.newest {
			c.newest, c.any = r.time, true
		}
	}
}

// sort makes order the places of rows by signal, by counting.
func (c *cutter) sort(rows []row, signals int) {
	c.counts = slices.Grow(c.counts[:0], signals)[:signals]
	clear(c.counts)
	c.order = slices.Grow(c.order[:0], len(rows))[:len(rows)]
	for _, r := range rows {
		c.counts[r.signal]++
	}
	at := uint32(0)
	for i, n := range c.counts {
		c.counts[i] = at
		at += n
	}
	for i, r := range rows {
		c.order[c.counts[r.signal]] = uint32(i)
		c.counts[r.signal]++
	}
}
