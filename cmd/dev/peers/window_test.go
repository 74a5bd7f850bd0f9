package peers

import (
	"database/sql"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/matchfile"
	"github.com/afterbell/afterbell/schemas/pyramid"
)

// windowColumns is the width of a bench on a large screen.
const windowColumns = 1600

// BenchmarkWindow cuts one signal of 1 kHz of a stored match of 150 s into pixel columns:
// from the pyramid of a signal that is open, from a signal that is not (footer, samples and
// pyramid are read first), and by SQL on the same file.
func BenchmarkWindow(b *testing.B) {
	log := &schemas.Log{}
	random := rand.New(rand.NewPCG(1, 1))
	for i := range 20 {
		s := &schemas.Signal{Name: fmt.Sprintf("signal/%02d", i), Kind: schemas.Float64}
		for k := range 150_000 {
			s.Time = append(s.Time, int64(k)*1000+random.Int64N(50))
			s.Float = append(s.Float, math.Round(640*math.Sin(float64(k)/5000)+20*random.NormFloat64())/64)
		}
		log.Signals = append(log.Signals, s)
	}
	dir := b.TempDir()
	samples, pyramids := filepath.Join(dir, "signals.parquet"), filepath.Join(dir, pyramid.FileName)
	f, err := os.Create(samples)
	require.NoError(b, err)
	sum, err := matchfile.Write(f, log, nil)
	require.NoError(b, err)
	require.NoError(b, f.Close())
	f, err = os.Create(pyramids)
	require.NoError(b, err)
	require.NoError(b, pyramid.Write(f, sum.SHA256, log))
	require.NoError(b, f.Close())

	const name, t0, t1 = "signal/07", 10_000_000, 140_000_000
	open := func() *pyramid.Pyramid {
		f, err := matchfile.Open(samples)
		require.NoError(b, err)
		defer f.Close()
		all, err := f.Read(name)
		require.NoError(b, err)
		p, err := pyramid.Open(pyramids, f.SHA256())
		require.NoError(b, err)
		loaded, err := p.Load(name, pyramid.LineOf(all.Signals[0]))
		require.NoError(b, err)
		return loaded
	}
	b.Run("open", func(b *testing.B) {
		p := open()
		for b.Loop() {
			p.Window(t0, t1, windowColumns)
		}
	})
	b.Run("from-the-file", func(b *testing.B) {
		for b.Loop() {
			open().Window(t0, t1, windowColumns)
		}
	})
	db, err := sql.Open("duckdb", "")
	require.NoError(b, err)
	defer db.Close()
	query := fmt.Sprintf(`SELECT least(floor(%[3]d * (time_us - %[1]d) / (%[2]d - %[1]d)), %[3]d - 1)::INTEGER AS c,
		arg_min(value, time_us), arg_max(value, time_us), min(value), max(value),
		min(time_us), max(time_us), arg_min(time_us, value), arg_max(time_us, value)
		FROM read_parquet('%[4]s') WHERE signal = '%[5]s' AND time_us BETWEEN %[1]d AND %[2]d GROUP BY c ORDER BY c`,
		t0, t1, windowColumns, samples, name)
	b.Run("duckdb", func(b *testing.B) {
		for b.Loop() {
			rows, err := db.Query(query)
			require.NoError(b, err)
			n := 0
			for rows.Next() {
				n++
			}
			require.NoError(b, rows.Err())
			require.NoError(b, rows.Close())
			require.Equal(b, windowColumns, n)
		}
	})
}
