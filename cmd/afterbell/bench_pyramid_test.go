package main

import (
	"io"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
)

// BenchmarkPyramids is what the pyramids of a long match add to storing its samples, which
// is beside it in the same run.
func BenchmarkPyramids(b *testing.B) {
	log, _ := longMatch(b)
	sum, err := matchfile.ContentSHA256(log)
	require.NoError(b, err)
	b.Run("pyramids", func(b *testing.B) {
		for b.Loop() {
			require.NoError(b, pyramid.Write(io.Discard, sum, log))
		}
	})
	b.Run("samples", func(b *testing.B) {
		for b.Loop() {
			_, err := matchfile.Write(io.Discard, log, nil)
			require.NoError(b, err)
		}
	})
	var size byteCount
	require.NoError(b, pyramid.Write(&size, sum, log))
	b.ReportMetric(8*float64(size)/float64(log.Samples()), "bits/sample")
}

type byteCount int

func (c *byteCount) Write(p []byte) (int, error) { *c += byteCount(len(p)); return len(p), nil }
