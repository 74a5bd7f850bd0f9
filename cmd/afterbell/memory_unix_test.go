//go:build unix

package main

import (
	"bufio"
	"io"
	"os"
	"strconv"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// tenMillion is how many rows writeRows writes.
const tenMillion = 10_000_000

// writeRows writes a long CSV of one signal at 20 kHz: a voltage that falls slowly.
func writeRows(to io.Writer) error {
	w := bufio.NewWriterSize(to, 1<<16)
	row := []byte("time_s,signal,value\n")
	for i := range tenMillion {
		if _, err := w.Write(row); err != nil {
			return err
		}
		row = strconv.AppendInt(row[:0], int64(i/20_000), 10)
		row = append(row, '.')
		row = append(row, strconv.Itoa(100_000 + i%20_000*5)[1:]...)
		row = append(row, ",power/voltage,12."...)
		row = strconv.AppendInt(row, int64(9-i/1_000_000), 10)
		row = append(row, '\n')
	}
	if _, err := w.Write(row); err != nil {
		return err
	}
	return w.Flush()
}

// A log of ten million rows of one signal, a quarter of a gigabyte of text that comes
// through a pipe, is analyzed in the memory that its samples take (160 MB) and as much
// again and again, not in that of its text.
func TestTenMillionRowsOfOneSignal(t *testing.T) {
	program := built(t)
	path := pipeLog(t)
	fed := make(chan error, 1)
	go func() {
		f, err := os.OpenFile(path, os.O_WRONLY, 0)
		if err == nil {
			err = writeRows(f)
			_ = f.Close()
		}
		fed <- err
	}()
	l := measured(t, program, "analyze", path, "--profile", sample("curlew.yaml"), "--json")
	require.NoError(t, <-fed)
	assert.Less(t, l.Peak, int64(640<<20), "bytes")
	assert.Greater(t, l.Peak, int64(160<<20), "bytes: the samples were there")
	t.Logf("peak %d MiB, %.1f s", l.Peak>>20, l.Seconds)
}
