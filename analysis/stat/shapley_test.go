package stat

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"pgregory.net/rapid"
)

// Source: Littlechild and Owen, "A simple expression for the Shapley value in a special
// case", Management Science 20 (1973): a runway as long as the largest aircraft needs.
func TestShapleyOfTheAirport(t *testing.T) {
	costs := []float64{8, 11, 13, 18}
	got := Shapley(4, func(set uint) float64 {
		most := 0.0
		for i, c := range costs {
			if set>>i&1 == 1 {
				most = max(most, c)
			}
		}
		return most
	})
	assert.InDeltaSlice(t, []float64{2, 3, 4, 9}, got, 1e-12)
}

func TestShapleyOfTooFewOrTooMany(t *testing.T) {
	one := func(set uint) float64 { return float64(set) }
	assert.Nil(t, Shapley(0, one))
	assert.Nil(t, Shapley(21, one))
	assert.Equal(t, []float64{1}, Shapley(1, one))
}

// Against the definition, every order of the players; all is shared out; players that never
// add get nothing, twins get alike.
func TestShapleyAgainstAllOrders(t *testing.T) {
	rapid.Check(t, func(rt *rapid.T) {
		n := rapid.IntRange(1, 6).Draw(rt, "n")
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(rt, "seed"), 1))
		values := make([]float64, 1<<n)
		for set := range values {
			values[set] = r.NormFloat64()
			if set>>(n-1)&1 == 1 { // the last one never adds anything
				values[set] = values[set&^(1<<(n-1))]
			}
		}
		got := Shapley(n, func(set uint) float64 { return values[set] })
		want, orders := make([]float64, n), 0.0
		var walk func(set uint)
		walk = func(set uint) {
			if bits.OnesCount(set) == n {
				orders++
			}
			for i := range n {
				if set>>i&1 == 0 {
					before := orders
					walk(set | 1<<i)
					want[i] += (orders - before) * (values[set|1<<i] - values[set])
				}
			}
		}
		walk(0)
		sum := 0.0
		for i := range n {
			sum += got[i]
			if math.Abs(got[i]-want[i]/orders) > 1e-9 {
				rt.Fatalf("%v, want %v of %g", got, want, orders)
			}
		}
		if math.Abs(sum-(values[1<<n-1]-values[0])) > 1e-9 || math.Abs(got[n-1]) > 1e-12 {
			rt.Fatalf("%v of %v", got, values)
		}
		amps := []float64{80, 30, 80, 12}
		twins := Shapley(4, func(set uint) float64 {
			total := -100.0
			for i, a := range amps {
				total += a * float64(set>>i&1)
			}
			return max(0, total)
		})
		if math.Abs(twins[0]-twins[2]) > 1e-12 || slices.Min(twins) < 0 {
			rt.Fatalf("%v", twins)
		}
	})
}

func BenchmarkShapley(b *testing.B) {
	for b.Loop() {
		Shapley(12, func(set uint) float64 { return float64(bits.OnesCount(set)) })
	}
}
