package home

import (
	"encoding/json"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/schemas/tables"
)

var robotYAML = []byte("profile: 1\nrobot: heron\n")

// store publishes a whole match with the given seal.
func store(t *testing.T, h *Home, id schemas.MatchID, seal string) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "power/voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{0, 20000, 40000}, Float: []float64{12.5, 12.25, 12}},
	}}
	require.NoError(t, h.Publish(id, true, func(dir string) error {
		f, err := os.Create(filepath.Join(dir, schemas.SignalsFile))
		require.NoError(t, err)
		sum, err := matchfile.Write(f, log, map[string]string{tables.MetaSeal: seal})
		require.NoError(t, err)
		require.NoError(t, f.Close())
		require.NoError(t, writeSynced(filepath.Join(dir, pyramid.FileName), func(w io.Writer) error { return pyramid.Write(w, sum.SHA256, log) }))
		r := report(id, seal, sum.SHA256)
		require.NoError(t, tables.Write(dir, r))
		data, err := json.Marshal(r)
		require.NoError(t, err)
		var page strings.Builder
		require.NoError(t, WriteSheet(&page, seal, data, aPage))
		return filled(map[string]string{
			schemas.ReportFile: string(data), schemas.SheetFile: page.String(), schemas.ProfileFile: string(robotYAML), schemas.NotesFile: "{\"text\":\"ok\"}\n\n",
		})(dir)
	}))
}

func aPage(w io.Writer) error {
	_, err := io.WriteString(w, "<!doctype html>")
	return err
}

func report(id schemas.MatchID, seal, signals string) *schemas.Report {
	r := &schemas.Report{
		Report: schemas.ReportVersion,
		From:   schemas.From{ProfileSHA256: profile.SHA256(robotYAML), SignalsSHA256: signals, Seal: seal},
		Match:  schemas.Match{Season: id.Season, Event: id.Event, Match: id.Match, Robot: id.Robot},
	}
	r.Finish()
	return r
}

func texts(problems []Problem) []string {
	out := []string{}
	for _, p := range problems {
		out = append(out, p.String())
	}
	return out
}

func TestAWholeMatchHasNoProblems(t *testing.T) {
	h := locked(t)
	store(t, h, q14, "3")
	problems, err := h.Verify(q14)
	require.NoError(t, err)
	assert.Empty(t, problems)
	_, err = h.Verify(id("alder-cup", "m001", "heron"))
	assert.ErrorIs(t, err, fs.ErrNotExist)
}

func TestSamplesAloneAreNoProblem(t *testing.T) {
	h := locked(t)
	store(t, h, q14, "3")
	signals, err := os.ReadFile(filepath.Join(h.Dir(q14), schemas.SignalsFile))
	require.NoError(t, err)
	idle := id("millbrook-open", "idle-1", "heron")
	require.NoError(t, h.Publish(idle, false, filled(map[string]string{schemas.SignalsFile: string(signals)})))
	problems, err := h.Verify(idle)
	require.NoError(t, err)
	assert.Empty(t, problems)
}

