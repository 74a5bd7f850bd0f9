package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"time"
)

// printJSON writes machine output to stdout.
func (a *app) printJSON(v any) error {
	e := json.NewEncoder(a.stdout)
	e.SetIndent("", " ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// printLine writes machine output of one line to stdout.
func (a *app) printLine(v any) error {
	e := json.NewEncoder(a.stdout)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// say is progress talk, on stderr.
func (a *app) say(format string, args ...any) { fmt.Fprintf(a.stderr, format+"\n", args...) }

// note keeps what the reader should know although the work was done. It is said when it is
// done: an error stands alone.
func (a *app) note(format string, args ...any) {
	a.notes = append(a.notes, fmt.Sprintf(format, args...))
}

func (a *app) sayNotes() {
	for _, n := range a.notes {
		a.say("note: %s", n)
	}
}

// isTerminal tells whether a stream is a screen somebody looks at.
func isTerminal(stream any) bool {
	f, ok := stream.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// progress draws a bar on a terminal and nothing elsewhere.
type progress struct {
	out   io.Writer
	what  string
	shown time.Time
	drawn bool
}

func (a *app) progress(what string) *progress {
	if !isTerminal(a.stderr) {
		return &progress{}
	}
	return &progress{out: a.stderr, what: what}
}

const barWidth = 30

// at draws done of total bytes, at most ten times a second. A total of 0 is unknown.
func (p *progress) at(done, total int64) {
	if p.out == nil || time.Since(p.shown) < 100*time.Millisecond {
		return
	}
	p.shown, p.drawn = time.Now(), true
	if total <= 0 {
		fmt.Fprintf(p.out, "\r%s %.1f MB", p.what, float64(done)/1e6)
		return
	}
	full := int(float64(barWidth) * min(1, float64(done)/float64(total)))
	fmt.Fprintf(p.out, "\r%s [%s%s] %3.0f %%", p.what, strings.Repeat("#", full), strings.Repeat(".", barWidth-full), 100*min(1, float64(done)/float64(total)))
}

// done clears the bar.
func (p *progress) done() {
	if p.drawn {
		fmt.Fprintf(p.out, "\r%s\r", strings.Repeat(" ", len(p.what)+barWidth+12))
	}
}

// replaceFile writes beside the target and renames, so that the target is whole or what
// it was. What is no file, such as a pipe or /dev/null, is written to as it is.
func replaceFile(path string, write func(io.Writer) error) error {
	if info, err := os.Stat(path); err == nil && !info.Mode().IsRegular() {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		return errors.Join(write(f), f.Close())
	}
	if target, err := filepath.EvalSymlinks(path); err == nil {
		path = target
	}
	tmp, err := os.MkdirTemp(filepath.Dir(path), ".afterbell-*")
	if err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	whole := filepath.Join(tmp, filepath.Base(path))
	err = writeFile(whole, write)
	if err == nil {
		err = os.Rename(whole, path)
	}
	if err = errors.Join(err, os.RemoveAll(tmp)); err != nil {
		return fmt.Errorf("writing %s: %w", path, err)
	}
	return nil
}
