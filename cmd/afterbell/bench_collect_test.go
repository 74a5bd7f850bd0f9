package main

import (
	"fmt"
	"log/slog"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// liveMatch is longMatch as the messages a robot sends: a batch each 20 ms, in the order of
// signals, and the message that numbers the signals.
type liveMatch struct {
	log      *schemas.Log
	profile  *robotProfile
	signals  []byte
	messages [][]byte
	samples  int
	bytes    int64
}

func newLiveMatch(b *testing.B) *liveMatch {
	b.Helper()
	m := &liveMatch{}
	m.log, m.profile = longMatch(b)
	numbered := wire.Signals{Type: "signals"}
	var kinds []schemas.Kind
	for _, s := range m.log.Signals {
		numbered.Names = append(numbered.Names, s.Name)
		numbered.Types = append(numbered.Types, s.Kind.String())
		kinds = append(kinds, s.Kind)
	}
	m.signals = wire.Encode(numbered)
	first, last, _ := m.log.Bounds()
	at := make([]int, len(m.log.Signals))
	encoder := wire.NewEncoder()
	for from := first; from <= last; from += 20_000 {
		batch := &wire.Batch{Seq: uint64(len(m.messages) + 1)}
		for n, s := range m.log.Signals {
			for ; at[n] < s.Len() && s.Time[at[n]] < from+20_000; at[n]++ {
				batch.AddSample(uint32(n), s.Time[at[n]], valueAt(s, at[n]))
			}
		}
		data, err := encoder.Encode(batch, kinds)
		require.NoError(b, err)
		m.messages = append(m.messages, slices.Clone(data))
		m.samples += batch.Len()
		m.bytes += int64(len(data))
	}
	require.Equal(b, m.log.Samples(), m.samples)
	return m
}

func valueAt(s *schemas.Signal, i int) any {
	switch s.Kind {
	case schemas.Float64:
		return s.Float[i]
	case schemas.Int64:
		return s.Int[i]
	case schemas.Bool:
		return s.Bool[i]
	default:
		return s.Text[i]
	}
}

// report adds the rate and the bytes on the wire.
func (m *liveMatch) report(b *testing.B) {
	b.ReportMetric(float64(m.samples)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
	b.ReportMetric(float64(m.bytes)/float64(m.samples), "B/sample")
}

const benchCommit = 20 * time.Millisecond

// BenchmarkCollect is a match of seven million samples sent over loopback as fast as the
// collector takes it, until the last batch is acknowledged, beside the least that could be done
// with the same bytes: appending them to a file, and syncing that, every 20 ms.
func BenchmarkCollect(b *testing.B) {
	m := newLiveMatch(b)
	b.Run("collector", func(b *testing.B) {
		boot := 0
		for b.Loop() {
			b.StopTimer()
			c := openCollector(b, b.TempDir(), m)
			server := httptest.NewServer(c)
			conn := dialCollector(b, server.URL, "heron", fmt.Sprint("boot ", boot), m)
			boot++
			b.StartTimer()
			sendAll(b, conn, m.messages)
			b.StopTimer()
			conn.Close()
			require.NoError(b, c.Close())
			server.Close()
			b.StartTimer()
		}
		m.report(b)
	})
	b.Run("bare-append-and-sync", func(b *testing.B) {
		dir := b.TempDir()
		for b.Loop() {
			f, err := os.Create(filepath.Join(dir, "bare"))
			require.NoError(b, err)
			synced := time.Now()
			for _, data := range m.messages {
				_, err := f.Write(data)
				require.NoError(b, err)
				if time.Since(synced) >= benchCommit {
					require.NoError(b, f.Sync())
					synced = time.Now()
				}
			}
			require.NoError(b, f.Sync())
			require.NoError(b, f.Close())
		}
		m.report(b)
	})
}

func openCollector(b testing.TB, dir string, m *liveMatch) *collector.Collector {
	b.Helper()
	c, err := collector.Open(collector.Options{
		Dir: dir, Season: "2031", Event: "millbrook-open", Store: noStore{}, Robots: map[string]*profile.Profile{"heron": m.profile.Profile},
		Journal: journal.Options{Every: benchCommit}, Limits: collector.Limits{Rate: 1 << 40}, Log: slog.New(slog.DiscardHandler),
	})
	require.NoError(b, err)
	return c
}

// noStore takes nothing: what is measured is what comes before.
type noStore struct{ collector.Store }

func (noStore) Load(schemas.MatchID) (*schemas.Log, map[string]string, error) { return nil, nil, nil }
func (noStore) Taken(string, string, string) bool                             { return false }

func dialCollector(b testing.TB, url, robot, boot string, m *liveMatch) *websocket.Conn {
	b.Helper()
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}, WriteBufferSize: 64 << 10}
	conn, _, err := d.Dial("ws"+strings.TrimPrefix(url, "http")+wire.Path, nil)
	require.NoError(b, err)
	require.NoError(b, conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Hello{Type: "hello", Robot: robot, Boot: boot})))
	// By hand and never ended, so that nothing is sealed while the wire is measured.
	require.NoError(b, conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Match{Type: "match", Match: "q1", State: "start"})))
	require.NoError(b, conn.WriteMessage(websocket.TextMessage, m.signals))
	return conn
}

