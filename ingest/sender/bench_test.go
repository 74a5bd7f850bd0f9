package sender

import (
	"context"
	"log/slog"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
)

// recording is a sender whose collector is there and counts only.
func recording(b *testing.B) *Sender {
	server := standin.New()
	b.Cleanup(server.Close)
	server.On = func(boot *standin.Boot, _ uint64, _ int) standin.Trouble { boot.Items = nil; return standin.None }
	s, err := New(Config{URL: server.URL(), Robot: "heron", Log: slog.New(slog.DiscardHandler)})
	require.NoError(b, err)
	b.Cleanup(func() {
		ctx, cancel := context.WithTimeout(context.Background(), long)
		defer cancel()
		require.NoError(b, s.Close(ctx))
	})
	require.NoError(b, s.Ready(soon(b)))
	return s
}

// What a sample costs the control loop, cutting and sending going on beside it. The peer is
// one addition to an atomic counter.
func BenchmarkRecord(b *testing.B) {
	s := recording(b)
	g := s.Signal("power/voltage [V]", schemas.Float64)
	mode := s.Signal("robot/mode", schemas.Text)
	b.Run("float", func(b *testing.B) {
		b.ReportAllocs()
		for i := range b.N {
			g.Record(int64(i), 12.5)
		}
	})
	b.Run("text", func(b *testing.B) {
		b.ReportAllocs()
		for i := range b.N {
			mode.RecordText(int64(i), "autonomous")
		}
	})
	b.Run("peer", func(b *testing.B) {
		var n atomic.Int64
		for range b.N {
			n.Add(1)
		}
	})
}

// A whole loop of a robot: 100 signals, then it sleeps. The mean of a sample.
func BenchmarkControlLoop(b *testing.B) {
	s := recording(b)
	var signals []*Signal
	for i := range 100 {
		signals = append(signals, s.Signal("signal/"+string(rune('a'+i/26))+string(rune('a'+i%26)), schemas.Float64))
	}
	var busy time.Duration
	b.ReportAllocs()
	for i := range b.N {
		began := time.Now()
		for _, g := range signals {
			g.Record(int64(i)*1000, 1)
		}
		busy += time.Since(began)
		if i%16 == 0 {
			time.Sleep(time.Millisecond)
		}
	}
	b.ReportMetric(float64(busy.Nanoseconds())/float64(b.N)/100, "ns/sample")
}

// Everything from Put to the ack, beside encoding alone.
func BenchmarkThroughput(b *testing.B) {
	s := recording(b)
	g := s.Signal("power/voltage", schemas.Float64)
	b.Run("sent", func(b *testing.B) {
		for i := range b.N {
			if err := g.Put(b.Context(), int64(i), 12.5); err != nil {
				b.Fatal(err)
			}
		}
		for s.Stats().Waiting > 0 {
			time.Sleep(time.Millisecond)
		}
	})
	b.Run("encoded", func(b *testing.B) {
		e := wire.NewEncoder()
		var batch wire.Batch
		for i := range b.N {
			batch.AddSample(0, int64(i), 12.5)
			if batch.Len() == mostRows {
				_, err := e.Encode(&batch, []schemas.Kind{schemas.Float64})
				require.NoError(b, err)
				batch.Reset()
			}
		}
	})
}
