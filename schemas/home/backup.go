package home

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// BackupOptions say what Backup does besides copying matches.
type BackupOptions struct {
	WithoutNotes bool // leave the crew's notes out
	// Rest, if set, copies what the collector keeps beside the matches. It is called after
	// them, and again when matches changed meanwhile.
	Rest func() error
	// Progress, if set, is called with matches looked at and matches in all.
	Progress func(done, total int)
}

// BackupResult says what Backup did.
type BackupResult struct {
	Copied []schemas.MatchID
	Same   int               // matches that were in the copy already
	Gone   []schemas.MatchID // in the copy, and no more here: renamed or deleted since; they stay in the copy
	Bytes  int64             // copied
	// Damaged are the problems of matches that are damaged here; they are copied as they are.
	Damaged map[schemas.MatchID][]Problem
}

const (
	backupFree     = 3                     // passes before matches are held where they are
	backupMost     = time.Minute           // of passes in each of which something changed
	backupPatience = 20 * time.Second      // for a match that is being replaced
	backupAgain    = 20 * time.Millisecond // between two looks
	sameTime       = 2 * time.Second       // what memory sticks (FAT) keep of a file's time
)

// errChanged says that a match was replaced while it was copied.
var errChanged = errors.New("it changed while it was copied")

// Backup copies every match of h into the data folder to, whose lock must be held. It needs
// no lock of h: while another process stores matches there, it copies again what changed,
// until matches and Rest were copied without a change in between. So what was in a match or
// in what Rest copies when Backup began is in the copy, however it moved from the one to the
// other meanwhile. A match whose copy is there already is not copied again. Each match is in
// the copy whole or not at all.
func (h *Home) Backup(ctx context.Context, to *Home, o BackupOptions) (BackupResult, error) {
	b := backup{from: h, to: to, o: o, have: map[schemas.MatchID]string{}}
	b.result.Damaged = map[schemas.MatchID][]Problem{}
	began := time.Now()
	for pass := 0; ; pass++ {
		before, err := h.atRest(ctx)
		if err != nil {
			return b.result, err
		}
		whole, err := b.pass(ctx, before)
		if err != nil {
			return b.result, err
		}
		if pass == 0 { // the long one; what changed in it comes now, and the rest behind that
			continue
		}
		done, err := b.finish(ctx, whole, before, pass > backupFree)
		if done || err != nil {
			return b.result, err
		}
		if time.Since(began) > backupMost {
			return b.result, fmt.Errorf("%s changes faster than it can be copied; try again between matches", h.dir)
		}
	}
}

// finish copies the rest, and says whether matches and rest are of one moment. When alone, no
// match moves meanwhile: who wants to move one waits for the little that is still to be copied.
func (b *backup) finish(ctx context.Context, whole bool, before map[schemas.MatchID]string, alone bool) (done bool, err error) {
	if alone {
		leave, err := b.from.enter()
		if err != nil {
			return false, err
		}
		defer leave()
		var busy bool
		if before, busy, err = b.from.stamps(); err != nil || busy {
			return false, err
		}
		if whole, err = b.pass(ctx, before); err != nil {
			return false, err
		}
	}
	if err := b.rest(); err != nil {
		return false, err
	}
	after, busy, err := b.from.stamps()
	if err != nil || !whole || busy || !maps.Equal(before, after) {
		return false, err
	}
	return true, b.gone(after)
}

// stamps are the matches with a text that changes when a file of one does; busy is whether
// one of them is being replaced.
func (h *Home) stamps() (all map[schemas.MatchID]string, busy bool, err error) {
	ids, err := h.List()
	if err != nil {
		return nil, false, err
	}
	all = make(map[schemas.MatchID]string, len(ids))
	for _, id := range ids {
		stamp, err := stampOf(h.Dir(id))
		if errors.Is(err, fs.ErrNotExist) {
			busy = true
			continue
		} else if err != nil {
			return nil, false, err
		}
		all[id] = stamp
	}
	for _, folder := range []string{readyDir, updateDir, renameDir, oldDir} {
		busy = busy || isDir(filepath.Join(h.dir, folder))
	}
	return all, busy, nil
}

