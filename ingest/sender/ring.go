package sender

import (
	"errors"
	"sync"

	"github.com/afterbell/afterbell/schemas"
)

// row is one sample; value is as in wire.Batch.
type row struct {
	time   int64
	value  uint64
	signal uint32
}

// rowBytes is what a sample takes in a message, without text: an entry in each of six
// columns and four bitmaps.
const rowBytes = 4 + 8 + 8 + 8 + 4 + 1

// mark is a match message and the place among the samples where it came.
type mark struct {
	row                 int
	event, match, state string
	at                  int64
}

// page is what was recorded between two batches.
type page struct {
	rows  []row
	text  []byte
	marks []mark
}

// ring is where the control loop writes: two pages, one of which is filled while the other
// is made a batch. Pages do not grow, so that recording allocates nothing, and the lock is
// held for a few stores only, so that it waits for nothing.
type ring struct {
	mu     sync.Mutex
	page   page
	closed bool

	recorded, dropped, unfit uint64

	spare page // the cutter's, between two turns
}

func newRing(rows, text int) *ring {
	fresh := func() page { return page{rows: make([]row, 0, rows), text: make([]byte, 0, text)} }
	return &ring{page: fresh(), spare: fresh()}
}

// outcome is what became of a sample.
type outcome int

const (
	taken     outcome = iota
	takenHalf         // and the page is half full now: time for the cutter
	full
	refused
)

// put takes a sample whose value is a number.
func (r *ring) put(signal uint32, t int64, value uint64, waits bool) outcome {
	r.mu.Lock()
	n := len(r.page.rows)
	switch {
	case r.closed:
		r.unfit++
		r.mu.Unlock()
		return refused
	case n == cap(r.page.rows):
		if !waits {
			r.dropped++
		}
		r.mu.Unlock()
		return full
	}
	r.page.rows = append(r.page.rows, row{t, value, signal})
	r.recorded++
	half := cap(r.page.rows) / 2
	r.mu.Unlock()
	if n == half {
		return takenHalf
	}
	return taken
}

// putText takes a sample of a text signal.
func (r *ring) putText(signal uint32, t int64, text string, waits bool) outcome {
	r.mu.Lock()
	p := &r.page
	n, at := len(p.rows), len(p.text)
	switch {
	case r.closed || len(text) > cap(p.text):
		r.unfit++
		r.mu.Unlock()
		return refused
	case n == cap(p.rows) || at+len(text) > cap(p.text):
		if !waits {
			r.dropped++
		}
		r.mu.Unlock()
		return full
	}
	p.text = append(p.text, text...)
	p.rows = append(p.rows, row{t, uint64(at)<<32 | uint64(len(text)), signal})
	r.recorded++
	half := n == cap(p.rows)/2 || at <= cap(p.text)/2 && len(p.text) > cap(p.text)/2
	r.mu.Unlock()
	if half {
		return takenHalf
	}
	return taken
}

// misfit counts a sample that cannot be sent.
func (r *ring) misfit() {
	r.mu.Lock()
	r.unfit++
	r.mu.Unlock()
}

// most match messages between two batches; a program that sends more has lost its mind.
const mostMarks = 256

func (r *ring) mark(m mark) error {
	r.mu.Lock()
	defer r.mu.Unlock()
	if r.closed {
		return ErrClosed
	}
	if len(r.page.marks) >= mostMarks {
		return errors.New("too many match messages at once")
	}
	m.row = len(r.page.rows)
	r.page.marks = append(r.page.marks, m)
	return nil
}

// turn is the filled page, and an empty one takes its place. It is valid until the next call.
func (r *ring) turn() *page {
	empty := r.spare
	empty.rows, empty.text, empty.marks = empty.rows[:0], empty.text[:0], empty.marks[:0]
	r.mu.Lock()
	r.spare, r.page = r.page, empty
	r.mu.Unlock()
	return &r.spare
}

func (r *ring) close() {
	r.mu.Lock()
	r.closed = true
	r.mu.Unlock()
}

func (r *ring) counts() (recorded, dropped, unfit uint64) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.recorded, r.dropped, r.unfit
}

// textOf is the text a row stands for.
func (p *page) textOf(r row, kind schemas.Kind) []byte {
	if kind != schemas.Text {
		return nil
	}
	at := r.value >> 32
	return p.text[at : at+r.value&0xffffffff]
}

func (r *ring) isClosed() bool {
	r.mu.Lock()
	defer r.mu.Unlock()
	return r.closed
}
