package index

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"sync"

	"github.com/afterbell/afterbell/schemas"
)

// searched is what of a report is searched.
type searched struct {
	Report int          `json:"report"`
	From   schemas.From `json:"from"`
	Match  struct {
		At *string `json:"at"`
	} `json:"match"`
	Verdict  schemas.Verdict `json:"verdict"`
	Findings []struct {
		ID     string  `json:"id"`
		Kind   string  `json:"kind"`
		StartS float64 `json:"start_s"`
	} `json:"findings"`
	Battery struct {
		ID string `json:"id"`
	} `json:"battery"`
}

var errNoReport = errors.New("not a whole JSON object")

// rooms are for files while they are read: ten thousand of 60 kB would otherwise be as much
// work for the collector of garbage as for us.
var rooms = sync.Pool{New: func() any { return new(bytes.Buffer) }}

func (r *searched) readFile(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	room := rooms.Get().(*bytes.Buffer)
	defer rooms.Put(room)
	room.Reset()
	if _, err := room.ReadFrom(f); err != nil {
		return err
	}
	return r.read(room.Bytes())
}

// read reads a report, of which it keeps nothing but copies. What is not searched, most of it, is stepped over by its brackets and
// strings, not taken apart: taking apart ten thousand reports of 60 kB is seconds that somebody
// waits. A report that is cut off is none; other damage in what is stepped over shows when the
// match is opened.
func (r *searched) read(data []byte) error {
	into := map[string]any{"report": &r.Report, "from": &r.From, "match": &r.Match, "verdict": &r.Verdict, "findings": &r.Findings, "battery": &r.Battery}
	i := blank(data, 0)
	if i >= len(data) || data[i] != '{' {
		return errNoReport
	}
	for i = blank(data, i+1); i < len(data) && data[i] == '"'; {
		keyEnd := behind(data, i)
		colon := blank(data, keyEnd)
		if colon >= len(data) || data[colon] != ':' {
			return errNoReport
		}
		start := blank(data, colon+1)
		end := behind(data, start)
		if end > len(data) {
			return errNoReport
		}
		var key string
		if err := json.Unmarshal(data[i:keyEnd], &key); err != nil {
			return err
		}
		if to, ok := into[key]; ok {
			if err := json.Unmarshal(data[start:end], to); err != nil {
				return err
			}
		}
		if i = blank(data, end); i < len(data) && data[i] == ',' {
			i = blank(data, i+1)
			if i < len(data) && data[i] != '"' {
				return errNoReport
			}
		} else if i < len(data) && data[i] != '}' {
			return errNoReport
		}
	}
	if i >= len(data) || data[i] != '}' || blank(data, i+1) < len(data) {
		return errNoReport
	}
	return nil
}

// blank is the first place from i on that is no white space.
func blank(data []byte, i int) int {
	for i < len(data) && (data[i] == ' ' || data[i] == '\n' || data[i] == '\t' || data[i] == '\r') {
		i++
	}
	return i
}

// behind is the place behind the value that begins at i; past the end when it does not end.
func behind(data []byte, i int) int {
	depth := 0
	for i < len(data) {
		switch data[i] {
		case '"':
			i = behindString(data, i)
			if depth == 0 {
				return i
			}
			continue
		case '{', '[':
			depth++
		case '}', ']':
			if depth == 0 {
				return i // of a number, true, false or null
			}
			if depth--; depth == 0 {
				return i + 1
			}
		case ',', ' ', '\n', '\t', '\r':
			if depth == 0 {
				return i
			}
		}
		i++
	}
	return len(data) + 1
}

// behindString is behind for a string.
func behindString(data []byte, i int) int {
	for i++; i < len(data); {
		n := bytes.IndexByte(data[i:], '"')
		if n < 0 {
			break
		}
		slashes := 0
		for k := i + n - 1; k >= i && data[k] == '\\'; k-- {
			slashes++
		}
		if i += n + 1; slashes%2 == 0 {
			return i
		}
	}
	return len(data) + 1
}
