package parquetlog

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/ingest/anylog"
	"github.com/afterbell/afterbell/schemas"
)

// Files that another writer of the format made; testdata/README.md says which.
func TestFilesOfOthers(t *testing.T) {
	read := func(name string) *schemas.Log {
		file, err := os.ReadFile(filepath.Join("testdata", name))
		require.NoError(t, err)
		return mustRead(t, file)
	}
	// DuckDB keeps no metadata of others: a bool is its number, a unit is gone.
	assert.Equal(t, anylog.DescribeBits(&schemas.Log{Signals: []*schemas.Signal{
		{Name: "count", Kind: schemas.Int64, Time: []int64{-1, 2}, Boot: []int32{0, 3}, Int: []int64{math.MinInt64, 1<<53 + 1}},
		{Name: "ok", Kind: schemas.Float64, Time: []int64{1, 2}, Float: []float64{1, 0}},
		{Name: "robot/mode", Kind: schemas.Text, Time: []int64{1, 3}, Text: []string{"nan", "driver"}},
		{Name: "v", Kind: schemas.Float64, Time: []int64{1, 2, 3}, Float: []float64{math.Copysign(0, -1), math.Inf(1), 5}},
	}}), anylog.DescribeBits(read("anew-duckdb.parquet")))
	assert.Equal(t, anylog.DescribeBits(&schemas.Log{Signals: []*schemas.Signal{
		{Name: "count", Kind: schemas.Int64, Time: []int64{0, 20_000}, Int: []int64{7, 8}},
		{Name: "ok", Kind: schemas.Bool, Time: []int64{0, 40_000}, Bool: []bool{true, false}},
		{Name: "power/voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{0, 20_000}, Float: []float64{12.61, 12.58}},
		{Name: "robot/mode", Kind: schemas.Text, Time: []int64{0, 40_000}, Text: []string{"autonomous", "driver"}},
	}}), anylog.DescribeBits(read("wide-duckdb.parquet")))
}
