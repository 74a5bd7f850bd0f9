package main

import (
	"encoding/json"
	"maps"
	"slices"
	"time"

	"github.com/afterbell/afterbell/ingest/together"
	"github.com/afterbell/afterbell/schemas"
)

// metaFiles is kept with the samples of a match: the files it was made of, in order, as a JSON
// array of fromFile.
const metaFiles = "files"

// fromFile is a file that a match was made of.
type fromFile struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256,omitempty"` // of its bytes
	At     string `json:"at"`               // RFC 3339, when it was taken in

	// Of a file that was put to what was there: its first power-up as numbered here, what was
	// added to its times, and that in words.
	Boot     int32   `json:"boot,omitempty"`
	ShiftUS  int64   `json:"shift_us,omitempty"` // at mid_us, which is in time of the match
	MidUS    int64   `json:"mid_us,omitempty"`
	DriftPPM float64 `json:"drift_ppm,omitempty"`
	BoundUS  int64   `json:"bound_us,omitempty"`
	Line     string  `json:"line,omitempty"`

	// When it began by the wall clock, microseconds since 1970, if the recording itself says so,
	// and the time of its first sample by its own.
	BeganUS  int64  `json:"began_us,omitempty"`
	FirstUS  int64  `json:"first_us,omitempty"`
	WithinUS int64  `json:"began_within_us,omitempty"`
	BeganHow string `json:"began_how,omitempty"`
}

// wallAt is the wall clock at a time of the match.
func (f fromFile) wallAt(us int64) together.Wall {
	return together.Wall{FirstUS: f.BeganUS + us - (f.FirstUS + f.ShiftUS), BoundUS: f.WithinUS, How: f.BeganHow}
}

// fileNow is a file that is taken in.
func fileNow(name, sum string, part together.Part, now time.Time) fromFile {
	f := fromFile{Name: name, SHA256: sum, At: storedAt(now)}
	if w := part.Wall; !w.Rough && w.How != "" {
		f.BeganUS, f.WithinUS, f.BeganHow = w.FirstUS, w.BoundUS, w.How
		f.FirstUS, _, _ = part.Log.Bounds()
	}
	return f
}

// put is the file as it was put to what was there.
func (f fromFile) put(found together.Found, boot int32) fromFile {
	s := found.Shift
	f.Boot, f.ShiftUS, f.MidUS, f.DriftPPM, f.BoundUS = boot, s.ShiftUS, s.MidUS, s.DriftPPM, s.BoundUS
	f.Line = found.Line(f.Name)
	return f
}

// filesOf are the files that a match was made of; none where that was not kept.
func filesOf(meta map[string]string) []fromFile {
	var out []fromFile
	if json.Unmarshal([]byte(meta[metaFiles]), &out) != nil {
		return nil
	}
	return out
}

// withFiles is the metadata with files behind those that are in it.
func withFiles(meta map[string]string, more ...fromFile) map[string]string {
	text, err := json.Marshal(append(filesOf(meta), more...))
	if err != nil { // of finite numbers and text
		panic(err)
	}
	out := maps.Clone(meta)
	if out == nil {
		out = map[string]string{}
	}
	out[metaFiles] = string(text)
	return out
}

// madeOf is whether a file is in the match already.
func madeOf(meta map[string]string, sum string) bool {
	return slices.ContainsFunc(filesOf(meta), func(f fromFile) bool { return f.SHA256 == sum && sum != "" })
}

// sayFiles has the report say what the match was put together from.
func (j *job) sayFiles() {
	var lines []string
	for _, f := range filesOf(j.meta) {
		if f.Line != "" {
			lines = append(lines, f.Line)
		}
	}
	j.match.Notes = append(lines, j.match.Notes...)
}

// collectedBoots is how many power-ups of a collected match came to the collector: those behind
// them came from files.
func collectedBoots(meta map[string]string) int32 {
	var boots []json.RawMessage
	if json.Unmarshal([]byte(meta[metaBoots]), &boots) != nil {
		return 0
	}
	return int32(len(boots))
}

// bootsWhere are the samples of the power-ups that keep says, renumbered by by.
func bootsWhere(l *schemas.Log, keep func(boot int32) bool, by int32) *schemas.Log {
	out := &schemas.Log{}
	for _, s := range l.Signals {
		for from := 0; from < s.Len(); { // power-ups lie one behind the other
			to := from + 1
			for to < s.Len() && s.BootAt(to) == s.BootAt(from) {
				to++
			}
			if keep(s.BootAt(from)) {
				part := s.Slice(from, to)
				part.Time = slices.Clone(part.Time)
				boot := s.BootAt(from) + by
				part.Boot = slices.Repeat([]int32{boot}, part.Len())
				out.Signals = append(out.Signals, part)
			}
			from = to
		}
	}
	return out
}
