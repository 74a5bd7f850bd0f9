package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/period"
)

func openHome(t testing.TB, data string) *home.Home {
	t.Helper()
	h, err := home.Open(data)
	require.NoError(t, err)
	return h
}

func named(season, event, match, robot string) schemas.MatchID {
	return schemas.MatchID{Season: season, Event: event, Match: match, Robot: robot}
}

// After a rename nothing in the data folder says the old name, everything verifies, the
// crew's notes are there, and what was found is what it was.
func TestRenameCorrectsTheNameEverywhere(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	for _, match := range []string{"q1", "wrong7", "q3"} {
		done(t, importAs(t, data, match, sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	}
	before := analyzed(t, "wrong7", "--data", data)
	require.NotEmpty(t, before.Findings)
	done(t, afterbell("verdict", "wrong7", before.Findings[0].ID, "no", "--data", data))
	h := openHome(t, data)
	old, now := named("2031", "millbrook-open", "wrong7", "curlew"), named("2031", "millbrook-open", "q2", "curlew")
	notes, err := h.Notes(old)
	require.NoError(t, err)

	o := done(t, afterbell("rename", "wrong7", "q2", "--data", data))
	assert.Equal(t, "2031/millbrook-open/wrong7/curlew is now 2031/millbrook-open/q2/curlew, in the sheet of 1 later match too\n", o.stdout)
	requireWhole(t, data)
	kept, err := h.Notes(now)
	require.NoError(t, err)
	assert.Equal(t, notes, kept)
	err = filepath.WalkDir(data, func(path string, e os.DirEntry, err error) error {
		require.NoError(t, err)
		assert.NotContains(t, path, "wrong7")
		if !e.IsDir() {
			text, err := os.ReadFile(path)
			require.NoError(t, err)
			assert.False(t, bytes.Contains(text, []byte("wrong7")), "%s still says the old name", path)
		}
		return nil
	})
	require.NoError(t, err)
	after, err := readReport(h, now)
	require.NoError(t, err)
	assert.Equal(t, "2", after.From.Seal)
	before.Match.Match, before.From.Seal = "q2", "2"
	assert.Equal(t, before, after, "nothing is concluded anew")
	later, err := readReport(h, named("2031", "millbrook-open", "q3", "curlew"))
	require.NoError(t, err)
	assert.Equal(t, []string{"2031/millbrook-open/q1", "2031/millbrook-open/q2"}, later.Usual.Matches)

	// To another event and season, and what is refused.
	done(t, afterbell("rename", "q2", "alder-cup/q2", "--data", data))
	o = done(t, afterbell("rename", "q2", "2032/alder-cup/q2/curlew", "--data", data))
	assert.Contains(t, o.stderr, "as it was in season 2031")
	requireWhole(t, data)
	files := contents(t, data)
	failed(t, afterbell("rename", "q1", "q3", "--data", data), exitFailed, "2031/millbrook-open/q3/curlew exists")
	failed(t, afterbell("rename", "q1", "q1", "--data", data), exitFailed, "has that name already")
	failed(t, afterbell("rename", "q9", "q10", "--data", data), exitFailed, "no match")
	failed(t, afterbell("rename", "q1", "millbrook-open/q1/heron", "--data", data), exitUsage, "import the log again with the profile of heron")
	failed(t, afterbell("rename", "q1", "../../x/y/z", "--data", data), exitUsage, "is no name")
	failed(t, afterbell("rename", "q1", "--data", data), exitUsage, "old name and the new one")
	lock, err := h.Lock()
	require.NoError(t, err)
	failed(t, afterbell("rename", "q1", "q5", "--data", data), exitFailed, "being written by")
	require.NoError(t, lock.Unlock())
	assert.Equal(t, files, contents(t, data))
}

// sealedOnce is a match of one signal as the collector hands it over.
func sealedOnce(id schemas.MatchID, values ...float64) collector.Sealed {
	if values == nil {
		values = []float64{12.1}
	}
	s := &schemas.Signal{Name: "power/voltage", Float: values}
	for i := range values {
		s.Time = append(s.Time, int64(i)*1000)
	}
	return collector.Sealed{
		ID: id, Log: &schemas.Log{Signals: []*schemas.Signal{s}}, Match: period.Match{}, At: time.Unix(0, 0), Seal: 1,
		Meta: map[string]string{metaBoots: "[]"},
	}
}

// Samples that a radio held back come into a match that was renamed since, and a new match
// does not get its old name.
func TestLateSamplesFindARenamedMatch(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	h, err := home.Create(data)
	require.NoError(t, err)
	lock, err := h.Lock()
	require.NoError(t, err)
	m003 := named("2031", "practice", "m003", "heron")
	sealed := func(seal int, values ...float64) collector.Sealed {
		m := sealedOnce(m003, values...)
		m.Seal = seal
		return m
	}
	require.NoError(t, newLiveStore(h, nil, nil).Publish(context.Background(), sealed(1, 12.1)))
	require.NoError(t, lock.Unlock())
	for _, name := range []string{"q13", "q14"} {
		ref := map[string]string{"q13": "m003", "q14": "q13"}[name]
		done(t, afterbell("rename", ref, name, "--data", data))
	}
	requireWhole(t, data)
	lock, err = h.Lock()
	require.NoError(t, err)
	defer lock.Unlock()
	store := newLiveStore(h, nil, nil)
	log, _, err := store.Load(m003)
	require.NoError(t, err)
	require.Equal(t, 1, log.Samples())
	assert.True(t, store.Taken("2031", "practice", "m003"))
	require.NoError(t, store.Publish(context.Background(), sealed(4, 12.1, 12.2)))
	ids, err := h.List()
	require.NoError(t, err)
	require.Equal(t, []schemas.MatchID{named("2031", "practice", "q14", "heron")}, ids)
	f, err := matchfile.Open(filepath.Join(h.Dir(ids[0]), schemas.SignalsFile))
	require.NoError(t, err)
	defer f.Close()
	assert.Equal(t, m003.String(), f.Meta()[metaCollectedAs])
	got, err := f.Read()
	require.NoError(t, err)
	assert.Equal(t, 2, got.Samples())
}

func TestDeleteSaysWhatGoesAndAsks(t *testing.T) {
	t.Parallel()
	data := filepath.Join(t.TempDir(), "data")
	for _, match := range []string{"q1", "q2"} {
		done(t, importAs(t, data, match, sample("curlew.yaml"), []string{sample("rookie.csv.gz")}))
	}
	done(t, afterbell("verdict", "q1", analyzed(t, "q1", "--data", data).Findings[0].ID, "yes", "--data", data))
	files := contents(t, data)
	failed(t, afterbell("delete", "q1", "--data", data), exitUsage, "--yes")
	failed(t, afterbell("delete", "q7", "--yes", "--data", data), exitFailed, "no match")
	assert.Equal(t, files, contents(t, data))
	o := done(t, afterbell("delete", "q1", "--yes", "--data", data))
	assert.Contains(t, o.stdout, "2031/millbrook-open/q1/curlew is deleted: 19 files, ")
	assert.Contains(t, o.stdout, "with 1 note of the crew")
	assert.Contains(t, o.stderr, "1 later sheet was made with it")
	requireWhole(t, data)
	for path := range contents(t, data) {
		assert.NotContains(t, path, "match=q1")
	}
	entries, err := os.ReadDir(data)
	require.NoError(t, err)
	for _, e := range entries {
		assert.True(t, home.IsLock(e.Name()) || !strings.HasPrefix(e.Name(), "."), "%s is left over", e.Name())
	}
}
