package home

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
)

// Problem is one thing that is wrong with a stored match.
type Problem struct {
	File string // inside the match's folder
	Text string
}

func (p Problem) String() string { return p.File + ": " + p.Text }

// Verify opens every stored file of a match and compares what they say of each other: the
// samples with their hashes, the profile with the one the report was made of, and the seal
// that all carry. A match that was stored without a profile has samples only, which is no
// problem. The error is for a match that is not there.
func (h *Home) Verify(id schemas.MatchID) ([]Problem, error) {
	if !h.Exists(id) {
		return nil, fmt.Errorf("%s is not stored in %s: %w", id, h.dir, fs.ErrNotExist)
	}
	v := verifier{dir: h.Dir(id)}
	sum, seal := v.signals()
	v.notes()
	r, text := v.report()
	if r == nil {
		return v.problems, nil
	}
	if m := r.Match; m.Season != id.Season || m.Event != id.Event || m.Match != id.Match || m.Robot != id.Robot {
		v.say(schemas.ReportFile, "it is about %s/%s/%s/%s", m.Season, m.Event, m.Match, m.Robot)
	}
	if sum != "" && sum != r.From.SignalsSHA256 {
		v.say(schemas.ReportFile, "it was made of other samples: signals_sha256 is %s there, %s in %s", r.From.SignalsSHA256, sum, schemas.SignalsFile)
	}
	if sum != "" && seal != r.From.Seal {
		v.say(schemas.SignalsFile, "its seal is %q, that of %s is %q", seal, schemas.ReportFile, r.From.Seal)
	}
	v.pyramids(sum)
	v.profile(r.From.ProfileSHA256)
	for _, name := range tables.Names() {
		v.table(name, r.From.Seal)
	}
	if page, err := os.ReadFile(filepath.Join(v.dir, schemas.SheetFile)); err != nil {
		v.unreadable(schemas.SheetFile, err)
	} else {
		v.sheet(page, r.From.Seal, text)
	}
	return v.problems, nil
}

type verifier struct {
	dir      string
	problems []Problem
}

func (v *verifier) say(file, format string, args ...any) {
	v.problems = append(v.problems, Problem{file, fmt.Sprintf(format, args...)})
}

// unreadable says that a file could not be opened. The path in the error is left out: the
// file is named anyway.
func (v *verifier) unreadable(file string, err error) {
	if errors.Is(err, fs.ErrNotExist) {
		v.say(file, "it is missing")
		return
	}
	v.say(file, "%s", strings.TrimPrefix(err.Error(), filepath.Join(v.dir, file)+": "))
}

// signals checks the samples against the hashes beside them and returns hash and seal.
func (v *verifier) signals() (sum, seal string) {
	f, err := matchfile.Open(filepath.Join(v.dir, schemas.SignalsFile))
	if err != nil {
		v.unreadable(schemas.SignalsFile, err)
		return "", ""
	}
	defer f.Close()
	if err := f.Verify(); err != nil {
		v.unreadable(schemas.SignalsFile, err)
		return "", ""
	}
	return f.SHA256(), f.Meta()[tables.MetaSeal]
}

// pyramids checks what is beside the samples for zooming.
func (v *verifier) pyramids(sum string) {
	if sum == "" {
		return // nothing to hold them to
	}
	f, err := pyramid.Open(filepath.Join(v.dir, pyramid.FileName), sum)
	if err == nil {
		err = f.Check()
	}
	if err != nil {
		v.unreadable(pyramid.FileName, err)
	}
}

// report reads report.json and returns its bytes too.
func (v *verifier) report() (*schemas.Report, []byte) {
	data, err := os.ReadFile(filepath.Join(v.dir, schemas.ReportFile))
	if errors.Is(err, fs.ErrNotExist) {
		if _, err := os.Stat(filepath.Join(v.dir, schemas.ProfileFile)); err != nil {
			return nil, nil // never analyzed
		}
	}
	if err != nil {
		v.unreadable(schemas.ReportFile, err)
		return nil, nil
	}
	var r schemas.Report
	if err := json.Unmarshal(data, &r); err != nil {
		v.say(schemas.ReportFile, "it is not a report: %v", err)
		return nil, nil
	}
	if r.Report != schemas.ReportVersion {
		v.say(schemas.ReportFile, "it is of version %d, this program knows %d", r.Report, schemas.ReportVersion)
		return nil, nil
	}
	return &r, data
}

func (v *verifier) profile(want string) {
	data, err := os.ReadFile(filepath.Join(v.dir, schemas.ProfileFile))
	if err != nil {
		v.unreadable(schemas.ProfileFile, err)
		return
	}
	if got := profile.SHA256(data); got != want {
		v.say(schemas.ProfileFile, "it is not the profile the report was made with: profile_sha256 is %s there, %s here", want, got)
	}
}

func (v *verifier) table(name, seal string) {
	got, err := tables.Verify(filepath.Join(v.dir, name))
	switch {
	case err != nil:
		v.unreadable(name, err)
	case got != seal:
		v.say(name, "its seal is %q, that of %s is %q", got, schemas.ReportFile, seal)
	}
}

// notes checks that each line of the crew's notes, if there are any, is JSON.
func (v *verifier) notes() {
	data, err := os.ReadFile(filepath.Join(v.dir, schemas.NotesFile))
	if errors.Is(err, fs.ErrNotExist) {
		return
	} else if err != nil {
		v.unreadable(schemas.NotesFile, err)
		return
	}
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, len(data)+1)
	for n := 1; lines.Scan(); n++ {
		if line := bytes.TrimSpace(lines.Bytes()); len(line) > 0 && !json.Valid(line) {
			v.say(schemas.NotesFile, "line %d is not JSON", n)
		}
	}
}
