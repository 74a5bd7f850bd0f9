package main

import (
	"encoding/json"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/pyramid"
)

// storedMatch is a match in a data folder of its own, for tests that damage it.
type storedMatch struct {
	data, dir string
	files     map[string][]byte // as stored
}

func newStoredMatch(t *testing.T, log, profile string) *storedMatch {
	t.Helper()
	m := &storedMatch{data: filepath.Join(t.TempDir(), "data"), files: map[string][]byte{}}
	stored(t, m.data, log, profile)
	robot, _, _ := strings.Cut(profile, ".")
	m.dir = filepath.Join(m.data, "season=2031", "event=millbrook-open", "match=q14", "robot="+robot)
	m.keep(t)
	return m
}

// keep takes the files as they are now for the whole ones.
func (m *storedMatch) keep(t *testing.T) {
	t.Helper()
	entries, err := os.ReadDir(m.dir)
	require.NoError(t, err)
	for _, e := range entries {
		m.files[e.Name()], err = os.ReadFile(filepath.Join(m.dir, e.Name()))
		require.NoError(t, err)
	}
	require.Greater(t, len(m.files), 10)
}

func (m *storedMatch) write(t *testing.T, name string, data []byte) {
	t.Helper()
	require.NoError(t, os.WriteFile(filepath.Join(m.dir, name), data, 0o644))
}

// requireProblem checks that verify finds the match damaged, names the file and fails.
func (m *storedMatch) requireProblem(t *testing.T, file string) {
	t.Helper()
	o := afterbell("verify", "--data", m.data)
	require.Equal(t, exitFailed, o.code, "%s: %s", file, o.stdout)
	require.Contains(t, o.stdout, "\n  "+file+": ")
	require.Contains(t, o.stderr, "1 of 1 matches have problems; `afterbell verify --rebuild` makes derived files again")
}

func (m *storedMatch) requireWhole(t *testing.T) {
	t.Helper()
	o := done(t, afterbell("verify", "--data", m.data))
	require.Regexp(t, `^2031/millbrook-open/q14/\w+: whole\n$`, o.stdout)
}

func TestVerifyFindsADamagedByteOfTheSamples(t *testing.T) {
	m := newStoredMatch(t, "rookie.csv.gz", "curlew.yaml")
	m.requireWhole(t)
	whole := m.files[schemas.SignalsFile]
	for i := range 60 {
		at := i * (len(whole) - 1) / 59
		damaged := slices.Clone(whole)
		damaged[at] ^= 1 << (i % 8)
		m.write(t, schemas.SignalsFile, damaged)
		m.requireProblem(t, schemas.SignalsFile)
	}
	m.write(t, schemas.SignalsFile, whole[:len(whole)/2])
	m.requireProblem(t, schemas.SignalsFile)
	failed(t, afterbell("export", "q14", "--data", m.data), exitFailed, schemas.SignalsFile, "cut off")
	failed(t, afterbell("analyze", "q14", "--data", m.data), exitFailed, schemas.SignalsFile, "cut off")
	m.write(t, schemas.SignalsFile, whole)
	m.requireWhole(t)
}

// Each derived file that is gone, cut short or damaged is found.
func TestVerifyFindsDamagedDerivedFiles(t *testing.T) {
	t.Parallel()
	m := newStoredMatch(t, "jam-stuck.csv.zst", "heron.yaml")
	for _, name := range m.derived() {
		require.NoError(t, os.Remove(filepath.Join(m.dir, name)))
		m.requireProblem(t, name)
		whole := m.files[name]
		m.write(t, name, whole[:len(whole)-20])
		m.requireProblem(t, name)
		places := 5
		if strings.HasSuffix(name, ".parquet") {
			places = 0 // Parquet has no checksum for a footer, which is most of a small table
		}
		for i := range places {
			damaged := slices.Clone(whole)
			damaged[i*(len(whole)-1)/4] ^= 0x04
			m.write(t, name, damaged)
			m.requireProblem(t, name)
		}
		m.write(t, name, whole)
	}
	m.requireWhole(t)
}

// derived are the files of a match that its samples make.
func (m *storedMatch) derived() []string {
	return slices.DeleteFunc(slices.Sorted(maps.Keys(m.files)), func(name string) bool { return name == schemas.SignalsFile })
}

