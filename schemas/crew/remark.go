package crew

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"
)

// MostLetters is how long a remark may be: two lines of a sheet.
const MostLetters = 280

// Remark is a line of notes.jsonl in the crew's own words: "belt replaced", "blocked by two
// robots". The JSON Schema in schemas/remark.schema.json says the same.
//
// It may name people, minors among them: what takes notes off the laptop says so and has a
// way to leave them out.
type Remark struct {
	Note      int    `json:"note"` // Version
	Kind      string `json:"kind"` // KindRemark
	At        string `json:"at"`   // RFC 3339, when it was said, by the clock of the laptop
	Text      string `json:"text"` // one line
	Withdrawn bool   `json:"withdrawn"`
}

// NewRemark is a remark of that text, its white space tidied. The error says what is wrong
// with the text.
func NewRemark(text string, at time.Time) (Remark, error) {
	r := Remark{Note: Version, Kind: KindRemark, At: at.Format(time.RFC3339), Text: strings.Join(strings.Fields(text), " ")}
	return r, r.check()
}

// Line is a remark as it stands in the file, its line feed included.
func (r Remark) Line() ([]byte, error) {
	if err := r.check(); err != nil {
		return nil, err
	}
	line, err := json.Marshal(r)
	if err != nil {
		return nil, fmt.Errorf("note: %w", err)
	}
	return append(line, '\n'), nil
}

func (r Remark) check() error {
	switch n := utf8.RuneCountInString(r.Text); {
	case r.Note != Version || r.Kind != KindRemark:
		return errors.New("a remark has its version and its kind")
	case strings.TrimSpace(r.Text) == "":
		return errors.New("the note says nothing")
	case n > MostLetters:
		return fmt.Errorf("the note is %d letters long; %d fit on a sheet", n, MostLetters)
	case !utf8.ValidString(r.Text) || strings.ContainsFunc(r.Text, unicode.IsControl):
		return errors.New("the note has letters in it that cannot be shown")
	}
	if _, err := time.Parse(time.RFC3339, r.At); err != nil {
		return fmt.Errorf("note: at: %w", err)
	}
	return nil
}

// Remarks reads notes.jsonl: the remarks that hold, in the order in which they were made. One
// that was withdrawn is not among them, and one that was made twice is there once.
func Remarks(data []byte) []Remark {
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, len(data)+1)
	var out []Remark
	for lines.Scan() {
		var r Remark
		if err := json.Unmarshal(lines.Bytes(), &r); err != nil || r.check() != nil {
			continue
		}
		at := slices.IndexFunc(out, func(o Remark) bool { return o.Text == r.Text })
		switch {
		case r.Withdrawn && at >= 0:
			out = slices.Delete(out, at, at+1)
		case !r.Withdrawn && at < 0:
			out = append(out, r)
		}
	}
	return out
}
