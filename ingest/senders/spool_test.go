package senders

import (
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

// withFile is each for the languages that can keep the spool in a file.
func withFile(t *testing.T, test func(t *testing.T, l *language)) {
	eachOf(t, func(l *language) bool { return l.file }, test)
}

// shut is a stand-in that lets nobody in until open is called.
func shut(t testing.TB) (s *standin.Server, open func()) {
	s = server(t)
	var is atomic.Bool
	s.Refuse = func() int {
		if is.Load() {
			return 0
		}
		return http.StatusServiceUnavailable
	}
	return s, func() { is.Store(true) }
}

func spoolFiles(t testing.TB, dir string) []string {
	files, err := filepath.Glob(filepath.Join(dir, "*.spool"))
	require.NoError(t, err)
	return files
}

// What a killed program did not get rid of, the next one sends, under the name that it had.
func TestSpoolOutlivesTheProgram(t *testing.T) {
	withFile(t, func(t *testing.T, l *language) {
		server, open := shut(t)
		dir := t.TempDir()
		first, second := newScript(), newScript()
		r := l.start(t, server.URL(), "--spool-dir", dir, "--boot", "first")
		first.begin(r)
		first.record(r, 200)
		r.do("match end - - 9000")
		first.record(r, 200)
		require.Len(t, spoolFiles(t, dir), 1)
		require.Eventually(t, func() bool {
			data, err := os.ReadFile(spoolFiles(t, dir)[0])
			return err == nil && strings.Contains(string(data), `"driver 400"`) && strings.HasSuffix(string(data), "\n")
		}, long, 5*time.Millisecond, "the last sample is in the file")
		r.kill()

		r = l.start(t, server.URL(), "--spool-dir", dir, "--boot", "second")
		second.n = 1000
		second.begin(r)
		second.record(r, 10)
		require.Equal(t, len(first.want), r.stats().Earlier)
		open()
		r.until("the first is sent", func(s stats) bool { return s.Earlier == 0 && s.Waiting == 0 })
		r.close()
		assert.Empty(t, spoolFiles(t, dir), "nothing is left to send")
		server.Look(func(boots []*standin.Boot) {
			require.Len(t, boots, 2)
			for _, b := range boots {
				want := first
				if b.Name == "second" {
					want = second
				} else {
					require.Len(t, b.Matches(), 1)
					require.Empty(t, b.Clocks, "whether it is the same clock is not known")
				}
				same(t, want.want, arrived(t, b))
			}
		})
	})
}

// Only what is not acknowledged is sent again, and the file does not grow for ever.
func TestSpoolFileForgetsWhatIsAcknowledged(t *testing.T) {
	withFile(t, func(t *testing.T, l *language) {
		server := server(t)
		var deaf atomic.Bool
		server.Acks = func(uint64) bool { return !deaf.Load() }
		dir := t.TempDir()
		r := l.start(t, server.URL(), "--spool-dir", dir, "--boot", "first")
		w := newScript()
		w.begin(r)
		r.signal(schemas.Text, "bulk")
		for i := range 40 { // more than the file is allowed to hold of what is acknowledged
			r.record(4, int64(i), strings.Repeat("x", 60_000))
			w.want[key{"bulk", int64(i)}] = strings.Repeat("x", 60_000)
			if i%8 == 7 { // more at once need not be taken
				r.until("acked", func(s stats) bool { return s.Acked == len(w.want) })
			}
		}
		r.until("acked", func(s stats) bool { return s.Waiting == 0 && s.Acked == len(w.want) })
		info, err := os.Stat(spoolFiles(t, dir)[0])
		require.NoError(t, err)
		assert.Less(t, info.Size(), int64(1500<<10))
		deaf.Store(true)
		w.record(r, 10)
		require.True(t, server.Wait(long, func(b []*standin.Boot) bool { return len(b[0].Samples()) == len(w.want) }))
		r.kill()

		// A line that was never whole, as a program that is killed leaves it.
		f, err := os.OpenFile(spoolFiles(t, dir)[0], os.O_APPEND|os.O_WRONLY, 0)
		require.NoError(t, err)
		_, err = f.WriteString(`1234abcd {"type":"batch","seq":99,"samp`)
		require.NoError(t, err)
		require.NoError(t, f.Close())
		deaf.Store(false)
		r = l.start(t, server.URL(), "--spool-dir", dir, "--boot", "second")
		require.LessOrEqual(t, r.stats().Earlier, 40, "what was acknowledged is not sent again")
		r.until("sent", func(s stats) bool { return s.Earlier == 0 })
		r.close()
		server.Look(func(boots []*standin.Boot) { same(t, w.want, arrived(t, boots[0])) })
		assert.Empty(t, spoolFiles(t, dir))
	})
}

// Damage to a line loses that line.
func TestDamagedSpoolFile(t *testing.T) {
	withFile(t, func(t *testing.T, l *language) {
		server, open := shut(t)
		dir := t.TempDir()
		r := l.start(t, server.URL(), "--spool-dir", dir, "--boot", "first")
		w := newScript()
		w.begin(r)
		for range 5 {
			was := r.stats().Spooled
			w.record(r, 10)
			r.until("a batch more", func(s stats) bool { return s.Spooled > was })
		}
		r.kill()
		file := spoolFiles(t, dir)[0]
		data, err := os.ReadFile(file)
		require.NoError(t, err)
		lines := strings.SplitAfter(string(data), "\n")
		hit := -1
		for i, line := range lines {
			if strings.Contains(line, `"seq":2,`) {
				hit = i
				lines[i] = strings.Replace(line, "driver", "dr1ver", 1)
			}
		}
		require.Positive(t, hit)
		require.NoError(t, os.WriteFile(file, []byte(strings.Join(lines, "")), 0o600))
		open()
		r = l.start(t, server.URL(), "--spool-dir", dir)
		r.until("sent", func(s stats) bool { return s.Earlier == 0 })
		r.close()
		assert.Contains(t, r.said.String(), "cannot be read")
		server.Look(func(boots []*standin.Boot) {
			if boots[0].Name != "first" { // the two connect on their own
				boots[0] = boots[1]
			}
			got := arrived(t, boots[0])
			assert.NotEmpty(t, got)
			assert.Less(t, len(got), len(w.want))
			for k, v := range got {
				assert.Equal(t, w.want[k], v)
			}
			for _, i := range boots[0].Items {
				assert.Equal(t, i.Seq == 2, len(i.Samples) == 0)
			}
		})
	})
}

func TestSpoolFolderIsForOneProgram(t *testing.T) {
	withFile(t, func(t *testing.T, l *language) {
		server := server(t)
		dir := t.TempDir()
		other := filepath.Join(dir, "notes.spool")
		require.NoError(t, os.WriteFile(other, []byte("not one of ours\n"), 0o600))
		r := l.start(t, server.URL(), "--spool-dir", dir)
		again := l.launch(t, server.URL(), "--spool-dir", dir)
		assert.Contains(t, again.first, "is the spool of a program that runs")
		r.close()
		assert.FileExists(t, other)
		r = l.start(t, server.URL(), "--spool-dir", dir) // it is free again
		r.close()
	})
}

func TestSamplesThatCannotBeSent(t *testing.T) {
	each(t, func(t *testing.T, l *language) {
		server := server(t)
		r := l.start(t, server.URL())
		names := []string{"", " ", strings.Repeat("n", 257), " [V]"}
		for _, name := range names {
			r.signal(schemas.Float64, name)
		}
		r.signal(schemas.Float64, "volts [V]")
		r.signal(schemas.Float64, "volts [mV]") // the same signal with another unit
		r.signal(schemas.Int64, "volts [V]")    // and of another kind
		r.signal(schemas.Float64, "volts [V]")  // the same again
		r.signal(schemas.Text, "text")
		for i := range names[:3] {
			assert.NotEqual(t, "-", r.ask("error %d", i), "%q", names[i])
			r.record(i, 1000, 1.0)
		}
		assert.Equal(t, "-", r.ask("error 4"))
		assert.NotEqual(t, "-", r.ask("error 5"))
		assert.NotEqual(t, "-", r.ask("error 6"))
		assert.Equal(t, "-", r.ask("error 7"))
		r.record(5, 1000, 1.0)
		r.record(6, 1000, int64(1))
		r.record(4, 1000, 1.0)
		r.record(7, 2000, 2.0)
		r.record(4, 3000, "of another kind")
		r.record(8, 1000, true)
		r.record(8, 1000, strings.Repeat("x", 65537)) // bytes
		r.record(8, 1000, strings.Repeat("\u00e9", 32769))
		r.do("broken 8 1000")
		r.record(4, 9_000_000_000_000_000_001, 1.0)
		r.close()
		r.record(4, 4000, 1.0) // too late
		st := r.stats()
		assert.Equal(t, 3+2+6+1, st.Unfit)
		assert.Equal(t, 2, st.Recorded)
		assert.Equal(t, 2, st.Acked)
		server.Look(func(boots []*standin.Boot) {
			same(t, map[key]any{{"volts", 1000}: bits(1.0), {"volts", 2000}: bits(2.0)}, arrived(t, boots[0]))
		})
	})
}
