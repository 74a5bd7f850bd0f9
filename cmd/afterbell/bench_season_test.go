package main

import (
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/rollup"
	"github.com/afterbell/afterbell/schemas/tables"
)

// benchArchive is a data folder of made-up matches: robots play at five events, each as often as
// the others. Nothing is synced, so that ten thousand are quickly there.
func benchArchive(b *testing.B, robots, matches int) *home.Home {
	b.Helper()
	dir := b.TempDir()
	h, err := home.Open(dir)
	require.NoError(b, err)
	rng := rand.New(rand.NewPCG(9, 0))
	for i := range matches {
		r := seasonMatch(i/robots%40, rng)
		r.Match.Robot = fmt.Sprintf("robot-%02d", i%robots)
		r.Match.Event, r.Match.Match = fmt.Sprintf("event-%d", i*5/matches), fmt.Sprintf("q%d", i/robots)
		r.Finish()
		match := filepath.Join(dir, "season=2031", "event="+r.Match.Event, "match="+r.Match.Match, "robot="+r.Match.Robot)
		require.NoError(b, os.MkdirAll(match, 0o755))
		data, err := json.Marshal(r)
		require.NoError(b, err)
		require.NoError(b, os.WriteFile(filepath.Join(match, schemas.ReportFile), data, 0o644))
		for name, write := range tables.Writers(r) {
			if name == tables.MatchFile || name == tables.StagesFile || name == tables.MechanismsFile {
				f, err := os.Create(filepath.Join(match, name))
				require.NoError(b, err)
				require.NoError(b, write(f))
				require.NoError(b, f.Close())
			}
		}
	}
	return h
}

// A season as its page looks at it, and how that grows: from the tables of the matches, which is
// the peer, and from those of the events.
func BenchmarkSeason(b *testing.B) {
	for _, c := range []struct{ robots, matches int }{{1, 200}, {1, 800}, {60, 10_000}} {
		h := benchArchive(b, c.robots, c.matches)
		name := fmt.Sprintf("robots=%d/matches=%d", c.robots, c.matches)
		look := func(b *testing.B) {
			s, notes, err := lookAtSeason(h, "robot-00", "")
			require.NoError(b, err)
			require.Empty(b, notes)
			require.Len(b, s.Matches, (c.matches+c.robots-1)/c.robots) // the first robot plays what is over
		}
		b.Run(name+"/from=matches", func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				require.NoError(b, os.RemoveAll(filepath.Join(h.Root(), rollup.Folder)))
				b.StartTimer()
				look(b)
			}
		})
		ids, err := h.List()
		require.NoError(b, err)
		b.Run(name+"/rollup", func(b *testing.B) {
			for b.Loop() {
				b.StopTimer()
				require.NoError(b, os.RemoveAll(filepath.Join(h.Root(), rollup.Folder)))
				b.StartTimer()
				require.NoError(b, rollup.Refresh(h, ids))
			}
		})
		require.NoError(b, rollup.Refresh(h, ids))
		b.Run(name+"/from=events", func(b *testing.B) {
			for b.Loop() {
				look(b)
			}
		})
		b.Run(name+"/all-rows", func(b *testing.B) {
			for b.Loop() {
				n := 0
				for _, e := range rollup.Read(h, ids) {
					n += len(e.Rows)
				}
				require.Equal(b, c.matches, n)
			}
		})
	}
}
