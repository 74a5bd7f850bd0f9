package ingest

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func TestMerge(t *testing.T) {
	a := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "b", Kind: schemas.Int64, Time: []int64{1, 2, 3}, Int: []int64{10, 20, 30}},
		{Name: "t", Kind: schemas.Text, Time: []int64{5}, Text: []string{"a"}},
	}}
	b := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "a", Kind: schemas.Bool, Time: []int64{4}, Bool: []bool{true}},
		{Name: "b", Unit: "V", Kind: schemas.Float64, Time: []int64{0, 2}, Boot: []int32{0, 1}, Float: []float64{0.5, 2.5}},
	}}
	c := &schemas.Log{Signals: []*schemas.Signal{
		{Name: "b", Kind: schemas.Int64, Time: []int64{3, 4}, Int: []int64{31, 41}},
		{Name: "t", Kind: schemas.Text, Time: []int64{5}, Text: []string{"b"}},
	}}
	merged, err := Merge(a, b, c)
	require.NoError(t, err)
	assert.Equal(t, []*schemas.Signal{
		{Name: "a", Kind: schemas.Bool, Time: []int64{4}, Bool: []bool{true}},
		{Name: "b", Unit: "V", Kind: schemas.Float64, Time: []int64{0, 1, 2, 3, 4, 2}, Boot: []int32{0, 0, 0, 0, 0, 1}, Float: []float64{0.5, 10, 20, 31, 41, 2.5}},
		{Name: "t", Kind: schemas.Text, Time: []int64{5}, Text: []string{"b"}},
	}, merged.Signals)

	assert.Equal(t, []int64{10, 20, 30}, a.Signals[0].Int, "the logs are not changed")
	clear(merged.Find("b").Float)
	assert.Equal(t, []float64{0.5, 2.5}, b.Signals[1].Float)

	none, err := Merge()
	require.NoError(t, err)
	assert.Zero(t, none.Samples())
}

func TestMergeRefuses(t *testing.T) {
	volts := &schemas.Log{Signals: []*schemas.Signal{{Name: "s", Unit: "V", Kind: schemas.Int64, Time: []int64{1}, Int: []int64{1}}}}
	millivolts := &schemas.Log{Signals: []*schemas.Signal{{Name: "s", Unit: "mV", Kind: schemas.Int64, Time: []int64{1}, Int: []int64{1}}}}
	text := &schemas.Log{Signals: []*schemas.Signal{{Name: "s", Kind: schemas.Text, Time: []int64{1}, Text: []string{"on"}}}}
	_, err := Merge(volts, millivolts)
	require.EqualError(t, err, "signal s is in V in one log and in mV in another; convert one of them first")
	_, err = Merge(text, volts)
	require.EqualError(t, err, "signal s is text in one log and int64 in another; give it one type first")
	_, err = Merge(volts, text)
	require.EqualError(t, err, "signal s is int64 in one log and text in another; give it one type first")
}
