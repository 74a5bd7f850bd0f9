//go:build unix

package main

import (
	"log/slog"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest"
	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas/profile"
)

// A whole match goes to a collector that is killed on the way, again and again. In the end
// every sample of it is stored once, bit for bit.
func TestReplayIntoACollectorThatIsKilled(t *testing.T) {
	data := filepath.Join(t.TempDir(), "data")
	cmd, url := collecting(t, "127.0.0.1:0", data, "--profile", sample("heron.yaml"))
	listen := strings.TrimSuffix(strings.TrimPrefix(url, "ws://"), wire.Path)
	replayed := make(chan outcome, 1)
	go func() {
		replayed <- afterbell("replay", sample("jam-stuck.csv.zst"), "--robot", "heron", "--speed", "60", "--to", url)
	}()
	for range 4 {
		time.Sleep(400 * time.Millisecond) // of a replay of more than 2 s
		require.NoError(t, cmd.Process.Kill())
		_ = cmd.Wait()
		cmd, _ = collecting(t, listen, data, "--profile", sample("heron.yaml"))
	}
	o := done(t, <-replayed)
	require.NoError(t, cmd.Process.Kill())
	_ = cmd.Wait()

	log, _, err := ingest.ReadFiles(t.Context(), []string{sample("jam-stuck.csv.zst")}, ingest.Options{})
	require.NoError(t, err)
	assert.Contains(t, o.stdout, "of 40 signals in 1 power-up of heron")
	sameBits(t, bitsOf(log, 0), settledBits(t, data))
}

// settledBits are all samples of heron in the store, after a last collector has given
// everything its place.
func settledBits(t *testing.T, data string) map[standin.Sample]any {
	t.Helper()
	w := &writer{dir: data}
	require.NoError(t, w.begin())
	defer w.end()
	p, err := readProfile(sample("heron.yaml"))
	require.NoError(t, err)
	store := &liveStore{home: w.home, profiles: map[string]*robotProfile{"heron": p}, log: slog.New(slog.DiscardHandler)}
	c, err := collector.Open(collector.Options{
		Dir: filepath.Join(data, liveDir, "journal"), Season: "2031", Event: "millbrook-open",
		Robots: map[string]*profile.Profile{"heron": p.Profile}, Store: store,
	})
	require.NoError(t, err)
	require.NoError(t, c.Settle("heron"))
	require.NoError(t, c.Close())
	all, err := w.home.List()
	require.NoError(t, err)
	out := map[standin.Sample]any{}
	for _, id := range all {
		log, _, err := store.Load(id)
		require.NoError(t, err)
		for k, bits := range bitsOf(log, 0) {
			_, twice := out[k]
			require.False(t, twice, "%v is stored twice", k)
			out[k] = bits
		}
	}
	return out
}
