package journal

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
)

// Copied says what Copy copied.
type Copied struct {
	Frames, Segments int
	Bytes            int64
	Damaged          []Damage // stretches of the source that hold no frame; they are copied as they are
}

// copyTries is how often Copy begins anew because segments were dropped meanwhile.
const copyTries = 20

// Copy copies the journal in the folder from, which another process may be writing, into the
// folder to, which is made anew: what it held is removed. Every frame that was durable when Copy was
// called is in the copy, as long as the writer still keeps it when Copy returns; frames
// written since may be. A frame that is being written is left out: the copy has no torn end.
// A folder that is not there is an empty journal.
func Copy(ctx context.Context, from, to string) (Copied, error) {
	for range copyTries {
		done, again, err := copyOnce(ctx, from, to)
		if err != nil || !again {
			return done, err
		}
	}
	return Copied{}, fmt.Errorf("the journal in %s is being cleared faster than it can be copied; try again", from)
}

func copyOnce(ctx context.Context, from, to string) (done Copied, again bool, err error) {
	if err := os.RemoveAll(to); err != nil {
		return done, false, err
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return done, false, err
	}
	ids, err := segmentIDs(from)
	if errors.Is(err, fs.ErrNotExist) {
		return done, false, nil
	} else if err != nil {
		return done, false, err
	}
	next := uint64(1)
	for _, id := range ids { // oldest first, so that what is there is never without what it builds on
		if err := ctx.Err(); err != nil {
			return done, false, err
		}
		data, err := os.ReadFile(segmentPath(from, id))
		if errors.Is(err, fs.ErrNotExist) {
			return Copied{}, true, nil
		} else if err != nil {
			return done, false, fmt.Errorf("reading the journal: %w", err)
		}
		frames := 0
		end, damaged := scan(data, next, func(f Frame) bool {
			frames, next = frames+1, f.Number+1
			return true
		})
		if end == 0 {
			continue // begun, with nothing whole in it yet
		}
		for _, d := range damaged {
			done.Damaged = append(done.Damaged, Damage{File: segmentPath(from, id), Offset: d[0], Bytes: d[1] - d[0]})
		}
		if err := writeSegment(segmentPath(to, id), data[:end]); err != nil {
			return done, false, err
		}
		done.Frames += frames
		done.Segments++
		done.Bytes += end
	}
	// A segment dropped since belongs to a newer one that begins with all that is needed, and
	// which may not be among these.
	now, err := segmentIDs(from)
	if err != nil {
		return done, false, err
	}
	for _, id := range ids {
		if !slices.Contains(now, id) {
			return Copied{}, true, nil
		}
	}
	return done, false, syncDir(to)
}

func writeSegment(path string, data []byte) error {
	f, err := os.OpenFile(filepath.Clean(path), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if err == nil {
		err = f.Sync()
	}
	return errors.Join(err, f.Close())
}
