package main

import (
	"archive/zip"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/schemas/home"
)

type backupOptions struct {
	withoutNotes, prune, json bool
}

func (a *app) backupCommand() *cobra.Command {
	var o backupOptions
	c := &cobra.Command{
		Use:   "backup DIR | FILE.zip",
		Short: "Copy the data folder, while matches are being collected too",
		Long: `Backup copies every stored match, and what 'afterbell collect' has taken in and not yet
put into a match, so that whatever was acknowledged to a robot before is in the copy. It
may run beside the collector. A second backup to the same folder copies only what is new;
matches that were renamed or deleted since stay in it, and are named, unless --prune is
given. A name that ends in .zip is one file instead, made whole each time.

A folder is used as it is, a zip file once it is unpacked: say --data DIR. The copy holds
the crew's notes, which may name people; --without-notes leaves them out.`,
		Example: "  afterbell backup /media/stick/afterbell\n  afterbell backup q14-evening.zip --without-notes\n" +
			"  afterbell collect --data /media/stick/afterbell --profile heron.yaml",
		Args: oneArg("a folder or a .zip file"),
		RunE: func(c *cobra.Command, args []string) error { return a.runBackup(c.Context(), args[0], o) },
	}
	f := c.Flags()
	f.BoolVar(&o.withoutNotes, "without-notes", false, "leave the crew's notes out: they may name people")
	f.BoolVar(&o.prune, "prune", false, "remove from the copy what is no longer here")
	f.BoolVar(&o.json, "json", false, "machine output")
	return c
}

// backupState is backup.json, which lies at the top of a copy.
type backupState struct {
	Backup       int    `json:"backup"` // version
	Of           string `json:"of"`     // the folder that was copied
	At           string `json:"at"`     // RFC 3339, when the copy was begun
	Complete     bool   `json:"complete"`
	WithoutNotes bool   `json:"without_notes"`
}

// backedUp is what was done, as backup --json tells it.
type backedUp struct {
	To            string   `json:"to"`
	Copied        []string `json:"copied"`
	Same          int      `json:"same"`
	Gone          []string `json:"gone"`
	Damaged       []string `json:"damaged"`
	Bytes         int64    `json:"bytes"`
	JournalFrames int      `json:"journal_frames"`
	JournalBytes  int64    `json:"journal_bytes"`
}

func (a *app) runBackup(ctx context.Context, target string, o backupOptions) error {
	h, err := home.Open(a.dataDir)
	if err != nil {
		return err
	}
	var done backedUp
	if strings.EqualFold(filepath.Ext(target), ".zip") {
		done, err = a.backupFile(ctx, h, target, o)
	} else {
		done, err = a.backupFolder(ctx, h, target, o)
	}
	if err != nil {
		return err
	}
	done.To = target
	if len(done.Damaged) > 0 {
		a.note("%d matches are damaged here, and so in the copy (%s): `afterbell verify` says how", len(done.Damaged), strings.Join(done.Damaged, ", "))
	}
	switch {
	case o.prune && len(done.Gone) > 0:
		a.note("removed from the copy, because they are no longer here: %s", strings.Join(done.Gone, ", "))
	case len(done.Gone) > 0:
		a.note("in the copy and no longer here, renamed or deleted since: %s; --prune removes them", strings.Join(done.Gone, ", "))
	}
	if !o.withoutNotes {
		a.note("the copy holds the crew's notes, which may name people: keep it where they agree to, or leave them out with --without-notes")
	}
	if o.json {
		return a.printJSON(done)
	}
	_, err = fmt.Fprintf(a.stdout, "%s: %d matches copied (%.1f MB), %d there already; %.1f MB of samples that are in no match yet\n",
		target, len(done.Copied), float64(done.Bytes)/1e6, done.Same, float64(done.JournalBytes)/1e6)
	return err
}

