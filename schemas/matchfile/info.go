package matchfile

import (
	"encoding/json"
	"fmt"

	"github.com/afterbell/afterbell/schemas"
)

// Keys of the footer's metadata that this package owns; all others are the caller's.
const (
	keySignals = "signals"
	keySHA256  = "signals_sha256"
)

// Info describes one signal of a match file without its samples.
type Info struct {
	Name    string
	Unit    string
	Kind    schemas.Kind
	Samples int
	FirstUS int64 // least and greatest time in microseconds, both 0 without samples
	LastUS  int64
	SHA256  string // of the signal's content, see ContentSHA256

	places []place
}

// place is where one row group lies in the file.
type place struct {
	Offset int64  `json:"offset"`
	Bytes  int    `json:"bytes"`
	Rows   int    `json:"rows"`
	CRC32C uint32 `json:"crc32c"`
}

// infoJSON is Info as it stands in the metadata.
type infoJSON struct {
	Name    string  `json:"name"`
	Unit    string  `json:"unit"`
	Kind    string  `json:"kind"`
	Samples int     `json:"samples"`
	FirstUS int64   `json:"first_us"`
	LastUS  int64   `json:"last_us"`
	SHA256  string  `json:"sha256"`
	Groups  []place `json:"row_groups"`
}

func encodeIndex(infos []Info) (string, error) {
	out := make([]infoJSON, len(infos))
	for i, s := range infos {
		out[i] = infoJSON{s.Name, s.Unit, s.Kind.String(), s.Samples, s.FirstUS, s.LastUS, s.SHA256, s.places}
		if s.places == nil {
			out[i].Groups = []place{}
		}
	}
	b, err := json.Marshal(out)
	return string(b), err
}

// decodeIndex reads the index and checks everything later steps rely on: names in order,
// every row group inside the data part of the file (from 4 up to end), counts that agree.
func decodeIndex(text string, end int64) ([]Info, error) {
	var in []infoJSON
	if err := json.Unmarshal([]byte(text), &in); err != nil {
		return nil, err
	}
	out := make([]Info, len(in))
	free := int64(len(magic)) // where the next row group may begin
	for i, s := range in {
		kind, ok := schemas.ParseKind(s.Kind)
		if !ok {
			return nil, fmt.Errorf("signal %q has the unknown kind %q", s.Name, s.Kind)
		}
		if i > 0 && in[i-1].Name >= s.Name {
			return nil, fmt.Errorf("signal %q is out of order", s.Name)
		}
		rows := 0
		for _, p := range s.Groups {
			if p.Bytes <= 0 || p.Offset < free || p.Offset > end-int64(p.Bytes) {
				return nil, fmt.Errorf("a row group of signal %q lies outside the file or over another", s.Name)
			}
			free = p.Offset + int64(p.Bytes)
			if p.Rows <= 0 || p.Rows > maxRows {
				return nil, fmt.Errorf("a row group of signal %q claims %d rows", s.Name, p.Rows)
			}
			rows += p.Rows
		}
		if rows != s.Samples {
			return nil, fmt.Errorf("signal %q has %d samples but row groups of %d", s.Name, s.Samples, rows)
		}
		out[i] = Info{s.Name, s.Unit, kind, s.Samples, s.FirstUS, s.LastUS, s.SHA256, s.Groups}
	}
	return out, nil
}

// DamageError says that a file is not a whole match file: cut off, altered, or written by
// something else.
type DamageError struct {
	File string // path, or empty when the file had none
	What string // what is wrong, and where
	Err  error  // the cause, may be nil
}

func (e *DamageError) Error() string {
	s := e.What
	if e.File != "" {
		s = e.File + ": " + s
	}
	if e.Err != nil {
		s += ": " + e.Err.Error()
	}
	return s
}

func (e *DamageError) Unwrap() error { return e.Err }
