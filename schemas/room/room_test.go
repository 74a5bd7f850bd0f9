package room

import (
	"fmt"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
)

func TestRoom(t *testing.T) {
	folder := filepath.Join(t.TempDir(), "data")
	h, err := home.Create(folder)
	require.NoError(t, err)
	room, err := Of(folder, h)
	require.NoError(t, err)
	require.Positive(t, room.FreeBytes)
	assert.Zero(t, room.MatchBytes)
	assert.Zero(t, room.Matches)
	assert.Contains(t, schemas.RoomText(room), "no match yet")

	// Seven matches; the newest five are of 3, 4, 5, 6 and 7 KB with what lies beside them.
	for n := range 7 {
		dir := h.Dir(schemas.MatchID{Season: "2031", Event: "millbrook-open", Match: fmt.Sprint("q", n), Robot: "heron"})
		require.NoError(t, os.MkdirAll(dir, 0o755))
		samples := filepath.Join(dir, schemas.SignalsFile)
		require.NoError(t, os.WriteFile(samples, make([]byte, 1000*n), 0o644))
		require.NoError(t, os.WriteFile(filepath.Join(dir, "report.json"), make([]byte, 1000), 0o644))
		at := time.Unix(int64(1_900_000_000+n), 0)
		require.NoError(t, os.Chtimes(samples, at, at))
	}
	room, err = Of(folder, h)
	require.NoError(t, err)
	assert.Equal(t, uint64(5000), room.MatchBytes)
	assert.Equal(t, int(room.FreeBytes/10_000), room.Matches, "a match lies in the journal as well")
	assert.Equal(t, "room for about 12 matches like the newest (0.1 GB free)", schemas.RoomText(schemas.LiveRoom{FreeBytes: 1e8, MatchBytes: 4e6, Matches: 12}))
}