// backupFolder brings the copy in the folder dir up to date.
func (a *app) backupFolder(ctx context.Context, h *home.Home, dir string, o backupOptions) (done backedUp, err error) {
	if err := a.mayBackUpTo(dir, o); err != nil {
		return done, err
	}
	to, err := home.Create(dir)
	if err != nil {
		return done, err
	}
	lock, err := to.Lock()
	if err != nil {
		return done, err
	}
	defer lock.Unlock()
	of, err := filepath.Abs(a.dataDir)
	if err != nil {
		return done, err
	}
	state := backupState{Backup: 1, Of: of, At: time.Now().UTC().Format(time.RFC3339), WithoutNotes: o.withoutNotes}
	if err := writeBackupState(dir, state); err != nil {
		return done, err
	}
	var copied journal.Copied
	bar := a.progress("copying matches")
	result, err := h.Backup(ctx, to, home.BackupOptions{
		WithoutNotes: o.withoutNotes,
		Progress:     func(done, total int) { bar.at(int64(done), int64(total)) },
		Rest: func() (err error) {
			copied, err = copyLive(ctx, filepath.Join(a.dataDir, liveDir), filepath.Join(dir, liveDir))
			return err
		},
	})
	bar.done()
	if err != nil {
		return done, fmt.Errorf("the backup in %s is not complete: %w", dir, err)
	}
	for _, d := range copied.Damaged {
		a.note("the journal is damaged, what stood there is not in the copy: %s", d)
	}
	done = backedUp{
		Copied: []string{}, Gone: []string{}, Damaged: []string{}, Same: result.Same, Bytes: result.Bytes,
		JournalFrames: copied.Frames, JournalBytes: copied.Bytes,
	}
	for _, id := range result.Copied {
		done.Copied = append(done.Copied, id.String())
	}
	for id := range result.Damaged {
		done.Damaged = append(done.Damaged, id.String())
	}
	slices.Sort(done.Damaged)
	for _, id := range result.Gone {
		done.Gone = append(done.Gone, id.String())
		if o.prune {
			if err := to.Remove(id); err != nil {
				return done, err
			}
		}
	}
	state.Complete = true
	return done, writeBackupState(dir, state)
}

// mayBackUpTo says why a folder cannot take the backup.
func (a *app) mayBackUpTo(dir string, o backupOptions) error {
	from, err := resolved(a.dataDir)
	if err != nil {
		return err
	}
	to, err := resolved(dir)
	if err != nil {
		return err
	}
	for _, pair := range [][2]string{{from, to}, {to, from}} {
		if rel, err := filepath.Rel(pair[0], pair[1]); err == nil && rel != ".." && !strings.HasPrefix(rel, ".."+string(filepath.Separator)) {
			return usagef("%s and the data folder %s lie in one another: a copy belongs on another disk", dir, a.dataDir)
		}
	}
	entries, err := os.ReadDir(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist) || err == nil && len(entries) == 0:
		return nil
	case err != nil:
		return fmt.Errorf("backup to %s: %w", dir, err)
	}
	state, err := readBackupState(dir)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Errorf("%s holds other things and no backup: name a new folder", dir)
	case err != nil:
		return err
	case state.WithoutNotes != o.withoutNotes:
		return fmt.Errorf("the backup in %s was made %s the crew's notes: make this one so too, or name a new folder", dir, map[bool]string{true: "without", false: "with"}[state.WithoutNotes])
	}
	return nil
}

// resolved is the real path of a folder that may not exist yet.
func resolved(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if real, err := filepath.EvalSymlinks(path); err == nil {
		return real, nil
	}
	if parent := filepath.Dir(path); parent != path {
		real, err := resolved(parent)
		return filepath.Join(real, filepath.Base(path)), err
	}
	return path, nil
}

func readBackupState(dir string) (state backupState, err error) {
	data, err := os.ReadFile(filepath.Join(dir, home.BackupFile))
	if err != nil {
		return state, err
	}
	if err := json.Unmarshal(data, &state); err != nil || state.Backup != 1 {
		return state, fmt.Errorf("%s is not of a backup this program knows: name a new folder", filepath.Join(dir, home.BackupFile))
	}
	return state, nil
}

func writeBackupState(dir string, state backupState) error {
	return replaceFile(filepath.Join(dir, home.BackupFile), func(w io.Writer) error {
		e := json.NewEncoder(w)
		e.SetIndent("", " ")
		return e.Encode(state)
	})
}

