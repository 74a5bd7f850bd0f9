package wire

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// sixtyFour is a batch of 64 samples as robots without the Go sender send them: the same
// signals again and again, numbers of a few digits, a state now and then.
func sixtyFour(t testing.TB) (text, record []byte) {
	t.Helper()
	names := &Names{}
	b := &Batch{Seq: 1}
	kinds := []schemas.Kind{}
	for i := range 64 {
		kind := schemas.Float64
		if i%16 == 15 {
			kind = schemas.Text
		}
		n, f := names.Add(fmt.Sprintf("drive/module/%02d/current", i), kind, 100)
		require.Nil(t, f)
		kinds = append(kinds, kind)
		if kind == schemas.Text {
			b.AddSample(n, int64(1_250_000+i), "driver")
		} else {
			b.AddSample(n, int64(1_250_000+i), 11.90625+float64(i)/8)
		}
	}
	data, err := NewEncoder().Encode(b, kinds)
	require.NoError(t, err)
	return AppendBatch(nil, b, names.Entries), append([]byte{}, data...)
}

// BenchmarkBatchOfText reads a batch of 64 samples, beside Go's own encoding/json reading the
// same bytes into values of no type, which is what a straightforward collector does.
func BenchmarkBatchOfText(b *testing.B) {
	text, record := sixtyFour(b)
	rate := func(b *testing.B) {
		b.ReportMetric(64*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
		b.SetBytes(int64(len(text)))
	}
	b.Run("wire", func(b *testing.B) {
		r := Reader{Names: &Names{}}
		for b.Loop() {
			if _, f := r.Batch(text); f != nil {
				b.Fatal(f)
			}
		}
		rate(b)
	})
	b.Run("encoding-json", func(b *testing.B) {
		for b.Loop() {
			var m struct {
				Seq     uint64   `json:"seq"`
				Samples [][3]any `json:"samples"`
			}
			if err := json.Unmarshal(text, &m); err != nil {
				b.Fatal(err)
			}
		}
		rate(b)
	})
	b.Run("record-batch", func(b *testing.B) {
		r := Reader{Names: &Names{}}
		var numbers []uint32
		for i := range 64 {
			kind := schemas.Float64
			if i%16 == 15 {
				kind = schemas.Text
			}
			n, f := r.Names.Add(fmt.Sprint(i), kind, 100)
			require.Nil(b, f)
			numbers = append(numbers, n)
		}
		for b.Loop() {
			if _, f := r.Record(record, numbers); f != nil {
				b.Fatal(f)
			}
		}
		b.ReportMetric(64*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
	})
}