// --rebuild makes what is gone again from the samples and the profile: one file, or all of them.
func TestVerifyRebuildsDerivedFiles(t *testing.T) {
	t.Parallel()
	m := newStoredMatch(t, "jam-stuck.csv.zst", "heron.yaml")
	before := analyzed(t, "q14", "--data", m.data)
	gone := func(names ...string) {
		for _, name := range names {
			require.NoError(t, os.Remove(filepath.Join(m.dir, name)))
		}
	}
	back := func() {
		m.requireWhole(t)
		sameFacts(t, before, analyzed(t, "q14", "--data", m.data))
		m.keep(t)
	}
	all := slices.DeleteFunc(m.derived(), func(name string) bool { return name == schemas.ProfileFile })
	for _, names := range [][]string{{"jams.parquet"}, {schemas.ReportFile}, {schemas.SheetFile}, all} {
		gone(names...)
		o := done(t, afterbell("verify", "--rebuild", "--data", m.data))
		assert.Contains(t, o.stdout, "2031/millbrook-open/q14/heron: rebuilt: report.json, report.html, pyramid.bin and 13 tables\n", names)
		assert.Contains(t, o.stdout, ": it is missing\n")
		back()
	}
	gone(schemas.ProfileFile)
	o := afterbell("verify", "--rebuild", "--data", m.data)
	assert.Equal(t, exitFailed, o.code)
	assert.Contains(t, o.stdout, "give one with --profile", "what was not derived cannot be made")
	done(t, afterbell("analyze", "q14", "--again", "--profile", sample("heron.yaml"), "--data", m.data))
	back()
}

// Files of two analyses, or of two matches, are told from a set that belongs together.
func TestVerifyFindsAMixedSet(t *testing.T) {
	m := newStoredMatch(t, "rookie.csv.gz", "curlew.yaml")
	first := maps.Clone(m.files)
	done(t, afterbell("analyze", "q14", "--again", "--data", m.data))
	m.keep(t)
	for _, name := range slices.Sorted(maps.Keys(first)) {
		if name == schemas.ProfileFile || name == pyramid.FileName {
			continue // the same in both
		}
		m.write(t, name, first[name])
		blamed := name
		if name == schemas.ReportFile {
			blamed = schemas.SignalsFile // whose seal is no longer the report's
		}
		m.requireProblem(t, blamed)
		m.write(t, name, m.files[name])
		m.requireWhole(t)
	}
	other := newStoredMatch(t, "clean.csv.gz", "heron.yaml")
	m.write(t, schemas.SignalsFile, other.files[schemas.SignalsFile])
	m.requireProblem(t, schemas.ReportFile)
	done(t, afterbell("verify", "--rebuild", "q14", "--data", m.data))
	m.requireWhole(t)
	m.write(t, schemas.ProfileFile, []byte("profile: 1\nrobot: curlew\n"))
	m.requireProblem(t, schemas.ProfileFile)
}

func TestVerifyNamesOnlyWhatIsDamaged(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	for _, match := range []string{"q1", "q2", "q3"} {
		done(t, importAs(t, data, match, sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	}
	dir := filepath.Join(data, "season=2031", "event=millbrook-open", "match=q2", "robot=curlew")
	require.NoError(t, os.Remove(filepath.Join(dir, "cycles.parquet")))
	o := afterbell("verify", "--json", "--data", data)
	assert.Equal(t, exitFailed, o.code)
	var got []verified
	require.NoError(t, json.Unmarshal([]byte(o.stdout), &got))
	assert.Equal(t, []verified{
		{"2031/millbrook-open/q1/curlew", []string{}, false, nil, nil},
		{"2031/millbrook-open/q2/curlew", []string{"cycles.parquet: it is missing"}, false, nil, nil},
		{"2031/millbrook-open/q3/curlew", []string{}, false, nil, nil},
	}, got)
	done(t, afterbell("verify", "q1", "q3", "--data", data))

	// A damaged report does not stop the next match from being analyzed: it is left out.
	require.NoError(t, os.WriteFile(filepath.Join(dir, schemas.ReportFile), []byte("{"), 0o644))
	done(t, importAs(t, data, "q4", sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	assert.Equal(t, []string{"2031/millbrook-open/q1", "2031/millbrook-open/q3"}, analyzed(t, "q4", "--data", data).Usual.Matches)
	done(t, afterbell("verify", "--rebuild", "q2", "--data", data))
	done(t, afterbell("verify", "--data", data))
}
