package matchfile

import (
	"bytes"
	"flag"
	"math"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

var update = flag.Bool("update", false, "write testdata again")

func hashLog() *schemas.Log {
	return &schemas.Log{Signals: []*schemas.Signal{
		{
			Name: "game/score", Kind: schemas.Int64, Boot: []int32{-1, 0, 0},
			Time: []int64{5, -7, 9}, Int: []int64{0, -1, math.MaxInt64},
		},
		{Name: "path/beam", Kind: schemas.Bool, Time: []int64{0, 1}, Bool: []bool{true, false}},
		{
			Name: "power/voltage", Unit: "V", Kind: schemas.Float64,
			Time: []int64{-1000, 0, 1000}, Float: []float64{12.5, math.Copysign(0, -1), math.Inf(1)},
		},
		{Name: "robot/mode", Kind: schemas.Text, Time: []int64{1, 2}, Text: []string{"", "Ω driver"}},
		{Name: "silent", Unit: "A", Kind: schemas.Float64},
	}}
}

// The expected hashes were computed from the definition at ContentSHA256 by another
// program: Python 3.11.7, hashlib and struct.pack.
func TestContentHashFollowsItsDefinition(t *testing.T) {
	sum, err := ContentSHA256(hashLog())
	require.NoError(t, err)
	assert.Equal(t, "8c075f83b8d9825607997612002009dc13b1e5fc92b4d7c9a3f16f5e4ac6088b", sum)
	f := open(t, write(t, hashLog(), nil))
	assert.Equal(t, sum, f.SHA256())
	assert.Equal(t, "70e58fd9591d74c3da1d707319ce2e0a5da411d7c53c7f08329548ebded73ddf", f.Signals()[2].SHA256)
}

func TestEveryPartOfTheContentIsHashed(t *testing.T) {
	base, err := ContentSHA256(hashLog())
	require.NoError(t, err)
	for name, change := range map[string]func(*schemas.Log){
		"name":         func(l *schemas.Log) { l.Signals[4].Name = "silenu" },
		"unit":         func(l *schemas.Log) { l.Signals[2].Unit = "mV" },
		"kind":         func(l *schemas.Log) { l.Signals[4].Kind = schemas.Text },
		"boot":         func(l *schemas.Log) { l.Signals[0].Boot[0] = -2 },
		"time":         func(l *schemas.Log) { l.Signals[2].Time[1]++ },
		"zero's sign":  func(l *schemas.Log) { l.Signals[2].Float[1] = 0 },
		"int":          func(l *schemas.Log) { l.Signals[0].Int[2]-- },
		"bool":         func(l *schemas.Log) { l.Signals[1].Bool[0] = false },
		"text":         func(l *schemas.Log) { l.Signals[3].Text[0] = " " },
		"signal gone":  func(l *schemas.Log) { l.Signals = l.Signals[:4] },
		"samples gone": func(l *schemas.Log) { l.Signals[2] = l.Signals[2].Slice(0, 2) },
	} {
		log := hashLog()
		change(log)
		sum, err := ContentSHA256(log)
		require.NoError(t, err, name)
		assert.NotEqual(t, base, sum, name)
	}
}

// Boots that are all 0 are the same content as no boots.
func TestBootZeroIsNoBoot(t *testing.T) {
	a, b := hashLog(), hashLog()
	b.Signals[2].Boot = make([]int32, 3)
	sumA, err := ContentSHA256(a)
	require.NoError(t, err)
	sumB, err := ContentSHA256(b)
	require.NoError(t, err)
	assert.Equal(t, sumA, sumB)
	assert.Equal(t, write(t, a, nil), write(t, b, nil))
}

// A file written by the first version of the layout. It must open for ever; delete it
// only together with the code that reads version 1.
func TestFirstVersionStillOpens(t *testing.T) {
	path := filepath.Join("testdata", "version1.parquet")
	if *update {
		require.NoError(t, os.WriteFile(path, write(t, hashLog(), map[string]string{"seal": "1"}), 0o644))
	}
	f, err := Open(path)
	require.NoError(t, err)
	defer f.Close()
	got, err := f.Read()
	require.NoError(t, err)
	assert.True(t, sameLog(hashLog(), got))
	assert.Equal(t, map[string]string{"seal": "1"}, f.Meta())
	assert.NoError(t, f.Verify())
}

func TestInfoSaysWhatIsThere(t *testing.T) {
	infos := open(t, write(t, hashLog(), nil)).Signals()
	require.Len(t, infos, 5)
	score := infos[0]
	assert.Equal(t, "game/score", score.Name)
	assert.Equal(t, schemas.Int64, score.Kind)
	assert.Equal(t, []int64{3, -7, 9}, []int64{int64(score.Samples), score.FirstUS, score.LastUS})
	assert.Equal(t, "V", infos[2].Unit)
	assert.Zero(t, infos[4].Samples)
	assert.False(t, bytes.ContainsAny([]byte(score.SHA256), "ABCDEF"), "hashes are lower case")
}
