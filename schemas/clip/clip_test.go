package clip

import (
	"archive/zip"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
)

func sampleClip() Clip {
	at := "2031-03-01T14:32:00Z"
	return Clip{
		Header: Header{
			Afterbell: "dev", Season: "2031", Event: "millbrook-open", Match: "q14", Robot: "heron", At: &at,
			StartS: 30, EndS: 170, FromS: 82, ToS: 92, Finding: "jam-lift-1",
			Findings: []schemas.Finding{{ID: "jam-lift-1", Kind: "jam", Severity: "fix", StartS: 85, EndS: 88, Title: "A loaf stopped in the lift"}},
		},
		Profile: []byte("profile: 1\nrobot: heron\n"),
		Log: &schemas.Log{Signals: []*schemas.Signal{
			{Name: "power/voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{82e6, 83e6}, Float: []float64{12.5, 11.25}},
			{Name: "robot/mode", Kind: schemas.Text, Time: []int64{82e6}, Text: []string{"driver"}},
		}},
		Notes: []byte("{\"note\":1}\n"),
	}
}

func packed(t testing.TB, c Clip) []byte {
	t.Helper()
	var b bytes.Buffer
	require.NoError(t, Write(&b, c))
	return b.Bytes()
}

func read(data []byte) (*Clip, error) { return Read(bytes.NewReader(data), int64(len(data))) }

func TestAClipComesBackAsItWas(t *testing.T) {
	c := sampleClip()
	data := packed(t, c)
	assert.Equal(t, data, packed(t, c), "the same bytes again")
	got, err := read(data)
	require.NoError(t, err)
	assert.Equal(t, Version, got.Clip)
	sum, err := matchfile.ContentSHA256(c.Log)
	require.NoError(t, err)
	assert.Equal(t, sum, got.SignalsSHA256)
	c.Header = got.Header
	for i := range got.Log.Signals {
		s := got.Log.Signals[i]
		assert.Equal(t, c.Log.Signals[i].Time, s.Time)
		assert.Equal(t, c.Log.Signals[i].Float, s.Float)
		assert.Equal(t, c.Log.Signals[i].Text, s.Text)
		assert.Equal(t, c.Log.Signals[i].Unit, s.Unit)
	}
	assert.Equal(t, c.Profile, got.Profile)
	assert.Equal(t, c.Notes, got.Notes)
	assert.Equal(t, sampleClip().Findings, got.Findings)

	c.Notes = nil
	got, err = read(packed(t, c))
	require.NoError(t, err)
	assert.Empty(t, got.Notes)

	path := filepath.Join(t.TempDir(), "q14.clip")
	require.NoError(t, os.WriteFile(path, data, 0o644))
	assert.True(t, Is(path))
	_, err = ReadFile(path)
	require.NoError(t, err)
}

// entry is one file of an archive made by hand.
type entry struct {
	name   string
	data   []byte
	method uint16
}

func archive(t testing.TB, entries ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range entries {
		w, err := z.CreateHeader(&zip.FileHeader{Name: e.name, Method: e.method})
		require.NoError(t, err)
		_, err = w.Write(e.data)
		require.NoError(t, err)
	}
	require.NoError(t, z.Close())
	return b.Bytes()
}

// parts are the files of a whole clip.
func parts(t testing.TB, c Clip) map[string][]byte {
	t.Helper()
	data := packed(t, c)
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	require.NoError(t, err)
	out := map[string][]byte{}
	for _, f := range z.File {
		r, err := f.Open()
		require.NoError(t, err)
		out[f.Name], err = io.ReadAll(r)
		require.NoError(t, err)
	}
	return out
}

// What somebody made to do harm ends with one line, and nothing of it is believed.
func TestHostileClipsAreRefused(t *testing.T) {
	whole := parts(t, sampleClip())
	with := func(change func(map[string][]byte)) []entry {
		p := map[string][]byte{}
		for name, data := range whole {
			p[name] = data
		}
		change(p)
		var out []entry
		for _, name := range []string{headerFile, schemas.ProfileFile, schemas.NotesFile, schemas.SignalsFile} {
			if data, ok := p[name]; ok {
				out = append(out, entry{name, data, zip.Store})
			}
		}
		return out
	}
	header := func(old, now string) []entry {
		return with(func(p map[string][]byte) {
			require.Contains(t, string(p[headerFile]), old)
			p[headerFile] = []byte(strings.Replace(string(p[headerFile]), old, now, 1))
		})
	}
	many := make([]string, mostFindings+1)
	for i := range many {
		many[i] = `{"id":"x"}`
	}
	other := sampleClip()
	other.Log.Signals[0].Float[0] = 12.75
	tests := map[string]struct {
		entries []entry
		want    string
	}{
		"a path upwards":         {append(with(func(map[string][]byte) {})[:3], entry{"../signals.parquet", nil, zip.Store}), "no part of one"},
		"an absolute path":       {append(with(func(map[string][]byte) {})[:3], entry{"/etc/passwd", nil, zip.Store}), "no part of one"},
		"a file too many":        {append(with(func(map[string][]byte) {}), entry{"x", nil, zip.Store}), "at most 4"},
		"a file twice":           {append(with(func(map[string][]byte) {})[1:], entry{schemas.ProfileFile, nil, zip.Store}), "twice"},
		"no samples":             {with(func(p map[string][]byte) { delete(p, schemas.SignalsFile) }), "signals.parquet is missing"},
		"no header":              {with(func(p map[string][]byte) { delete(p, headerFile) }), "clip.json is missing"},
		"header is no JSON":      {with(func(p map[string][]byte) { p[headerFile] = []byte("{") }), "not the header of a clip"},
		"another version":        {header(`"clip": 1`, `"clip": 2`), "version 2"},
		"a match that is a path": {header(`"match": "q14"`, `"match": "../../x"`), "is not a name"},
		"a robot that is a path": {header(`"robot": "heron"`, `"robot": "a/b"`), "is not a name"},
		"time beyond the files":  {header(`"from_s": 82`, `"from_s": -1e300`), "no time of a log"},
		"backwards":              {header(`"to_s": 92`, `"to_s": 9`), "ends before it begins"},
		"findings without end":   {header(`"findings": [`, `"findings": [`+strings.Join(many, ",")+","), "200 is the limit"},
		"another profile":        {with(func(p map[string][]byte) { p[schemas.ProfileFile] = []byte("profile: 1\nrobot: bittern\n") }), "not the profile"},
		"other samples":          {with(func(p map[string][]byte) { p[schemas.SignalsFile] = parts(t, other)[schemas.SignalsFile] }), "their hash differs"},
		"samples cut off":        {with(func(p map[string][]byte) { p[schemas.SignalsFile] = p[schemas.SignalsFile][:200] }), "signals.parquet"},
		"packed samples": {
			append(with(func(map[string][]byte) {})[:3], entry{schemas.SignalsFile, whole[schemas.SignalsFile], zip.Deflate}),
			"must be stored, not packed",
		},
		"a small file that unpacks to much": {append(with(func(p map[string][]byte) { delete(p, schemas.ProfileFile) }),
			entry{schemas.ProfileFile, make([]byte, mostText+1), zip.Deflate}), "unpacks to more than"},
	}
	for name, tt := range tests {
		t.Run(name, func(t *testing.T) {
			_, err := read(archive(t, tt.entries...))
			require.ErrorContains(t, err, tt.want)
			assert.NotContains(t, err.Error(), "\n")
		})
	}
	_, err := read([]byte("PK\x03\x04 no archive"))
	require.ErrorContains(t, err, "not a whole clip")
	_, err = Read(nil, mostFile+1)
	require.ErrorContains(t, err, "longer than")
}

// A match file can claim a million samples in a few hundred bytes, because they are all the
// same: the claims are added up before anything is unpacked.
func TestAClipOfClaimedSamplesIsRefused(t *testing.T) {
	c := sampleClip()
	const n = 1 << 20
	c.Log = &schemas.Log{}
	times := make([]int64, n)
	for i := range times {
		times[i] = int64(i)
	}
	flat := make([]float64, n)
	for i := range mostSamples/n + 1 {
		c.Log.Signals = append(c.Log.Signals, &schemas.Signal{Name: fmt.Sprintf("s%03d", i), Time: times, Float: flat})
	}
	data := packed(t, c)
	t.Logf("%d bytes claim %d samples", len(data), c.Log.Samples())
	_, err := read(data)
	require.ErrorContains(t, err, "the most of a clip")
}

// Cut off or damaged at any place, a clip is refused or is what it was.
func TestADamagedClipIsRefused(t *testing.T) {
	data := packed(t, sampleClip())
	want, err := read(data)
	require.NoError(t, err)
	for cut := range data {
		_, err := read(data[:cut])
		require.Error(t, err, "cut at %d", cut)
	}
	for i := range data {
		damaged := bytes.Clone(data)
		damaged[i] ^= 1 << (i % 8)
		if got, err := read(damaged); err == nil {
			require.Equal(t, want.Log, got.Log, "byte %d", i)
			require.Equal(t, want.Profile, got.Profile, "byte %d", i)
			require.Equal(t, want.ID(), got.ID(), "byte %d", i)
		} else {
			require.NotContains(t, err.Error(), "\n", "byte %d", i)
		}
	}
}

// The document names every key of the header, and no other.
func TestTheDocumentNamesTheHeader(t *testing.T) {
	text, err := os.ReadFile("../README.md")
	require.NoError(t, err)
	_, section, ok := strings.Cut(string(text), "\n## A clip\n")
	require.True(t, ok)
	section, _, _ = strings.Cut(section, "\n## ")
	var named []string
	for _, m := range regexp.MustCompile("(?m)^\\| `([a-z0-9_]+)`(?:, `([a-z0-9_]+)`)? \\|").FindAllStringSubmatch(section, -1) {
		for _, key := range m[1:] {
			if key != "" {
				named = append(named, key)
			}
		}
	}
	var keys map[string]any
	require.NoError(t, json.Unmarshal(parts(t, sampleClip())[headerFile], &keys))
	var has []string
	for key := range keys {
		has = append(has, key)
	}
	assert.ElementsMatch(t, has, named)
}

func FuzzRead(f *testing.F) {
	data := packed(f, sampleClip())
	f.Add(data)
	f.Add(data[:len(data)/2])
	f.Add(archive(f, entry{headerFile, []byte("{}"), zip.Store}))
	f.Fuzz(func(t *testing.T, data []byte) {
		c, err := read(data)
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("more than one line: %q", err)
			}
			return
		}
		sum, err := matchfile.ContentSHA256(c.Log)
		if err != nil || sum != c.SignalsSHA256 || schemas.CheckName("match", c.Match) != nil {
			t.Fatalf("a clip that is not whole was read: %v", err)
		}
	})
}
