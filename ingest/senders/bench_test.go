package senders

import (
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/sender/standin"
	"github.com/afterbell/afterbell/schemas"
)

// What a sample costs a control loop that records a hundred each millisecond, making batches
// and sending going on beside it. The peer is the least that a program could do instead in its
// language: append to a list, or add to an atomic counter. longest-us is the longest that a
// hundred samples took, on a machine that did other things as well; B/sample what the loop's
// thread allocated, where the language tells.
func BenchmarkRecord(b *testing.B) {
	for _, l := range languages {
		b.Run(l.name, func(b *testing.B) {
			command, err := l.made(true)
			if l.missing != "" {
				b.Skip(l.missing)
			}
			require.NoError(b, err)
			l := &language{command: command}
			server := standin.New()
			b.Cleanup(server.Close)
			server.On = func(boot *standin.Boot, _ uint64, _ int) standin.Trouble { boot.Items = nil; return standin.None }
			r := l.start(b, server.URL())
			r.signal(schemas.Float64, "power/voltage [V]")
			r.until("connected", func(s stats) bool { return s.Connected })
			r.ask("bench 500") // for a compiler that is in no hurry
			var got struct {
				NS      float64
				Peer    float64 `json:"peer_ns"`
				Longest float64 `json:"longest_us"`
				Bytes   float64
			}
			for b.Loop() {
				text := r.ask("bench 2000")
				require.NoError(b, json.Unmarshal([]byte(text), &got), text)
			}
			b.ReportMetric(0, "ns/op")
			b.ReportMetric(got.NS, "ns/sample")
			b.ReportMetric(got.NS/got.Peer, "x-peer")
			b.ReportMetric(got.Longest, "longest-us")
			if got.Bytes >= 0 {
				b.ReportMetric(got.Bytes, "B/sample")
			}
			r.close()
			require.Zero(b, r.stats().Dropped)
		})
	}
}
