package period

import (
	"math"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"github.com/afterbell/afterbell/schemas"
)

func TestStretch(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "count", Kind: schemas.Int64, Time: []int64{10, 40}, Int: []int64{1, 2}},
		{Name: "late", Kind: schemas.Bool, Time: []int64{60}, Bool: []bool{true}},
		{Name: "mode", Kind: schemas.Text, Time: []int64{0, 50}, Text: []string{"autonomous", "driver"}},
		{Name: "v", Kind: schemas.Float64, Time: []int64{0, 30, 45}, Float: []float64{12, 11, 10}},
	}}
	out := Stretch(log, 20, 45, 60, nil)
	assert.Equal(t, []int64{20, 40}, out.Find("count").Time)
	assert.Equal(t, []int64{1, 2}, out.Find("count").Int)
	assert.Nil(t, out.Find("late"), "it had no value yet")
	assert.Equal(t, []int64{20}, out.Find("mode").Time, "although it does not change in here")
	assert.Equal(t, []string{"autonomous"}, out.Find("mode").Text)
	assert.Equal(t, []int64{30, 45}, out.Find("v").Time, "a reading is no state")
	assert.Equal(t, []int64{40, 50, 60}, slices.Concat(Stretch(log, 40, 60, 60, nil).Find("count").Time, Stretch(log, 50, 60, 60, nil).Find("mode").Time, Stretch(log, 60, 60, 60, nil).Find("late").Time),
		"a sample at the start is the value there")

	held := func(s *schemas.Signal) bool { return s.Name == "v" }
	assert.Equal(t, []float64{11}, Stretch(log, 44, 44, 60, held).Find("v").Float)
	assert.Equal(t, "driver", Stretch(log, 55, 58, 60, nil).Find("mode").Text[0])
	assert.Empty(t, Stretch(log, 61, 70, 60, nil).Signals, "behind the end nothing is known")
	assert.Empty(t, Stretch(log, 20, 10, 60, nil).Signals)
	assert.Equal(t, []int64{0, 50}, log.Find("mode").Time, "the log is as it was")
}

// A value does not outlive its power-up.
func TestStretchOfSeveralBoots(t *testing.T) {
	log := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "mode", Kind: schemas.Text, Time: []int64{0, 10}, Boot: []int32{0, 1}, Text: []string{"old", "new"}},
		{Name: "v", Kind: schemas.Float64, Time: []int64{5, 30}, Boot: []int32{0, 1}, Float: []float64{1, 2}},
	}}
	out := Stretch(log, 20, 40, 40, nil)
	assert.Equal(t, []string{"new"}, out.Find("mode").Text)
	assert.Equal(t, []int32{1}, out.Find("mode").Boot)
	old := Stretch(log, 2, 6, 40, nil)
	assert.Equal(t, []string{"old"}, old.Find("mode").Text)
}

// At every moment of a stretch a signal that holds has the value that it has in the whole log.
func TestWhatIsHeldIsKnownThroughout(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := &schemas.Signal{Name: "n", Kind: schemas.Int64}
		for i, at := range rapid.SliceOfNDistinct(rapid.Int64Range(0, 40), 1, 10, rapid.ID[int64]).Draw(t, "times") {
			s.Time, s.Int = append(s.Time, at), append(s.Int, int64(i))
		}
		log := &schemas.Log{Signals: []*schemas.Signal{s}}
		log.Normalize()
		first, last := rapid.Int64Range(-5, 45).Draw(t, "first"), rapid.Int64Range(-5, 45).Draw(t, "last")
		out := Stretch(log, first, last, math.MaxInt64, nil)
		cut := out.Find("n")
		for at := first; at <= last; at++ {
			want, known := valueAt(log.Find("n"), at)
			got, here := int64(0), false
			if cut != nil {
				got, here = valueAt(cut, at)
			}
			require.Equal(t, known, here, "at %d", at)
			require.Equal(t, want, got, "at %d", at)
		}
	})
}

func valueAt(s *schemas.Signal, t int64) (int64, bool) {
	i, found := slices.BinarySearch(s.Time, t)
	if !found {
		i--
	}
	if i < 0 {
		return 0, false
	}
	return s.Int[i], true
}
