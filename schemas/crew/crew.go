// Package crew is what the people around a robot said of a match: the lines of notes.jsonl,
// beside its report. A line is written once and never changed; who thinks better of it
// writes another, and the last one holds. The file is theirs: no analysis reads or rewrites
// it, and a match that is replaced keeps it.
package crew

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"
)

// Version is the value of Note.Note this program writes.
const Version = 1

// Kinds of a note: whether a finding was right, and what the crew has to say besides. Notes
// of other kinds are left alone.
const (
	KindVerdict = "verdict"
	KindRemark  = "remark"
)

// What the crew can say of a finding.
const (
	Happened = "yes"  // that happened
	DidNot   = "no"   // it did not
	Unsaid   = "none" // takes back what was said before
)

// Note is one line of notes.jsonl. The JSON Schema in schemas/note.schema.json says the same.
type Note struct {
	Note    int    `json:"note"`    // Version
	Kind    string `json:"kind"`    // KindVerdict
	At      string `json:"at"`      // RFC 3339, when it was said, by the clock of the laptop
	Finding string `json:"finding"` // id of the finding
	// Of the finding as the sheet said it then, so that it is known again in a later analysis.
	FindingKind string  `json:"finding_kind"`
	StartS      float64 `json:"start_s"` // log time
	Confidence  float64 `json:"confidence"`
	Happened    string  `json:"happened"` // yes, no or none
}

// Line is a note as it stands in the file, its line feed included.
func (n Note) Line() ([]byte, error) {
	if err := n.check(); err != nil {
		return nil, err
	}
	line, err := json.Marshal(n)
	if err != nil {
		return nil, fmt.Errorf("note: %w", err)
	}
	return append(line, '\n'), nil
}

// check says what keeps a verdict from being one.
func (n Note) check() error {
	if n.Note != Version || n.Kind != KindVerdict || n.Finding == "" {
		return errors.New("a verdict has its version, its kind and the id of a finding")
	}
	if _, err := ParseHappened(n.Happened); err != nil {
		return err
	}
	if _, err := time.Parse(time.RFC3339, n.At); err != nil {
		return fmt.Errorf("note: at: %w", err)
	}
	return nil
}

// ParseHappened is what the crew said, from the word for it.
func ParseHappened(word string) (string, error) {
	switch word {
	case Happened, DidNot, Unsaid:
		return word, nil
	default:
		return "", fmt.Errorf("%q says neither yes, no nor none", word)
	}
}

// Parse reads notes.jsonl: the verdicts in it, in order. A line that is no note, or of a
// version or kind this program does not know, is left out and counted in other: one bad
// line must not hide the rest.
func Parse(data []byte) (verdicts []Note, other int) {
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, len(data)+1)
	for lines.Scan() {
		text := bytes.TrimSpace(lines.Bytes())
		if len(text) == 0 {
			continue
		}
		var n Note
		if err := json.Unmarshal(text, &n); err != nil || n.check() != nil {
			other++
			continue
		}
		verdicts = append(verdicts, n)
	}
	return verdicts, other
}

// place is a finding's id without its number, "jam-lift" of "jam-lift-2".
func place(id string) string {
	if i := strings.LastIndexByte(id, '-'); i > 0 {
		return id[:i]
	}
	return id
}
