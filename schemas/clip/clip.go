// Package clip is a stretch of a match as one file, for another laptop: the samples, the
// profile that says what they mean, and what the sheet of the whole match found there. It
// is a zip archive (APPNOTE 6.3) of at most four files, in any order:
//
//	clip.json         Header: which match it was cut from, and where
//	signals.parquet   a match file (package matchfile), stored and not deflated
//	robot.yaml        the profile the sheet was made with
//	notes.jsonl       what the crew said of those findings; often left out
//
// The samples keep the log time of the match. A signal that says nothing in the first
// second holds the value it had, as period.Cut has it.
//
// A clip comes from somebody else: Read believes nothing in it. It takes names from
// clip.json only, which are names of matches and no paths, and gives up on an archive that
// holds anything else or unpacks to more than Limits.
package clip

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Version is the value of Header.Clip this program writes.
const Version = 1

// Header is clip.json.
type Header struct {
	Clip      int    `json:"clip"`      // Version
	Afterbell string `json:"afterbell"` // the program that cut it
	// The match it was cut from.
	Season string  `json:"season"`
	Event  string  `json:"event"`
	Match  string  `json:"match"`
	Robot  string  `json:"robot"`
	At     *string `json:"at"`      // RFC 3339, wall clock of that match's start, when known
	StartS float64 `json:"start_s"` // of that match, log time
	EndS   float64 `json:"end_s"`
	// Where it was cut, log time.
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	// What the sheet of the whole match found in that stretch; Finding is the id of the one it
	// was cut for, or empty.
	Finding       string            `json:"finding"`
	Findings      []schemas.Finding `json:"findings"`
	ProfileSHA256 string            `json:"profile_sha256"`
	SignalsSHA256 string            `json:"signals_sha256"` // of the samples in the clip
}

// ID is the match it was cut from.
func (h Header) ID() schemas.MatchID {
	return schemas.MatchID{Season: h.Season, Event: h.Event, Match: h.Match, Robot: h.Robot}
}

// Clip is what the file holds.
type Clip struct {
	Header
	Profile []byte       // robot.yaml
	Log     *schemas.Log // normalized
	Notes   []byte       // notes.jsonl, may be empty
}

// headerFile is the one in the archive that a folder does not have.
const headerFile = "clip.json"

// Limits of what is read.
const (
	mostFile    = 1 << 30  // bytes of the archive
	mostText    = 1 << 20  // bytes of each file in it that is not the samples
	mostSamples = 32 << 20 // of all signals: half a gigabyte in memory
	mostEntries = 4

	mostFindings = 200
)

// Write writes the clip, with Clip, ProfileSHA256 and SignalsSHA256 of the header filled in.
// The bytes depend only on c.
func Write(w io.Writer, c Clip) error {
	var samples bytes.Buffer
	sum, err := matchfile.Write(&samples, c.Log, nil)
	if err != nil {
		return err
	}
	c.Clip, c.ProfileSHA256, c.SignalsSHA256 = Version, profile.SHA256(c.Profile), sum.SHA256
	if c.Findings == nil {
		c.Findings = []schemas.Finding{}
	}
	header, err := json.MarshalIndent(c.Header, "", " ")
	if err != nil {
		return fmt.Errorf("clip: %w", err)
	}
	z := zip.NewWriter(w)
	for _, f := range []struct {
		name   string
		data   []byte
		method uint16
	}{
		{headerFile, append(header, '\n'), zip.Deflate},
		{schemas.ProfileFile, c.Profile, zip.Deflate},
		{schemas.NotesFile, c.Notes, zip.Deflate},
		{schemas.SignalsFile, samples.Bytes(), zip.Store}, // packed already
	} {
		if len(f.data) == 0 {
			continue
		}
		if f.name != schemas.SignalsFile && len(f.data) > mostText {
			return fmt.Errorf("clip: %s is %d bytes long, %d is the limit", f.name, len(f.data), mostText)
		}
		to, err := z.CreateHeader(&zip.FileHeader{Name: f.name, Method: f.method})
		if err != nil {
			return err
		}
		if _, err := to.Write(f.data); err != nil {
			return err
		}
	}
	return z.Close()
}

// Is tells whether a file is a clip: a zip archive with a clip.json. Read says whether it is a
// whole one.
func Is(path string) bool {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return false // a pipe gives its bytes only once
	}
	f, err := os.Open(path)
	if err != nil {
		return false
	}
	defer f.Close()
	mark := make([]byte, 4)
	if _, err := io.ReadFull(f, mark); err != nil || string(mark) != "PK\x03\x04" {
		return false
	}
	z, err := zip.NewReader(f, info.Size())
	if err != nil {
		return false
	}
	for _, e := range z.File {
		if e.Name == headerFile {
			return true
		}
	}
	return false
}

// ReadFile reads the clip at path. An error is one line that names the file.
func ReadFile(path string) (*Clip, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return nil, err
	}
	c, err := Read(f, info.Size())
	if err != nil {
		return nil, fmt.Errorf("%s: %w; ask for the clip again", path, err)
	}
	return c, nil
}