func stampOf(dir string) (string, error) {
	entries, err := os.ReadDir(dir)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	for _, e := range entries {
		info, err := e.Info()
		if err != nil {
			return "", err
		}
		fmt.Fprintf(&b, "%s %d %d\n", e.Name(), info.Size(), info.ModTime().UnixNano())
	}
	return b.String(), nil
}

// atRest is stamps at a moment when nothing is being replaced. What a crash left is put in
// order first, which only a folder that nobody writes needs.
func (h *Home) atRest(ctx context.Context) (map[schemas.MatchID]string, error) {
	for began := time.Now(); ; time.Sleep(backupAgain) {
		all, busy, err := h.stamps()
		if err != nil || !busy {
			return all, err
		}
		if err := ctx.Err(); err != nil {
			return nil, err
		}
		if lock, err := h.Lock(); err == nil { // which recovers
			if err := lock.Unlock(); err != nil {
				return nil, err
			}
			continue
		}
		if time.Since(began) > backupPatience {
			return nil, fmt.Errorf("a match in %s has been half replaced for %v: let the process that writes there end, and try again", h.dir, backupPatience)
		}
	}
}

// backup is a Backup under way.
type backup struct {
	from, to *Home
	o        BackupOptions
	have     map[schemas.MatchID]string // the stamp of what is in the copy
	result   BackupResult
}

// pass brings the copy up to what stamps says; whole is whether it did.
func (b *backup) pass(ctx context.Context, stamps map[schemas.MatchID]string) (whole bool, err error) {
	whole = true
	for i, id := range slices.SortedFunc(maps.Keys(stamps), compareIDs) {
		if b.o.Progress != nil {
			b.o.Progress(i, len(stamps))
		}
		if err := ctx.Err(); err != nil {
			return false, err
		}
		known, seen := b.have[id]
		if seen && known == stamps[id] {
			continue
		}
		if !seen && b.same(id) {
			b.result.Same++
			b.have[id] = stamps[id]
			continue
		}
		err := b.copy(id, stamps[id])
		if errors.Is(err, errChanged) {
			whole = false
			continue
		} else if err != nil {
			return false, fmt.Errorf("%s was not copied: %w", id, err)
		}
		if !slices.Contains(b.result.Copied, id) {
			b.result.Copied = append(b.result.Copied, id)
		}
		b.have[id] = stamps[id]
	}
	return whole, nil
}

// same is whether the copy has the match as it is here: the same files of the same sizes and
// times, and the same report, which carries the hash of the samples and the seal of all.
func (b *backup) same(id schemas.MatchID) bool {
	here, there := b.from.Dir(id), b.to.Dir(id)
	entries, err := os.ReadDir(here)
	if err != nil {
		return false
	}
	copies, err := os.ReadDir(there)
	if err != nil {
		return false
	}
	n := 0
	for _, e := range entries {
		if b.o.WithoutNotes && e.Name() == schemas.NotesFile {
			continue
		}
		n++
		info, err := e.Info()
		if err != nil {
			return false
		}
		other, err := os.Stat(filepath.Join(there, e.Name()))
		if err != nil || other.Size() != info.Size() || other.ModTime().Sub(info.ModTime()).Abs() > sameTime {
			return false
		}
		if e.Name() != schemas.ReportFile && e.Name() != schemas.NotesFile {
			continue
		}
		if !sameBytes(filepath.Join(here, e.Name()), filepath.Join(there, e.Name())) {
			return false
		}
	}
	return n == len(copies)
}

func sameBytes(a, b string) bool {
	one, err1 := os.ReadFile(a)
	two, err2 := os.ReadFile(b)
	return err1 == nil && err2 == nil && bytes.Equal(one, two)
}

