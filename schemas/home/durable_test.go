package home

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestAFileWrittenInManyPiecesIsWhole(t *testing.T) {
	path := filepath.Join(t.TempDir(), "file")
	var want []byte
	require.NoError(t, WriteFile(path, func(w io.Writer) error {
		for i := range 9 {
			piece := bytes.Repeat([]byte{byte(i)}, beginAfter/2+i)
			want = append(want, piece...)
			if _, err := w.Write(piece); err != nil {
				return err
			}
		}
		return nil
	}))
	got, err := os.ReadFile(path)
	require.NoError(t, err)
	require.True(t, bytes.Equal(want, got))
	full := errors.New("no room")
	require.ErrorIs(t, WriteFile(path, func(io.Writer) error { return full }), full)
}