// sendAll sends every message and waits for the ack of the last.
func sendAll(b testing.TB, conn *websocket.Conn, messages [][]byte) {
	b.Helper()
	done := make(chan error, 1)
	go func() {
		for {
			seq, err := benchSeq(conn)
			if err != nil || seq == len(messages) {
				done <- err
				return
			}
		}
	}()
	for _, data := range messages {
		require.NoError(b, conn.WriteMessage(websocket.BinaryMessage, data))
	}
	require.NoError(b, <-done)
}

// benchSeq is the batch up to which the next message acknowledges.
func benchSeq(conn *websocket.Conn) (int, error) {
	_, data, err := conn.ReadMessage()
	if err != nil {
		return 0, err
	}
	var ack wire.Ack
	if fault := wire.Decode(data, &ack); fault != nil {
		return 0, fault
	}
	return int(ack.DurableSeq), nil
}

// BenchmarkAckLatency is the time from sending a batch of 20 ms of samples to its ack, at the
// pace of robots: one that sends 50 000 samples a second, and sixty of 15 000 each. Beside it
// stands a sync of as many bytes, which nothing durable can do without.
func BenchmarkAckLatency(b *testing.B) {
	for _, c := range []struct{ robots, perSecond int }{{1, 50_000}, {60, 15_000}} {
		b.Run(fmt.Sprintf("robots=%d", c.robots), func(b *testing.B) {
			live, err := collector.Open(collector.Options{
				Dir: b.TempDir(), Season: "2031", Event: "millbrook-open", Store: noStore{}, Log: slog.New(slog.DiscardHandler),
			})
			require.NoError(b, err)
			server := httptest.NewServer(live)
			for b.Loop() {
				var all []time.Duration
				var mu sync.Mutex
				var wg sync.WaitGroup
				for robot := range c.robots {
					wg.Go(func() {
						took := paced(b, server.URL, fmt.Sprintf("r%d", robot), c.perSecond, 2*time.Second)
						mu.Lock()
						defer mu.Unlock()
						all = append(all, took...)
					})
				}
				wg.Wait()
				slices.Sort(all)
				b.ReportMetric(all[len(all)/2].Seconds()*1e3, "p50-ms")
				b.ReportMetric(all[len(all)*99/100].Seconds()*1e3, "p99-ms")
			}
			require.NoError(b, live.Close())
			server.Close()
		})
	}
	b.Run("sync-alone", func(b *testing.B) {
		f, err := os.Create(filepath.Join(b.TempDir(), "bare"))
		require.NoError(b, err)
		defer f.Close()
		data := make([]byte, 20*1000)
		for b.Loop() {
			var all []time.Duration
			for range 100 {
				began := time.Now()
				_, err := f.Write(data)
				require.NoError(b, err)
				require.NoError(b, f.Sync())
				all = append(all, time.Since(began))
				time.Sleep(20 * time.Millisecond)
			}
			slices.Sort(all)
			b.ReportMetric(all[len(all)/2].Seconds()*1e3, "p50-ms")
			b.ReportMetric(all[len(all)*99/100].Seconds()*1e3, "p99-ms")
		}
	})
}

// boots numbers the power-ups of a benchmark.
var boots atomic.Int64

// paced sends batches of 20 ms at a robot's pace, and returns how long each waited for its ack.
func paced(b *testing.B, url, robot string, perSecond int, lasting time.Duration) []time.Duration {
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}}
	conn, _, err := d.Dial("ws"+strings.TrimPrefix(url, "http")+wire.Path, nil)
	if err != nil {
		b.Error(err)
		return nil
	}
	defer conn.Close()
	hello := wire.Hello{Type: "hello", Robot: robot, Boot: fmt.Sprint(boots.Add(1))}
	m := wire.Signals{Type: "signals"}
	var kinds []schemas.Kind
	for s := range 100 {
		m.Names, m.Types, kinds = append(m.Names, fmt.Sprint("s/", s)), append(m.Types, "float64"), append(kinds, schemas.Float64)
	}
	_ = conn.WriteMessage(websocket.TextMessage, wire.Encode(hello))
	_ = conn.WriteMessage(websocket.TextMessage, wire.Encode(m))
	count := int(lasting / (20 * time.Millisecond))
	sent, acked := make([]time.Time, count+1), make([]time.Time, count+1)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for last := 0; last < count; {
			seq, err := benchSeq(conn)
			if err != nil {
				return
			}
			for ; last < seq; last++ {
				acked[last+1] = time.Now()
			}
		}
	}()
	encoder := wire.NewEncoder()
	tick := time.NewTicker(20 * time.Millisecond)
	defer tick.Stop()
	for seq := 1; seq <= count; seq++ {
		batch := &wire.Batch{Seq: uint64(seq)}
		for i := range perSecond / 50 {
			batch.AddSample(uint32(i%100), int64(seq)*20_000+int64(i), float64(i))
		}
		data, err := encoder.Encode(batch, kinds)
		if err != nil {
			b.Error(err)
			return nil
		}
		<-tick.C
		sent[seq] = time.Now()
		if err := conn.WriteMessage(websocket.BinaryMessage, data); err != nil {
			b.Error(err)
			return nil
		}
	}
	<-done
	var took []time.Duration
	for seq := 1; seq <= count; seq++ {
		took = append(took, acked[seq].Sub(sent[seq]))
	}
	return took
}