// copy puts the match into the copy, or returns errChanged.
func (b *backup) copy(id schemas.MatchID, stamp string) error {
	var size int64
	err := b.to.Publish(id, true, func(dir string) error {
		entries, err := os.ReadDir(b.from.Dir(id))
		if err != nil {
			return changedIfGone(err)
		}
		for _, e := range entries {
			if e.IsDir() || b.o.WithoutNotes && e.Name() == schemas.NotesFile {
				continue
			}
			n, err := copyFile(filepath.Join(b.from.Dir(id), e.Name()), filepath.Join(dir, e.Name()))
			if err != nil {
				return changedIfGone(err)
			}
			size += n
		}
		if now, err := stampOf(b.from.Dir(id)); err != nil || now != stamp {
			return errChanged
		}
		return nil
	})
	if err != nil {
		return err
	}
	b.result.Bytes += size
	return b.check(id, stamp)
}

func changedIfGone(err error) error {
	if errors.Is(err, fs.ErrNotExist) {
		return errChanged
	}
	return err
}

// check opens the copy of a match. What is wrong with it is wrong here, or came about by
// copying.
func (b *backup) check(id schemas.MatchID, stamp string) error {
	problems, err := b.to.Verify(id)
	if err != nil {
		return err
	}
	delete(b.result.Damaged, id)
	if len(problems) == 0 {
		return nil
	}
	here, err := b.from.Verify(id)
	if now, stampErr := stampOf(b.from.Dir(id)); err != nil || stampErr != nil || now != stamp {
		return errChanged
	}
	if slices.Equal(here, problems) {
		b.result.Damaged[id] = problems
		return nil
	}
	return fmt.Errorf("the copy is not whole (%s): check the disk it is on", problems[0])
}

// rest copies what lies beside the matches.
func (b *backup) rest() error {
	entries, err := os.ReadDir(b.from.dir)
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !e.Type().IsRegular() || IsLock(e.Name()) || e.Name() == BackupFile || e.Name() == boardIndex {
			continue
		}
		if err := replaceCopy(filepath.Join(b.from.dir, e.Name()), filepath.Join(b.to.dir, e.Name())); err != nil {
			return err
		}
	}
	if err := b.parts(); err != nil {
		return err
	}
	if b.o.Rest != nil {
		return b.o.Rest()
	}
	return nil
}

// parts copies the parts logs. They may name people, such as drivers, as notes may.
func (b *backup) parts() error {
	logs, err := os.ReadDir(filepath.Join(b.from.dir, partsDir))
	if errors.Is(err, fs.ErrNotExist) || b.o.WithoutNotes {
		return nil
	} else if err != nil {
		return err
	}
	if err := makeDirs(filepath.Join(b.to.dir, partsDir)); err != nil {
		return err
	}
	for _, e := range logs {
		if !e.Type().IsRegular() || strings.HasPrefix(e.Name(), ".") {
			continue
		}
		if err := replaceCopy(filepath.Join(b.from.dir, partsDir, e.Name()), filepath.Join(b.to.dir, partsDir, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// boardIndex is what the board remembers of the reports; a copy makes its own.
const boardIndex = ".index.json"

// BackupFile, at the top of a copy, says what it is a copy of. It is the caller's.
const BackupFile = "backup.json"

// gone finds the matches that are in the copy only.
func (b *backup) gone(here map[schemas.MatchID]string) error {
	there, err := b.to.List()
	if err != nil {
		return err
	}
	for _, id := range there {
		if _, ok := here[id]; !ok {
			b.result.Gone = append(b.result.Gone, id)
		}
	}
	return nil
}

// replaceCopy copies a file so that the copy is whole or what it was.
func replaceCopy(from, to string) error {
	part := to + ".part"
	if _, err := copyFile(from, part); err != nil {
		return errors.Join(err, os.RemoveAll(part))
	}
	if err := syncFile(part); err != nil {
		return err
	}
	return rename(part, to)
}

// copyFile copies a file with its time.
func copyFile(from, to string) (n int64, err error) {
	src, err := os.Open(from)
	if err != nil {
		return 0, err
	}
	defer src.Close()
	info, err := src.Stat()
	if err != nil {
		return 0, err
	}
	dst, err := os.OpenFile(to, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, info.Mode().Perm()|0o200)
	if err != nil {
		return 0, err
	}
	n, err = io.Copy(dst, src)
	if err = errors.Join(err, dst.Close()); err != nil {
		return n, err
	}
	return n, os.Chtimes(to, time.Time{}, info.ModTime())
}
