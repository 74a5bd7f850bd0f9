package sim

import (
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// Every scored cycle names where its piece came from and went, and both zones of each use occur.
func TestTruthNamesTheZones(t *testing.T) {
	t.Parallel()
	seen := map[string]int{}
	for seed := uint64(1); seed <= 2; seed++ {
		_, m := driven(t, seed, "two-pickups", "two-goals")
		for _, c := range m.Truth.Cycles {
			if c.Complete {
				assert.NotEmpty(t, c.Goal, "%+v", c)
				seen[c.Pickup]++
				seen[c.Goal]++
			}
		}
	}
	for _, name := range []string{"oven", "bin", "shelf", "stand"} {
		assert.Positive(t, seen[name], name)
	}
}

// What the truth says of lining up agrees with the plan of the trips and with the field: a piece
// that counts was placed within 0.3 m of its aim, and lining up took no longer than placing.
func TestTruthOfLiningUp(t *testing.T) {
	t.Parallel()
	w, m := driven(t, 5, "aim-assist")
	by := map[bool]int{}
	for _, c := range m.Truth.Cycles {
		if !c.Complete {
			assert.Nil(t, c.Align)
			continue
		}
		require.NotNil(t, c.Align)
		assert.Less(t, *c.Align.PlacedM, 0.3)
		if c.Align.AlignS != nil {
			assert.LessOrEqual(t, *c.Align.AlignS, *c.Phases.PlaceS)
			assert.LessOrEqual(t, *c.Align.PlacedM, goodM)
		}
		by[*c.Align.Assisted]++
	}
	assert.Positive(t, by[true])
	assert.Positive(t, by[false])
	assert.Len(t, w.field.let, by[true]+by[false], "one piece each")

	_, m = driven(t, 5, "no-aim")
	for _, c := range m.Truth.Cycles {
		assert.Nil(t, c.Align, "nothing in the log shows it")
	}
	assert.Nil(t, m.Truth.Placing)
}

// The medians by hand.
func TestTruthOfTheQuickerApproach(t *testing.T) {
	t.Parallel()
	of := func(assisted, byHand []float64) *schemas.Placing {
		r := &schemas.Report{}
		for i, all := range [][]float64{assisted, byHand} {
			for _, s := range all {
				by := i == 0
				r.Cycles = append(r.Cycles, schemas.Cycle{Period: schemas.PeriodDriver, Align: &schemas.Align{AlignS: schemas.Some(s), Assisted: &by}})
			}
		}
		return view{report: r}.placing()
	}
	quick := of([]float64{1, 2, 3}, []float64{2, 4, 9, 6})
	require.NotNil(t, quick)
	assert.Equal(t, -3.0, *quick.DifferenceS)
	assert.Equal(t, schemas.QuickerAssisted, quick.Quicker)
	assert.Equal(t, schemas.QuickerByHand, of([]float64{5, 6, 7}, []float64{2, 4, 3}).Quicker)
	assert.Nil(t, of([]float64{1, 2}, []float64{2, 4, 9, 6}), "two tell nothing")
}
