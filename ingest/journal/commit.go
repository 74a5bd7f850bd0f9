package journal

import (
	"errors"
	"fmt"
	"os"
	"time"
)

// commit is the goroutine that writes: it takes what waits, writes and syncs it, and tells
// those who wait. It is the only one that touches files being written.
func (j *Journal) commit() {
	defer close(j.done)
	var last time.Time
	for {
		taken := j.take(last)
		if taken == nil {
			break
		}
		last = time.Now()
		for {
			err := j.write(taken)
			j.tell(err)
			if err == nil {
				break
			}
			if j.isClosed() {
				j.abandon()
				return
			}
			j.pause()
		}
		j.landed(taken)
	}
	if j.file != nil {
		_ = j.file.Close() // synced already
	}
}

// take waits until something waits for the disk and the last sync is long enough ago. It is
// nil when the journal is closed and all is written.
func (j *Journal) take(last time.Time) []batch {
	j.mu.Lock()
	for len(j.pending) == 0 && !j.closed {
		j.work.Wait()
	}
	if left := j.o.Every - time.Since(last); left > 0 && !j.closed {
		// More frames join this commit meanwhile.
		j.mu.Unlock()
		pause := time.NewTimer(left)
		select {
		case <-pause.C:
		case <-j.hurried:
			pause.Stop()
		}
		j.mu.Lock()
	}
	defer j.mu.Unlock()
	select {
	case <-j.hurried: // who was in a hurry waits for frames that are taken now
	default:
	}
	taken := j.pending
	j.pending = nil
	return taken
}

// write puts batches on stable storage, all of them or, with an error, none that counts.
func (j *Journal) write(taken []batch) error {
	var grown []segment // what the segments will be when all is synced
	for i, b := range taken {
		if b.fresh || j.file == nil {
			if j.file != nil { // the segment before is complete
				if i > 0 {
					if err := j.file.Sync(); err != nil {
						j.abandon()
						return fmt.Errorf("syncing the journal: %w", err)
					}
				}
				_ = j.file.Close()
				j.file = nil
			}
			s, err := j.begin(b)
			if err != nil {
				j.abandon()
				return err
			}
			grown = append(grown, s)
		} else if len(grown) == 0 {
			j.mu.Lock()
			grown = append(grown, j.segments[len(j.segments)-1])
			j.mu.Unlock()
		}
		if _, err := j.file.Write(b.data); err != nil {
			j.abandon()
			return fmt.Errorf("writing the journal: %w", err)
		}
		s := &grown[len(grown)-1]
		s.size += int64(len(b.data))
		s.last = b.last
	}
	if err := j.file.Sync(); err != nil {
		j.abandon()
		return fmt.Errorf("syncing the journal: %w", err)
	}
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, s := range grown {
		if n := len(j.segments); n > 0 && j.segments[n-1].id == s.id {
			j.segments[n-1] = s
		} else {
			j.segments = append(j.segments, s)
		}
	}
	return nil
}

// begin creates the file of a new segment whose first batch is b.
func (j *Journal) begin(b batch) (segment, error) {
	j.mu.Lock()
	j.lastID++
	s := segment{id: j.lastID, first: b.first, whole: b.fresh}
	j.mu.Unlock()
	path := segmentPath(j.o.Dir, s.id)
	f, err := j.o.Create(path)
	if err != nil {
		return s, fmt.Errorf("creating a file of the journal: %w", err)
	}
	j.file = f
	if err := syncDir(j.o.Dir); err != nil {
		return s, fmt.Errorf("syncing the folder of the journal: %w", err)
	}
	return s, nil
}

// abandon leaves the file being written as it was when it was last durable, as far as that
// can still be done, and never writes to it again. Files begun since hold nothing durable.
func (j *Journal) abandon() {
	j.mu.Lock()
	var kept segment
	if n := len(j.segments); n > 0 {
		kept = j.segments[n-1]
	}
	newest := j.lastID
	j.mu.Unlock()
	if j.file != nil {
		if kept.id == newest {
			_ = j.file.Truncate(kept.size)
		}
		_ = j.file.Close()
		j.file = nil
	}
	for id := kept.id + 1; id <= newest; id++ {
		_ = os.Remove(segmentPath(j.o.Dir, id))
	}
}

// landed records that batches are durable and wakes those who wait for that.
func (j *Journal) landed(taken []batch) {
	j.mu.Lock()
	defer j.mu.Unlock()
	for _, b := range taken {
		j.durable = b.last
		j.waiting -= len(b.data)
	}
	if spare := taken[len(taken)-1].data; cap(spare) <= maxSpare {
		j.spare = spare[:0]
	}
	close(j.turned)
	j.turned = make(chan struct{})
}

// maxSpare bounds the buffer that is kept from commit to commit.
const maxSpare = 8 << 20

// tell records trouble, or its end, and reports a change.
func (j *Journal) tell(err error) {
	j.mu.Lock()
	changed := (err == nil) != (j.trouble == nil)
	j.trouble = err
	j.mu.Unlock()
	if changed {
		j.o.Trouble(err)
	}
}

func (j *Journal) isClosed() bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	return j.closed
}

// pause waits before the next try, less when the journal is closed meanwhile.
func (j *Journal) pause() {
	until := time.Now().Add(j.o.Retry)
	for time.Now().Before(until) && !j.isClosed() {
		time.Sleep(min(j.o.Retry, 20*time.Millisecond))
	}
}

// DropBefore removes the segments all of whose frames are older than number, as long as what
// remains begins with a segment that can be understood by itself (see Rotate). It returns how
// many bytes were freed.
func (j *Journal) DropBefore(number uint64) (int64, error) {
	j.mu.Lock()
	keep := 0
	for i := 1; i < len(j.segments); i++ {
		if j.segments[i-1].last < number && j.segments[i].whole {
			keep = i
		} else if j.segments[i-1].last >= number {
			break
		}
	}
	drop := j.segments[:keep:keep]
	j.segments = j.segments[keep:]
	j.mu.Unlock()
	var freed int64
	var errs []error
	for _, s := range drop { // oldest first: a crash leaves no hole
		if err := os.Remove(segmentPath(j.o.Dir, s.id)); err != nil {
			errs = append(errs, err)
			continue
		}
		freed += s.size
	}
	return freed, errors.Join(errs...)
}
