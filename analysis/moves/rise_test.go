package moves

import (
	"slices"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas/series"
)

func TestRise(t *testing.T) {
	cut := func(s *series.Float, from, to int64) *series.Float {
		i, j := series.From(s.T, from), series.From(s.T, to)
		s.T, s.V = slices.Delete(s.T, i, j), slices.Delete(s.V, i, j)
		return s
	}
	straight := line(1, 0, 2, 1) // 0.8 s from a tenth to nine tenths
	for _, c := range []struct {
		name     string
		position *series.Float
		from, to float64
		want     float64 // 0: none
	}{
		{"straight", sampled(50, 4, straight), 0, 1, 0.8},
		{"straight, sampled slowly", sampled(5, 4, straight), 0, 1, 0.8},
		{"downwards", sampled(50, 4, line(1, 3, 2, 1)), 3, 1, 0.8},
		{"sank back first", sampled(50, 4, func(s float64) float64 { return line(0, 0, 0.5, 0.2)(s) - line(0.5, 0, 1, 0.2)(s) + straight(s) }), 0, 1, 0.8},
		{"at once", sampled(50, 4, steps(0, 0, 1, 1)), 0, 1, 0.016},
		{"not that far", sampled(50, 4, line(1, 0, 2, 0.89)), 0, 1, 0},
		{"no way to go", sampled(50, 4, steps(0, 1, 2, 1.01)), 1, 1.01, 0},
		{"began on the way", sampled(50, 4, line(1, 0.5, 2, 1)), 0, 1, 0},
		{"silent on the way", cut(sampled(50, 4, straight), 1_200_000, 1_800_000), 0, 1, 0},
		{"silent as it came", cut(sampled(50, 4, straight), 1_500_000, 2_500_000), 0, 1, 0},
		{"a lost sample", cut(sampled(50, 4, straight), 1_200_000, 1_400_000), 0, 1, 0.8},
		{"nothing", &series.Float{}, 0, 1, 0},
	} {
		got := rise(c.position, c.from, c.to, 0.02, DefaultConfig())
		if c.want == 0 {
			require.Nil(t, got, c.name)
			continue
		}
		require.NotNil(t, got, c.name)
		require.InDelta(t, c.want, *got, 1e-9, c.name)
	}
}
