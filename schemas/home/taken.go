package home

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/afterbell/afterbell/schemas"
)

// takenFile, at the top of the data folder, remembers which files were taken in by
// themselves, so that none is twice: one JSON object a line, only ever added to.
const takenFile = ".taken.jsonl"

// Taken is a file that was taken in.
type Taken struct {
	SHA256  string   `json:"sha256"` // of its bytes
	Name    string   `json:"name"`
	Size    int64    `json:"size"`
	ModTime string   `json:"mod_time"` // RFC 3339
	At      string   `json:"at"`       // RFC 3339, when it was taken
	Matches []string `json:"matches"`  // what it became, SEASON/EVENT/MATCH/ROBOT
	// Into is set where it is put to a match that is stored already: that the match is there then
	// does not say that the file is in it.
	Into bool `json:"into,omitempty"`
	// Done is false on the line written before its matches are stored. When no line with true
	// follows, a crash came between, and the matches themselves say how far it got.
	Done bool `json:"done"`
}

// TakenFiles are the files that were taken in, by hash. One whose line was never completed is
// done all the same when all its matches are there, unless it was put into one; else Done is false, and whoever takes it
// again puts its matches in the places of those that are.
func (h *Home) TakenFiles() (map[string]Taken, error) {
	data, err := os.ReadFile(filepath.Join(h.dir, takenFile))
	if errors.Is(err, fs.ErrNotExist) {
		return map[string]Taken{}, nil
	} else if err != nil {
		return nil, err
	}
	out := map[string]Taken{}
	for line := range bytes.Lines(data) {
		var t Taken
		if json.Unmarshal(line, &t) != nil || t.SHA256 == "" {
			continue // what a crash cut short was never confirmed
		}
		out[t.SHA256] = t
	}
	for sum, t := range out {
		t.Done = t.Done || !t.Into && h.haveAll(t.Matches)
		out[sum] = t
	}
	return out, nil
}

func (h *Home) haveAll(names []string) bool {
	for _, name := range names {
		id, ok := schemas.ParseMatchID(name)
		if !ok || !h.Exists(id) {
			return false
		}
	}
	return len(names) > 0
}

// NoteTaken adds a line; when it returns without error it is on disk. The right to write
// must be held.
func (h *Home) NoteTaken(t Taken) error {
	if t.Matches == nil {
		t.Matches = []string{}
	}
	line, err := json.Marshal(t)
	if err != nil {
		return fmt.Errorf("noting %s: %w", t.Name, err)
	}
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.lock == nil {
		return fmt.Errorf("%s was not locked for writing", h.dir)
	}
	return h.appendLine(filepath.Join(h.dir, takenFile), append(line, '\n'))
}
