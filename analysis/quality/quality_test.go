package quality

import (
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// sampled is a signal at a rate over a number of seconds, its values by f(seconds).
func sampled(name string, hz, seconds float64, f func(s float64) float64) *schemas.Signal {
	s := &schemas.Signal{Name: name, Kind: schemas.Float64}
	for i := 0; i < int(hz*seconds); i++ {
		at := float64(i) / hz
		s.Time, s.Float = append(s.Time, schemas.Micros(at)), append(s.Float, f(at))
	}
	return s
}

func without(s *schemas.Signal, from, to float64) *schemas.Signal {
	out := &schemas.Signal{Name: s.Name, Kind: s.Kind}
	for i, t := range s.Time {
		if x := schemas.Seconds(t); x > from && x < to {
			continue
		}
		out.Time, out.Float = append(out.Time, t), append(out.Float, s.Float[i])
	}
	return out
}

func noise(seed uint64) func(float64) float64 {
	r := rand.New(rand.NewPCG(seed, 1))
	return func(float64) float64 { return 12 + 0.05*r.NormFloat64() }
}

func detect(signals []*schemas.Signal, mapped ...Mapped) schemas.Quality {
	log := &schemas.Log{Signals: signals}
	log.Normalize()
	return Detect(Input{Log: log, Mapped: mapped, Periods: []schemas.Period{{Name: "driver", StartS: 0, EndS: 1000}}}, DefaultConfig())
}

func kinds(faults []schemas.Fault) []string {
	out := []string{}
	for _, f := range faults {
		out = append(out, f.Signal+" "+f.Kind)
	}
	return out
}

func TestGaps(t *testing.T) {
	a, b := noise(1), noise(2)
	t.Run("one signal stops", func(t *testing.T) {
		q := detect([]*schemas.Signal{without(sampled("a", 50, 20, a), 5, 5.5), sampled("b", 50, 20, b)})
		require.Len(t, q.Gaps, 1)
		assert.Equal(t, schemas.Gap{Signal: "a", StartS: 5, EndS: 5.5}, q.Gaps[0])
	})
	t.Run("everything stops, said once", func(t *testing.T) {
		q := detect([]*schemas.Signal{without(sampled("a", 50, 20, a), 5, 6), without(sampled("b", 20, 20, b), 5, 6)})
		require.Len(t, q.Gaps, 1)
		assert.Equal(t, schemas.Gap{StartS: 5, EndS: 6}, q.Gaps[0])
	})
	t.Run("single lost samples are no gap", func(t *testing.T) {
		q := detect([]*schemas.Signal{without(sampled("a", 50, 20, a), 4.97, 4.99)})
		assert.Empty(t, q.Gaps)
	})
	t.Run("a signal logged on change has no gaps", func(t *testing.T) {
		on := &schemas.Signal{Name: "score", Kind: schemas.Float64, Time: []int64{0, 3e6, 3.1e6, 14e6, 19e6}, Float: []float64{0, 1, 2, 3, 4}}
		q := detect([]*schemas.Signal{sampled("a", 50, 20, a), on})
		assert.Empty(t, q.Gaps)
	})
}

func TestMissingIsListedOnce(t *testing.T) {
	q := detect([]*schemas.Signal{sampled("a", 50, 5, noise(1))},
		Mapped{Signal: "b", Role: "power.voltage"}, Mapped{Signal: "b", Role: "balance.tilt"}, Mapped{Signal: "a"})
	assert.Equal(t, []string{"b"}, q.Missing)
}

func TestFaults(t *testing.T) {
	restless := Mapped{Signal: "v", Role: "power.voltage", Restless: true}
	t.Run("dead", func(t *testing.T) {
		q := detect([]*schemas.Signal{sampled("v", 50, 20, func(float64) float64 { return 0 })}, restless)
		assert.Equal(t, []string{"v dead"}, kinds(q.Faults))
	})
	t.Run("frozen", func(t *testing.T) {
		live := noise(3)
		v := sampled("v", 50, 30, live)
		for i := 500; i < 700; i++ {
			v.Float[i] = v.Float[500]
		}
		q := detect([]*schemas.Signal{v}, restless)
		require.Equal(t, []string{"v frozen"}, kinds(q.Faults))
		assert.InDelta(t, 10, q.Faults[0].StartS, 0.021)
		assert.InDelta(t, 14, q.Faults[0].EndS, 0.021)
	})
	t.Run("coarse readings that often repeat are not frozen", func(t *testing.T) {
		live := noise(4)
		v := sampled("v", 50, 60, func(s float64) float64 { return math.Round(live(s)*8)/8 + math.Round(math.Sin(s/4)) })
		assert.Empty(t, detect([]*schemas.Signal{v}, restless).Faults)
	})
	t.Run("a log without noise is still by itself", func(t *testing.T) {
		v := sampled("v", 50, 60, func(s float64) float64 {
			if s > 45 {
				return 12 * math.Exp(45-s)
			}
			return 0.2
		})
		w := sampled("w", 50, 60, func(s float64) float64 {
			return 12.5 - 2.5*math.Floor(math.Mod(s/7, 2)) - math.Floor(math.Mod(s, 1)+0.3)
		})
		assert.Empty(t, detect([]*schemas.Signal{v, w}, restless, Mapped{Signal: "w", Restless: true}).Faults)
	})
	t.Run("no reading", func(t *testing.T) {
		v := sampled("v", 50, 20, noise(5))
		v.Float[100], v.Float[101], v.Float[102] = math.NaN(), math.Inf(1), math.NaN()
		q := detect([]*schemas.Signal{v})
		require.Equal(t, []string{"v no reading"}, kinds(q.Faults))
		assert.Equal(t, [2]float64{2, 2.06}, [2]float64{q.Faults[0].StartS, q.Faults[0].EndS})
	})
	t.Run("a reading that leaves its own past", func(t *testing.T) {
		live := noise(6)
		v := sampled("v", 50, 60, func(s float64) float64 {
			if s >= 30 && s < 33 {
				return live(s) + 10
			}
			return live(s) + s/100
		})
		q := detect([]*schemas.Signal{v})
		require.Equal(t, []string{"v outlier"}, kinds(q.Faults))
		assert.InDelta(t, 30, q.Faults[0].StartS, 0.021)
		assert.InDelta(t, 33, q.Faults[0].EndS, 0.021)
	})
	t.Run("a place on the field that is driven to once is no outlier", func(t *testing.T) {
		live := noise(6)
		v := sampled("v", 50, 60, func(s float64) float64 {
			place := 1.5 + 0.5*max(0, math.Sin(s)-0.5) // stands, and goes to and fro at up to 0.4 m/s
			place += 4 * min(1, max(0, (s-50)/4))      // and once elsewhere, at 1 m/s
			return place + 0.01*live(s)
		})
		assert.Empty(t, detect([]*schemas.Signal{v}).Faults)
	})
	t.Run("a supply that dips again and again is no outlier", func(t *testing.T) {
		live := noise(7)
		r := rand.New(rand.NewPCG(8, 8))
		sag, depth := 0.0, 0.0
		v := sampled("v", 50, 150, func(s float64) float64 {
			if r.Float64() < 0.01 {
				depth = 5 * r.Float64()
			}
			if r.Float64() < 0.03 {
				depth = 0
			}
			sag += (depth - sag) / 5
			return live(s) - sag
		})
		assert.Empty(t, detect([]*schemas.Signal{v}, restless).Faults)
	})
}

// A logger that writes what has changed leaves a coarse reading out while it rests.
func TestALogOfChangesHasNoGapsWhereNothingChanged(t *testing.T) {
	live := noise(12)
	every := sampled("v", 50, 60, func(s float64) float64 {
		if math.Mod(s, 6) < 1 {
			return 0
		}
		return math.Round(64*live(s)) / 64
	})
	changes := &schemas.Signal{Name: "v", Kind: every.Kind}
	for i, v := range every.Float {
		if i == 0 || v != every.Float[i-1] {
			changes.Time, changes.Float = append(changes.Time, every.Time[i]), append(changes.Float, v)
		}
	}
	beside := sampled("w", 50, 60, noise(13)) // so that the log as a whole goes on
	assert.Empty(t, detect([]*schemas.Signal{changes, beside}).Gaps)
	assert.Len(t, detect([]*schemas.Signal{without(every, 30, 31), beside}).Gaps, 1)
}

func TestQuietPaddingAndShiftChangeNothing(t *testing.T) {
	v := without(sampled("v", 50, 30, noise(9)), 5, 6)
	w := sampled("w", 50, 30, noise(10))
	base := detect([]*schemas.Signal{v, w})
	require.Len(t, base.Gaps, 1)
	for _, s := range []*schemas.Signal{v, w} {
		for i := range s.Time {
			s.Time[i] += 7_000_001
		}
	}
	moved := detect([]*schemas.Signal{w, v}) // the order of signals is no matter either
	require.Len(t, moved.Gaps, 1)
	assert.InDelta(t, base.Gaps[0].StartS+7.000001, moved.Gaps[0].StartS, 1e-9)
	assert.Equal(t, base.Gaps[0].Signal, moved.Gaps[0].Signal)
}

func BenchmarkDetect(b *testing.B) {
	log := &schemas.Log{}
	for i := range 40 {
		log.Signals = append(log.Signals, sampled(string(rune('a'+i%26))+string(rune('0'+i/26)), 200, 150, noise(uint64(i))))
	}
	log.Normalize()
	b.ReportAllocs()
	for b.Loop() {
		Detect(Input{Log: log}, DefaultConfig())
	}
	b.ReportMetric(float64(log.Samples())*float64(b.N)/b.Elapsed().Seconds()/1e6, "Msamples/s")
}
