package arrowlog

import (
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Files that other implementations of the format wrote; testdata/README.md says which.
func TestFilesOfOthers(t *testing.T) {
	read := func(name string) *schemas.Log {
		file, err := os.ReadFile(filepath.Join("testdata", name))
		require.NoError(t, err)
		return mustRead(t, file)
	}
	for _, name := range []string{"long-js.arrow", "long-js.arrows"} {
		assert.Equal(t, &schemas.Log{Signals: []*schemas.Signal{
			{Name: "count", Kind: schemas.Int64, Time: []int64{40_000}, Int: []int64{1<<53 + 1}},
			{Name: "ok", Kind: schemas.Bool, Time: []int64{-5}, Bool: []bool{true}},
			{Name: "power/voltage", Unit: "V", Kind: schemas.Float64, Time: []int64{0}, Float: []float64{11.9}},
			{Name: "robot/mode", Kind: schemas.Text, Time: []int64{20_000}, Text: []string{"nan"}},
		}}, read(name), name)
	}
	log := read("views-go18.arrow")
	assert.Equal(t, []string{"driver", "a text of more than twelve bytes", "another text that is longer", "twelve bytes", "thirteen byte"}, log.Find("robot/mode").Text)
	assert.Equal(t, []string{"driverdriver", "", "a text of more than twelve bytesa text of more than twelve bytes"}, log.Find("raw").Text[:3])
	assert.Equal(t, []float64{0.5, 2.5, 3.5, 4.5, 5.5}, log.Find("power/voltage").Float)
	assert.Equal(t, []int64{0, 40_000, 60_000, 80_000, 100_000}, log.Find("power/voltage").Time)
}
