package home

import (
	"fmt"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// BenchmarkPublish is what atomic publication costs beside writing: sixteen small files,
// as many as a match has, synced and renamed into place.
func BenchmarkPublish(b *testing.B) {
	h, err := Create(filepath.Join(b.TempDir(), "data"))
	require.NoError(b, err)
	_, err = h.Lock()
	require.NoError(b, err)
	files := map[string]string{}
	for i := range 16 {
		files[fmt.Sprintf("file-%02d", i)] = "a few bytes"
	}
	for b.Loop() {
		require.NoError(b, h.Publish(q14, true, filled(files)))
	}
}

func BenchmarkList1000(b *testing.B) {
	h, err := Create(filepath.Join(b.TempDir(), "data"))
	require.NoError(b, err)
	for i := range 1000 {
		require.NoError(b, makeDirs(h.Dir(id(fmt.Sprintf("event-%d", i%20), fmt.Sprintf("m%03d", i), "heron"))))
	}
	for b.Loop() {
		ids, err := h.List()
		require.NoError(b, err)
		require.Len(b, ids, 1000)
	}
}
