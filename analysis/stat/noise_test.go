package stat

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func TestDespike(t *testing.T) {
	for _, c := range []struct {
		name    string
		in, out []float64
	}{
		{"one sample", []float64{0, 0, 0, 9, 0, 0, 0}, []float64{0, 0, 0, 0, 0, 0, 0}},
		{"two samples", []float64{0, 0, 0, 9, 7, 0, 0}, []float64{0, 0, 0, 0, 0, 0, 0}},
		{"two samples of opposite sign", []float64{0, 0, 0, 9, -9, 0, 0}, []float64{0, 0, 0, 0, 0, 0, 0}},
		{"downwards, on a slope", []float64{1, 2, 3, -6, 5, 6, 7}, []float64{1, 2, 3, 4, 5, 6, 7}},
		{"three samples are no spike", []float64{0, 0, 0, 0, 9, 9, 9, 0, 0, 0, 0}, []float64{0, 0, 0, 0, 9, 9, 9, 0, 0, 0, 0}},
		{"a step is no spike", []float64{0, 0, 0, 0, 9, 9, 9, 9}, []float64{0, 0, 0, 0, 9, 9, 9, 9}},
		{"a ramp is no spike", []float64{0, 0, 0, 3, 6, 9, 9}, []float64{0, 0, 0, 3, 6, 9, 9}},
		{"at the ends", []float64{9, 0, 0, 0, 0, 0, 0, 0, 9, 9}, make([]float64, 10)},
		{"next to the ends", []float64{0, 9, 0, 0, 0, 0, 0, 9, 9, 0}, make([]float64, 10)},
		{"a curve's ends", []float64{16, 9, 4, 1, 0, 1, 4, 9, 16}, []float64{16, 9, 4, 1, 0, 1, 4, 9, 16}},
		{"too short to judge", []float64{0, 9, 0}, []float64{0, 9, 0}},
		{"nothing", nil, nil},
	} {
		times := make([]int64, len(c.in))
		for i := range times {
			times[i] = int64(i) * 20_000
		}
		kept := append([]float64(nil), c.in...)
		require.Equal(t, c.out, Despike(times, c.in, 0), c.name)
		require.Equal(t, kept, c.in, "%s: the argument is not changed", c.name)
	}
}

func TestDespikeNeedsSixStandardDeviations(t *testing.T) {
	times := []int64{0, 1, 2, 3, 4, 5, 6}
	require.Equal(t, 6.0, Despike(times, []float64{0, 0, 0, 6, 0, 0, 0}, 1)[3])
	require.Equal(t, 0.0, Despike(times, []float64{0, 0, 0, math.Nextafter(6, 7), 0, 0, 0}, 1)[3])
}

// A swing is not clipped, at any phase, down to six samples a period.
func TestDespikeLeavesSwingsAlone(t *testing.T) {
	for _, perPeriod := range []float64{6.1, 7.3, 20, 400} {
		for phase := 0.0; phase < 6.3; phase += 0.1 {
			times, v := make([]int64, 60), make([]float64, 60)
			for i := range v {
				times[i] = int64(i) * 1000
				v[i] = 12 * math.Cos(2*math.Pi*float64(i)/perPeriod+phase)
			}
			require.Equal(t, v, Despike(times, v, 0), "%g samples a period, phase %g", perPeriod, phase)
		}
	}
}

func TestNoiseIsThatOfTheSensorNotOfTheMotion(t *testing.T) {
	random := rand.New(rand.NewPCG(7, 1))
	for _, want := range []float64{0, 0.1, 1} {
		var times []int64
		var v []float64
		at := int64(0)
		for range 3000 {
			at += 10_000 + random.Int64N(20_000) // 33 to 100 a second, irregular
			s := float64(at) / 1e6
			times = append(times, at)
			v = append(v, 12*math.Cos(2*math.Pi*1.2*s)+3*s+want*random.NormFloat64())
		}
		got := Noise(times, v)
		require.InDelta(t, want, got, 0.08*want+0.01)
	}
	require.Zero(t, Noise([]int64{1, 2, 3}, []float64{5, 1, 9}), "too few samples to tell")
}

// Whatever the steps before it, seven samples are as rough as they are alone, to the bit.
func TestRoughnessIsThatOfEachSevenAlone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		times := []int64{0}
		for range rapid.IntRange(1, 5).Draw(t, "stretches") {
			step, jitter := rapid.Int64Range(1, 20_000).Draw(t, "step"), rapid.Int64Range(1, 3).Draw(t, "jitter")
			for k := range rapid.Int64Range(1, 12).Draw(t, "samples") {
				times = append(times, times[len(times)-1]+step+k%jitter)
			}
		}
		v := rapid.SliceOfN(rapid.Float64Range(-9, 9), len(times), len(times)).Draw(t, "v")
		rough := Roughness(times, v)
		for i := 0; i+7 <= len(v); i++ {
			if want := Roughness(times[i:i+7], v[i:i+7])[3]; rough[i+3] != want {
				t.Fatalf("sample %d of %v at %v: %v, alone %v", i+3, v, times, rough[i+3], want)
			}
		}
		other := rapid.SliceOfN(rapid.Float64Range(-9, 9), len(times), len(times)).Draw(t, "other")
		if both := Noises(times, v, other); both[0] != Noise(times, v) || both[1] != Noise(times, other) {
			t.Fatalf("%v and %v at %v: noises %v, alone %v and %v", v, other, times, both, Noise(times, v), Noise(times, other))
		}
	})
}

// The peer copies the readings.
func BenchmarkNoise(b *testing.B) {
	for name, jitter := range map[string]int64{"even": 1, "uneven": 100} {
		r := rand.New(rand.NewPCG(1, 2))
		times, v := make([]int64, 30_000), make([]float64, 30_000)
		for i := range v {
			times[i], v[i] = 5000*int64(i)+r.Int64N(jitter), r.NormFloat64()
		}
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				Noise(times, v)
			}
		})
	}
	b.Run("peer", func(b *testing.B) {
		from, to := make([]float64, 30_000), make([]float64, 30_000)
		for b.Loop() {
			copy(to, from)
		}
	})
}