// checkComplete refuses to collect into a copy that was cut short: it may lack what was
// acknowledged.
func checkComplete(dir string) error {
	state, err := readBackupState(dir)
	if err == nil && !state.Complete {
		return fmt.Errorf("%s is a backup that was cut short: make it again with `afterbell backup`, or remove %s to use it as it is", dir, filepath.Join(dir, home.BackupFile))
	}
	return nil
}

// copyLive copies what is the collector's own. The journal takes the place of an older copy as
// a whole.
func copyLive(ctx context.Context, from, to string) (journal.Copied, error) {
	entries, err := os.ReadDir(from)
	if errors.Is(err, fs.ErrNotExist) {
		return journal.Copied{}, os.RemoveAll(filepath.Join(to, "journal"))
	} else if err != nil {
		return journal.Copied{}, err
	}
	if err := os.MkdirAll(to, 0o755); err != nil {
		return journal.Copied{}, err
	}
	for _, e := range entries {
		if !e.Type().IsRegular() {
			continue
		}
		data, err := os.ReadFile(filepath.Join(from, e.Name()))
		if err != nil {
			return journal.Copied{}, err
		}
		if err := replaceFile(filepath.Join(to, e.Name()), func(w io.Writer) error { _, err := w.Write(data); return err }); err != nil {
			return journal.Copied{}, err
		}
		if info, err := e.Info(); err == nil { // tokens are nobody else's to read
			if err := os.Chmod(filepath.Join(to, e.Name()), info.Mode().Perm()); err != nil {
				return journal.Copied{}, err
			}
		}
	}
	fresh, place, old := filepath.Join(to, "journal.new"), filepath.Join(to, "journal"), filepath.Join(to, "journal.old")
	copied, err := journal.Copy(ctx, filepath.Join(from, "journal"), fresh)
	if err != nil {
		return copied, err
	}
	if err := os.RemoveAll(old); err != nil {
		return copied, err
	}
	if err := os.Rename(place, old); err != nil && !errors.Is(err, fs.ErrNotExist) {
		return copied, err
	}
	return copied, errors.Join(os.Rename(fresh, place), os.RemoveAll(old))
}

// backupFile makes a zip file of the whole data folder.
func (a *app) backupFile(ctx context.Context, h *home.Home, file string, o backupOptions) (done backedUp, err error) {
	if _, err := os.Stat(file); err == nil {
		return done, fmt.Errorf("%s exists: a zip file is made whole, so name a new one, or a folder to add to", file)
	}
	if o.prune {
		return done, usagef("--prune is for a folder: a zip file holds only what is here")
	}
	stage, err := os.MkdirTemp(filepath.Dir(file), ".afterbell-backup-*")
	if err != nil {
		return done, fmt.Errorf("backup to %s: %w", file, err)
	}
	defer os.RemoveAll(stage)
	if done, err = a.backupFolder(ctx, h, stage, o); err != nil {
		return done, err
	}
	return done, replaceFile(file, func(w io.Writer) error { return zipFolder(ctx, w, stage) })
}

// zipFolder writes a folder's files. What is packed already is stored as it is.
func zipFolder(ctx context.Context, w io.Writer, dir string) error {
	z := zip.NewWriter(w)
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case ctx.Err() != nil:
			return ctx.Err()
		case !e.Type().IsRegular() || home.IsLock(e.Name()):
			return nil
		}
		rel, err := filepath.Rel(dir, path)
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		header := &zip.FileHeader{Name: filepath.ToSlash(rel), Modified: info.ModTime(), Method: zip.Deflate}
		header.SetMode(info.Mode())
		if filepath.Ext(path) == ".parquet" {
			header.Method = zip.Store
		}
		to, err := z.CreateHeader(header)
		if err != nil {
			return err
		}
		from, err := os.Open(path)
		if err != nil {
			return err
		}
		_, err = io.Copy(to, from)
		return errors.Join(err, from.Close())
	})
	return errors.Join(err, z.Close())
}