// Read reads a clip of size bytes and checks that it is whole: header, profile and samples
// belong together and keep the limits.
func Read(r io.ReaderAt, size int64) (*Clip, error) {
	if size > mostFile {
		return nil, fmt.Errorf("a clip of %d bytes is longer than %d", size, int64(mostFile))
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, fmt.Errorf("not a whole clip: %w", err)
	}
	entries, err := entriesOf(z)
	if err != nil {
		return nil, err
	}
	c := &Clip{}
	header, err := text(entries, headerFile)
	if err != nil {
		return nil, err
	}
	if err := json.Unmarshal(header, &c.Header); err != nil {
		return nil, fmt.Errorf("%s is not the header of a clip: %w", headerFile, err)
	}
	if err := c.check(); err != nil {
		return nil, err
	}
	if c.Profile, err = text(entries, schemas.ProfileFile); err != nil {
		return nil, err
	}
	if got := profile.SHA256(c.Profile); got != c.ProfileSHA256 {
		return nil, fmt.Errorf("%s is not the profile the clip was cut with", schemas.ProfileFile)
	}
	if entries[schemas.NotesFile] != nil {
		if c.Notes, err = text(entries, schemas.NotesFile); err != nil {
			return nil, err
		}
	}
	c.Log, err = samples(r, size, entries[schemas.SignalsFile], c.SignalsSHA256)
	return c, err
}

func entriesOf(z *zip.Reader) (map[string]*zip.File, error) {
	out := map[string]*zip.File{}
	if len(z.File) > mostEntries {
		return nil, fmt.Errorf("not a clip: it holds %d files, a clip at most %d", len(z.File), mostEntries)
	}
	for _, f := range z.File {
		switch f.Name {
		case headerFile, schemas.SignalsFile, schemas.ProfileFile, schemas.NotesFile:
		default:
			return nil, fmt.Errorf("not a clip: it holds %.80q, which is no part of one", f.Name)
		}
		if out[f.Name] != nil {
			return nil, fmt.Errorf("not a clip: it holds %s twice", f.Name)
		}
		out[f.Name] = f
	}
	for _, name := range []string{headerFile, schemas.SignalsFile, schemas.ProfileFile} {
		if out[name] == nil {
			return nil, fmt.Errorf("not a whole clip: %s is missing", name)
		}
	}
	return out, nil
}

// text unpacks one of the small files.
func text(entries map[string]*zip.File, name string) ([]byte, error) {
	f, err := entries[name].Open()
	if err != nil {
		return nil, fmt.Errorf("%s cannot be unpacked: %w", name, err)
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, mostText+1))
	switch {
	case err != nil:
		return nil, fmt.Errorf("%s is damaged: %w", name, err)
	case len(data) > mostText:
		return nil, fmt.Errorf("%s unpacks to more than %d bytes", name, mostText)
	}
	return data, nil
}

// check says what in the header cannot be.
func (h *Header) check() error {
	if h.Clip != Version {
		return fmt.Errorf("it is of version %d, this program reads %d", h.Clip, Version)
	}
	id := h.ID()
	for _, n := range []struct{ what, name string }{{"season", id.Season}, {"event", id.Event}, {"match", id.Match}, {"robot", id.Robot}} {
		if err := schemas.CheckName(n.what, n.name); err != nil {
			return fmt.Errorf("%s: %w", headerFile, err)
		}
	}
	const far = 9e12 // s, what a stored time can hold
	for _, s := range []float64{h.StartS, h.EndS, h.FromS, h.ToS} {
		if math.Abs(s) > far {
			return fmt.Errorf("%s: %g s is no time of a log", headerFile, s)
		}
	}
	if h.FromS > h.ToS || h.StartS > h.EndS {
		return fmt.Errorf("%s: it ends before it begins", headerFile)
	}
	if h.Findings == nil {
		h.Findings = []schemas.Finding{}
	}
	if len(h.Findings) > mostFindings {
		return fmt.Errorf("%s: it names %d findings, %d is the limit", headerFile, len(h.Findings), mostFindings)
	}
	return nil
}

// samples reads the match file where it lies in the archive: it is not unpacked, so that a
// small file cannot become a large one.
func samples(r io.ReaderAt, size int64, entry *zip.File, want string) (*schemas.Log, error) {
	if entry.Method != zip.Store || entry.CompressedSize64 != entry.UncompressedSize64 {
		return nil, fmt.Errorf("%s must be stored, not packed", schemas.SignalsFile)
	}
	at, err := entry.DataOffset()
	if err != nil || at < 0 || entry.CompressedSize64 > uint64(size) || at > size-int64(entry.CompressedSize64) {
		return nil, fmt.Errorf("%s does not lie in the archive", schemas.SignalsFile)
	}
	length := int64(entry.CompressedSize64)
	f, err := matchfile.NewFile(io.NewSectionReader(r, at, length), length)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", schemas.SignalsFile, err)
	}
	total := 0
	for _, s := range f.Signals() {
		if total += s.Samples; total > mostSamples {
			return nil, fmt.Errorf("%s claims more than %d samples, the most of a clip", schemas.SignalsFile, mostSamples)
		}
	}
	log, err := f.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", schemas.SignalsFile, err)
	}
	if log.Samples() == 0 {
		return nil, errors.New("it holds no samples")
	}
	sum, err := matchfile.ContentSHA256(log)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", schemas.SignalsFile, err)
	}
	if sum != want {
		return nil, fmt.Errorf("%s is damaged, or not the samples of this clip: their hash differs", schemas.SignalsFile)
	}
	return log, nil
}
