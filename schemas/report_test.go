package schemas_test

import (
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

func TestMedianCycleIsOfWholeDriverCycles(t *testing.T) {
	score := func(duration float64) schemas.Cycle {
		return schemas.Cycle{Kind: schemas.CycleScore, Period: schemas.PeriodDriver, Complete: true, DurationS: duration}
	}
	cut, auto, handover := score(1), score(2), score(3)
	cut.Complete, auto.Period, handover.Kind = false, schemas.PeriodAutonomous, schemas.CycleHandover
	for _, c := range []struct {
		cycles []schemas.Cycle
		want   *float64
	}{
		{nil, nil},
		{[]schemas.Cycle{cut, auto, handover}, nil},
		{[]schemas.Cycle{score(9)}, schemas.Some(9.0)},
		{[]schemas.Cycle{score(12), cut, score(9), auto, score(10), handover}, schemas.Some(10.0)},
		{[]schemas.Cycle{score(12), score(9), score(10), score(30)}, schemas.Some(11.0)},
	} {
		require.Equal(t, c.want, (&schemas.Report{Cycles: c.cycles}).MedianCycleS())
	}
}

func TestEnabledUntil(t *testing.T) {
	periods := []schemas.Period{{Name: schemas.PeriodAutonomous, StartS: 5, EndS: 20}, {Name: schemas.PeriodDriver, StartS: 20, EndS: 100}, {Name: schemas.PeriodDriver, StartS: 101, EndS: 150}}
	for atS, want := range map[float64]float64{4: 4, 5: 100, 19: 100, 99: 100, 100: 100, 100.5: 100.5, 120: 150, 160: 160} {
		require.Equal(t, want, schemas.EnabledUntil(periods, atS), "at %g s", atS)
	}
	require.Equal(t, 7.0, schemas.EnabledUntil(nil, 7))
}