func TestVerifyFindsWhatDoesNotAgree(t *testing.T) {
	spoil := func(name string) func(t *testing.T, h *Home) {
		return func(t *testing.T, h *Home) {
			path := filepath.Join(h.Dir(q14), name)
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			require.NoError(t, os.WriteFile(path, data[:len(data)/2], 0o644))
		}
	}
	remove := func(name string) func(t *testing.T, h *Home) {
		return func(t *testing.T, h *Home) { require.NoError(t, os.Remove(filepath.Join(h.Dir(q14), name))) }
	}
	put := func(name, text string) func(t *testing.T, h *Home) {
		return func(t *testing.T, h *Home) {
			require.NoError(t, h.Update(q14, map[string]func(io.Writer) error{name: func(w io.Writer) error {
				_, err := io.WriteString(w, text)
				return err
			}}))
		}
	}
	change := func(name, old, text string) func(t *testing.T, h *Home) {
		return func(t *testing.T, h *Home) {
			path := filepath.Join(h.Dir(q14), name)
			data, err := os.ReadFile(path)
			require.NoError(t, err)
			changed := strings.Replace(string(data), old, text, 1)
			require.NotEqual(t, string(data), changed)
			require.NoError(t, os.WriteFile(path, []byte(changed), 0o644))
		}
	}
	tests := []struct {
		name   string
		damage func(t *testing.T, h *Home)
		want   []string
	}{
		{"samples cut off", spoil(schemas.SignalsFile), []string{
			"signals.parquet: the end of a Parquet file is missing: cut off, or another kind of file",
		}},
		{"samples gone", remove(schemas.SignalsFile), []string{"signals.parquet: it is missing"}},
		{"pyramids cut off", put(pyramid.FileName, "afterbell"), []string{"pyramid.bin: cut off: unexpected EOF"}},
		{"pyramids damaged", change(pyramid.FileName, `"readings"`, `"readingz"`), []string{"pyramid.bin: the index is damaged: its checksum does not match"}},
		{"pyramids gone", remove(pyramid.FileName), []string{"pyramid.bin: it is missing"}},
		{"report cut off", spoil(schemas.ReportFile), []string{"report.json: it is not a report: unexpected end of JSON input"}},
		{"report gone", remove(schemas.ReportFile), []string{"report.json: it is missing"}},
		{"report of the future", put(schemas.ReportFile, `{"report": 2}`), []string{"report.json: it is of version 2, this program knows 1"}},
		{"sheet gone", remove(schemas.SheetFile), []string{"report.html: it is missing"}},
		{"sheet cut off", spoil(schemas.SheetFile), []string{"report.html: the seal at its end is missing: cut off, or written by another program"}},
		{"sheet damaged", change(schemas.SheetFile, "doctype", "doctyqe"), []string{"report.html: it is damaged: sheet_sha256 differs"}},
		{"sheet of another analysis", change(schemas.SheetFile, `seal="3"`, `seal="2"`), []string{`report.html: its seal is "2", that of report.json is "3"`}},
		{"report changed by hand", change(schemas.ReportFile, `"text":""`, `"text":"All is well."`), []string{
			"report.json: it is not as it was when report.html was made of it: damaged, or changed by hand",
		}},
		{"table gone", remove("cycles.parquet"), []string{"cycles.parquet: it is missing"}},
		{"table cut off", spoil("jams.parquet"), []string{
			"jams.parquet: the end of a Parquet file is missing: cut off, or another kind of file",
		}},
		{"other profile", put(schemas.ProfileFile, "profile: 1\nrobot: bittern\n"), []string{
			"robot.yaml: it is not the profile the report was made with: profile_sha256 is " + profile.SHA256(robotYAML) +
				" there, " + profile.SHA256([]byte("profile: 1\nrobot: bittern\n")) + " here",
		}},
		{"notes cut off", put(schemas.NotesFile, "{}\n{\"text\":"), []string{"notes.jsonl: line 2 is not JSON"}},
		{"one table of another analysis", func(t *testing.T, h *Home) {
			require.NoError(t, h.Update(q14, map[string]func(io.Writer) error{
				"moves.parquet": tables.Writers(report(q14, "4", ""))["moves.parquet"],
			}))
		}, []string{`moves.parquet: its seal is "4", that of report.json is "3"`}},
		{"samples of another seal", func(t *testing.T, h *Home) {
			require.NoError(t, h.Update(q14, map[string]func(io.Writer) error{
				schemas.SignalsFile: func(w io.Writer) error {
					f, err := matchfile.Open(filepath.Join(h.Dir(q14), schemas.SignalsFile))
					require.NoError(t, err)
					defer f.Close()
					log, err := f.Read()
					require.NoError(t, err)
					_, err = matchfile.Write(w, log, map[string]string{tables.MetaSeal: "2"})
					return err
				},
			}))
		}, []string{`signals.parquet: its seal is "2", that of report.json is "3"`}},
		{"renamed, not written again", func(t *testing.T, h *Home) {
			other := id("alder-cup", "q14", "heron")
			require.NoError(t, renamed(h, q14, other))
			problems, err := h.Verify(other)
			require.NoError(t, err)
			assert.Equal(t, []string{"report.json: it is about 2031/millbrook-open/q14/heron"}, texts(problems))
			require.NoError(t, renamed(h, other, q14))
		}, []string{}},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			h := locked(t)
			store(t, h, q14, "3")
			tt.damage(t, h)
			problems, err := h.Verify(q14)
			require.NoError(t, err)
			assert.Equal(t, tt.want, texts(problems))
		})
	}
}

func TestVerifyComparesTheSamplesWithTheReport(t *testing.T) {
	h := locked(t)
	store(t, h, q14, "3")
	path := filepath.Join(h.Dir(q14), schemas.SignalsFile)
	before, err := matchfile.Open(path)
	require.NoError(t, err)
	require.NoError(t, before.Close())
	log := &schemas.Log{Signals: []*schemas.Signal{{Name: "a", Kind: schemas.Bool, Time: []int64{1}, Bool: []bool{true}}}}
	var sum matchfile.Summary
	require.NoError(t, h.Update(q14, map[string]func(io.Writer) error{
		schemas.SignalsFile: func(w io.Writer) error {
			sum, err = matchfile.Write(w, log, map[string]string{tables.MetaSeal: "3"})
			return err
		},
	}))
	problems, err := h.Verify(q14)
	require.NoError(t, err)
	assert.Equal(t, []string{"report.json: it was made of other samples: signals_sha256 is " +
		before.SHA256() + " there, " + sum.SHA256 + " in signals.parquet", "pyramid.bin: the pyramids are of other samples"}, texts(problems))
}
