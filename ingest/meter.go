package ingest

import (
	"context"
	"io"
)

// meter counts the bytes of all sources as they are read, tells the caller, and ends reading
// when the caller has cancelled.
type meter struct {
	ctx         context.Context
	progress    func(done, total int64)
	done, total int64
	told        int64
}

// tellEvery is how many bytes lie between two calls of progress.
const tellEvery = 1 << 20

func newMeter(ctx context.Context, sources []Source, progress func(done, total int64)) *meter {
	m := &meter{ctx: ctx, progress: progress}
	for _, s := range sources {
		m.total += s.Size
	}
	return m
}

func (m *meter) count(r io.Reader) io.Reader { return &metered{m, r} }

func (m *meter) add(n int) {
	m.done += int64(n)
	if m.done-m.told >= tellEvery {
		m.tell()
	}
}

func (m *meter) tell() {
	m.told = m.done
	m.total = max(m.total, m.done)
	if m.progress != nil {
		m.progress(m.done, m.total)
	}
}

// countAt is count for a file that is read here and there, of size bytes: a byte counts once
// at most, as far as that can be told.
func (m *meter) countAt(r io.ReaderAt, size int64) io.ReaderAt { return &meteredAt{m, r, size} }

type meteredAt struct {
	m    *meter
	r    io.ReaderAt
	left int64
}

func (r *meteredAt) ReadAt(p []byte, at int64) (int, error) {
	if err := r.m.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.r.ReadAt(p, at)
	count := min(int64(n), r.left)
	r.left -= count
	r.m.add(int(count))
	return n, err
}

// share counts size bytes in shares of a whole, for a file that others read.
func (m *meter) share(size int64) func(done, total int64) {
	counted := int64(0)
	return func(done, total int64) {
		if total > 0 {
			now := int64(float64(size) * float64(min(done, total)) / float64(total))
			m.add(int(now - counted))
			counted = now
		}
	}
}

type metered struct {
	m *meter
	r io.Reader
}

func (r *metered) Read(p []byte) (int, error) {
	if err := r.m.ctx.Err(); err != nil {
		return 0, err
	}
	n, err := r.r.Read(p)
	r.m.add(n)
	return n, err
}
