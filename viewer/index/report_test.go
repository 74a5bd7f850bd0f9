package index

import (
	"encoding/json"
	"fmt"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw/fixture"
)

// fullReport is a report as long as those of a match with many passes.
func fullReport(t testing.TB) []byte {
	r := *fixture.Busy().Report
	for len(r.Passes) > 0 && len(r.Passes) < 40 {
		r.Passes = append(r.Passes, r.Passes...)
	}
	r.Verdict.Text = `A "loaf" \ is still stuck → the lift.`
	r.Finish()
	data, err := json.MarshalIndent(r, "", " ")
	require.NoError(t, err)
	return data
}

// What is searched of a report is what the standard library reads of it, and a report that is cut
// off or damaged in its grammar is none, wherever that is.
func TestReportIsReadAsTheStandardLibraryReadsIt(t *testing.T) {
	data := fullReport(t)
	var ours, theirs searched
	require.NoError(t, ours.read(data))
	require.NoError(t, json.Unmarshal(data, &theirs))
	require.Equal(t, theirs, ours)
	require.NotEmpty(t, ours.Findings)
	require.Equal(t, schemas.ReportVersion, ours.Report)

	for n := 0; n < len(data); n += 1 + len(data)/300 {
		require.Error(t, new(searched).read(data[:n]), "cut off behind %d of %d bytes", n, len(data))
	}
	for _, text := range []string{"", " ", "null", "[]", "1", `{"report": "1"}`, `{"report" 1}`, `{"findings": {}}`, `{"report": 1`, `{"report": 1,, "x": 2}`, `{"report": 1 "x": 2}`, `{"report": 1,}`, `{"report": 1]`, string(data) + "x"} {
		require.Error(t, new(searched).read([]byte(text)), text)
	}
}

func BenchmarkReport(b *testing.B) {
	data := fullReport(b)
	b.Run(fmt.Sprintf("searched of %d kB", len(data)>>10), func(b *testing.B) {
		for b.Loop() {
			if err := new(searched).read(data); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("encoding-json", func(b *testing.B) {
		for b.Loop() {
			if err := json.Unmarshal(data, new(searched)); err != nil {
				b.Fatal(err)
			}
		}
	})
}
