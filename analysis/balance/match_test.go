package balance

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
)

// A whole match: up and level, down the other side, up again at the end.
func TestMatch(t *testing.T) {
	for _, w := range []sensor{
		{rate: 50, drive: true, pose: true},
		{rate: 50, noise: 0.3, drive: true},
		{rate: 200, noise: 0.5, spikes: 0.002, pose: true, gyro: true},
	} {
		got := Detect(matchLog(w).in, DefaultConfig()).Balances
		require.Len(t, got, 3)
		require.Equal(t, []string{"level", "left", "level"}, []string{got[0].Outcome, got[1].Outcome, got[2].Outcome})
		require.Equal(t, []int{2, 0, 9}, []int{got[0].Overshoots, got[1].Overshoots, got[2].Overshoots})
	}
}

// Seven to fifteen degrees for up to a quarter of a second, again and again, start nothing.
func TestBumpsInMidMatch(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 1))
	for _, noise := range []float64{0, 0.3, 1} {
		for _, rate := range []float64{20, 50, 200, 1000} {
			s := &scene{}
			s.onFloor(r, 10)
			for range 20 {
				lengthS, size := 0.1+0.15*r.Float64(), math.Copysign(7+8*r.Float64(), r.Float64()-0.5)
				for i := range int(lengthS / simStep) {
					s.add(size*math.Sin(math.Pi*float64(i)*simStep/lengthS), 0.4, 1)
				}
				s.onFloor(r, 0.5+2*r.Float64())
			}
			require.Empty(t, Detect(s.log(r, sensor{rate: rate, noise: noise, spikes: 0.005, drive: true}).in, DefaultConfig()).Balances)
		}
	}
}
