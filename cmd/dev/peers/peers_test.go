package peers

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"fmt"
	"math"
	"net/http/httptest"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/gorilla/websocket"
	"github.com/marcboeker/go-duckdb"
	_ "github.com/mattn/go-sqlite3"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/collector"
	"github.com/afterbell/afterbell/ingest/journal"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

const (
	signals = 300
	seconds = 60
	hz      = 150 // of each signal: 45 000 samples a second
	every   = 20 * time.Millisecond
)

// batches are the samples of a minute of match, a batch each 20 ms.
func batches() []*wire.Batch {
	var out []*wire.Batch
	step := int64(1_000_000 / hz)
	for from := int64(0); from < seconds*1_000_000; from += every.Microseconds() {
		b := &wire.Batch{Seq: uint64(len(out) + 1)}
		for s := range signals {
			first := (from + step - 1) / step * step
			for t := first; t < from+every.Microseconds(); t += step {
				b.AddSample(uint32(s), t+int64(s), math.Round(1000*math.Sin(float64(t)/1e6+float64(s)))/64)
			}
		}
		out = append(out, b)
	}
	return out
}

// nothing is a store for a collector that never seals.
type nothing struct{}

func (nothing) Load(schemas.MatchID) (*schemas.Log, map[string]string, error) { return nil, nil, nil }
func (nothing) Taken(string, string, string) bool                             { return false }
func (nothing) Publish(context.Context, collector.Sealed) error               { return nil }

// BenchmarkDurable puts the same samples on stable storage, committing for each 20 ms of
// match: over the wire with a sync at most that often, and in one transaction for each batch.
func BenchmarkDurable(b *testing.B) {
	all := batches()
	samples := 0
	for _, batch := range all {
		samples += batch.Len()
	}
	report := func(b *testing.B) {
		b.ReportMetric(float64(samples)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
	}
	b.Run("collector", func(b *testing.B) {
		for i := 0; b.Loop(); i++ {
			b.StopTimer()
			send, end := collecting(b, all)
			b.StartTimer()
			send()
			b.StopTimer()
			end()
			b.StartTimer()
		}
		report(b)
	})
	b.Run("sqlite", func(b *testing.B) {
		for b.Loop() {
			sqlite(b, all)
		}
		report(b)
	})
	b.Run("duckdb-appender", func(b *testing.B) {
		for b.Loop() {
			duck(b, all)
		}
		report(b)
	})
}

// collecting is a collector and a connection; send sends everything and waits for the last ack.
func collecting(b *testing.B, all []*wire.Batch) (send, end func()) {
	c, err := collector.Open(collector.Options{
		Dir: b.TempDir(), Season: "2031", Event: "millbrook-open", Store: nothing{},
		Journal: journal.Options{Every: every}, Limits: collector.Limits{Rate: 1 << 40},
	})
	require.NoError(b, err)
	server := httptest.NewServer(c)
	d := websocket.Dialer{Subprotocols: []string{wire.Subprotocol}}
	conn, _, err := d.Dial("ws"+strings.TrimPrefix(server.URL, "http")+wire.Path, nil)
	require.NoError(b, err)
	require.NoError(b, conn.WriteMessage(websocket.TextMessage, wire.Encode(wire.Hello{Type: "hello", Robot: "heron", Boot: "boot"})))
	m := wire.Signals{Type: "signals"}
	kinds := []schemas.Kind{}
	for s := range signals {
		m.Names, m.Types, kinds = append(m.Names, fmt.Sprint("signal/", s)), append(m.Types, "float64"), append(kinds, schemas.Float64)
	}
	require.NoError(b, conn.WriteMessage(websocket.TextMessage, wire.Encode(m)))
	encoder := wire.NewEncoder()
	var messages [][]byte
	for _, batch := range all {
		data, err := encoder.Encode(batch, kinds)
		require.NoError(b, err)
		messages = append(messages, slices.Clone(data))
	}
	send = func() {
		acked := make(chan error, 1)
		go func() {
			var ack wire.Ack
			for ack.DurableSeq < uint64(len(messages)) {
				_, data, err := conn.ReadMessage()
				if err != nil {
					acked <- err
					return
				}
				if f := wire.Decode(data, &ack); f != nil {
					acked <- f
					return
				}
			}
			acked <- nil
		}()
		for _, data := range messages {
			require.NoError(b, conn.WriteMessage(websocket.BinaryMessage, data))
		}
		require.NoError(b, <-acked)
	}
	return send, func() {
		conn.Close()
		require.NoError(b, c.Close())
		server.Close()
	}
}

// sqlite commits a transaction for each batch, durable as the collector is: a write-ahead log
// that is synced at each commit.
func sqlite(b *testing.B, all []*wire.Batch) {
	db, err := sql.Open("sqlite3", "file:"+filepath.Join(b.TempDir(), "samples.db")+"?_journal_mode=WAL&_synchronous=FULL")
	require.NoError(b, err)
	defer db.Close()
	db.SetMaxOpenConns(1)
	_, err = db.Exec("CREATE TABLE samples (signal INTEGER, time_us INTEGER, value REAL)")
	require.NoError(b, err)
	for _, batch := range all {
		tx, err := db.Begin()
		require.NoError(b, err)
		insert, err := tx.Prepare("INSERT INTO samples VALUES (?, ?, ?)")
		require.NoError(b, err)
		for i := range batch.Signal {
			_, err = insert.Exec(batch.Signal[i], batch.Time[i], math.Float64frombits(batch.Value[i]))
			require.NoError(b, err)
		}
		require.NoError(b, insert.Close())
		require.NoError(b, tx.Commit())
	}
}

// duck appends a batch and flushes it, in a transaction of its own.
func duck(b *testing.B, all []*wire.Batch) {
	connector, err := duckdb.NewConnector(filepath.Join(b.TempDir(), "samples.duckdb"), nil)
	require.NoError(b, err)
	defer connector.Close()
	conn, err := connector.Connect(context.Background())
	require.NoError(b, err)
	defer conn.Close()
	_, err = conn.(driver.ExecerContext).ExecContext(context.Background(), "CREATE TABLE samples (signal UINTEGER, time_us BIGINT, value DOUBLE)", nil)
	require.NoError(b, err)
	for _, batch := range all {
		a, err := duckdb.NewAppenderFromConn(conn, "", "samples")
		require.NoError(b, err)
		for i := range batch.Signal {
			require.NoError(b, a.AppendRow(batch.Signal[i], batch.Time[i], math.Float64frombits(batch.Value[i])))
		}
		require.NoError(b, a.Close())
	}
}
