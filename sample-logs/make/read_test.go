package main

import (
	"bytes"
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

// Imported, a file gives the simulated log back, sample for sample.
func TestImportGivesTheLogBack(t *testing.T) {
	t.Parallel()
	for _, s := range samples {
		t.Run(s.scenario, func(t *testing.T) {
			m, err := sim.Run(s.scenario, 0)
			require.NoError(t, err)
			rows, err := s.rows(m)
			require.NoError(t, err)
			packed, err := s.pack(rows)
			require.NoError(t, err)
			log, _, err := ingest.Read(context.Background(), []ingest.Source{{
				Name: s.file(), Open: func() (io.ReadCloser, error) { return io.NopCloser(bytes.NewReader(packed)), nil },
			}}, ingest.Options{})
			require.NoError(t, err)
			require.Len(t, log.Signals, len(m.Log.Signals))
			for k, want := range m.Log.Signals {
				got := log.Signals[k]
				assert.Equal(t, want.Name, got.Name)
				assert.Equal(t, want.Unit, got.Unit)
				require.Equal(t, want.Time, got.Time, want.Name)
				assert.Equal(t, want.Text, got.Text, want.Name)
				for i := 0; i < want.Len() && want.Text == nil; i++ {
					require.InDelta(t, want.Number(i), got.Number(i), 1e-12, "%s sample %d", want.Name, i)
				}
			}
		})
	}
}
