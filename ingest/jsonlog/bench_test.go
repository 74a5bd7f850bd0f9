package jsonlog

import (
	"bufio"
	"bytes"
	"encoding/json"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/ingest/columns"
)

// BenchmarkRead imports long lines beside encoding/json, which only reads the same lines into
// a struct and drops it, and beside finding their ends.
func BenchmarkRead(b *testing.B) {
	log := anylog.OfAMatch(25)
	var out bytes.Buffer
	require.NoError(b, WriteLong(&out, log))
	text := out.Bytes()
	b.ReportMetric(float64(len(text)), "bytes")
	anylog.Compare(b, log.Samples(),
		anylog.Way{Name: "import", Run: func() int {
			builder := columns.New(columns.Options{})
			if _, err := Read(bytes.NewReader(text), "q14.jsonl", builder, 0); err != nil {
				b.Fatal(err)
			}
			return builder.Log().Samples()
		}},
		anylog.Way{Name: "encoding/json", Run: func() (n int) {
			for lines := bufio.NewScanner(bytes.NewReader(text)); lines.Scan(); n++ {
				var row struct {
					Time   float64 `json:"time_s"`
					Signal string  `json:"signal"`
					Value  any     `json:"value"`
					Type   string  `json:"type"`
				}
				if err := json.Unmarshal(lines.Bytes(), &row); err != nil {
					b.Fatal(err)
				}
			}
			return n
		}},
		anylog.Way{Name: "lines", Run: func() (n int) {
			for lines := bufio.NewScanner(bytes.NewReader(text)); lines.Scan(); n++ {
			}
			return n
		}})
}

func BenchmarkWriteLong(b *testing.B) {
	log := anylog.OfAMatch(25)
	var out bytes.Buffer
	for b.Loop() {
		out.Reset()
		require.NoError(b, WriteLong(&out, log))
	}
	b.SetBytes(int64(out.Len()))
}
