package home

import (
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/parts"
)

func TestPartsLogIsTheTeamsOwn(t *testing.T) {
	h, err := Open(t.TempDir())
	require.NoError(t, err)
	data, err := h.Parts("heron")
	require.NoError(t, err)
	require.Empty(t, data)
	belt := parts.Entry{At: time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC), Day: true, Kind: "part", Text: "new lift belt"}
	require.NoError(t, h.AddPart("heron", belt))
	path := h.PartsFile("heron")
	require.NoError(t, os.WriteFile(path, []byte("# ours\n2031-03-01 part wider mouth"), 0o644)) // no line feed, as an editor leaves it
	require.NoError(t, h.AddPart("heron", belt))
	data, err = h.Parts("heron")
	require.NoError(t, err)
	require.Equal(t, "# ours\n2031-03-01 part wider mouth\n2031-04-01        part     new lift belt\n", string(data))

	require.ErrorContains(t, h.AddPart("heron", parts.Entry{At: belt.At, Kind: "part"}), "says what was changed")
	require.Error(t, h.AddPart("../heron", belt))
	_, err = h.Parts("../heron")
	require.Error(t, err)
	all, err := h.List()
	require.NoError(t, err)
	require.Empty(t, all, "the folder of parts logs is no season")
	entries, err := os.ReadDir(filepath.Dir(path))
	require.NoError(t, err)
	require.Len(t, entries, 1, "nothing half-written is left")
}
