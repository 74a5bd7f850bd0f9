package balance

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// loopLog is an attempt whose platform swings under a loop alone, of wn 5 rad/s.
func loopLog(l answer, lengthS float64, w sensor) logged {
	s := &scene{}
	r := rand.New(rand.NewPCG(8, 8))
	s.onFloor(r, 6)
	s.climb(11, 0.4, 0.6, 0.3)
	l.plant = 800
	l.kp *= 25 / l.plant // kp 1 is wn 5 rad/s
	l.kd *= 25 / l.plant
	s.swingUnder(l, lengthS)
	return s.log(r, w)
}

func TestDiagnosis(t *testing.T) {
	quiet, noisy := sensor{rate: 100, drive: true}, sensor{rate: 50, noise: 0.3, jitter: 0.2, spikes: 0.002, drive: true}
	for _, c := range []struct {
		name              string
		loop              answer
		lengthS           float64
		zeta              float64 // NaN: must not be told
		diagnosis, advice string
	}{
		{
			"in proportion, no damping at all",
			answer{kp: 1, limit: 1},
			10, 0,
			"proportional only: answers the tilt but not its rate", "gain",
		},
		{"in proportion, late", answer{kp: 1, delayS: 0.02, limit: 1}, 5, -0.05, "swings grow", "gain"},
		{
			"with some rate",
			answer{kp: 1, kd: 0.05, limit: 1},
			10, 0.125,
			"too little damping: swings past level again and again", "gain",
		},
		{"with enough rate", answer{kp: 1, kd: 0.28, limit: 1}, 10, 0.7, "well damped", ""},
		{"at its limit", answer{kp: 1, limit: 0.15}, 10, math.NaN(), "saturation: swings of constant size", "look for slack"},
	} {
		for _, w := range []sensor{quiet, noisy} {
			t.Run(fmt.Sprintf("%s, noise %g", c.name, w.noise), func(t *testing.T) {
				got := Detect(loopLog(c.loop, c.lengthS, w).in, DefaultConfig()).Balances
				require.Len(t, got, 1)
				b := got[0]
				require.Contains(t, b.Diagnosis, c.diagnosis)
				if c.advice == "" {
					require.Empty(t, b.Advice)
				} else {
					require.Contains(t, b.Advice, c.advice)
				}
				if math.IsNaN(c.zeta) {
					require.Nil(t, b.DampingRatio)
					require.Nil(t, b.NaturalHz)
					require.Nil(t, b.Model)
					return
				}
				require.NotNil(t, b.DampingRatio)
				require.InDelta(t, c.zeta, *b.DampingRatio, 0.01+0.1*w.noise)
				require.InDelta(t, 5/(2*math.Pi), *b.NaturalHz, 0.02+0.2*w.noise)
				require.Less(t, b.Model.ErrorDeg, 0.1+1.5*w.noise)
			})
		}
	}
}

// Damping and frequency of stiff platforms over the whole range, and the share of the
// 95 % intervals that hold the truth.
func TestDampingIsTold(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2031))
	told, within, worst := 0, 0, 0.0
	const n = 120
	for i := range n {
		zeta, wn := 0.05+0.6*r.Float64(), 2*math.Pi*(0.3+1.1*r.Float64())
		noise := []float64{0, 0.2, 0.5}[i%3]
		s := &scene{}
		s.onFloor(r, 6)
		s.climb(9+5*r.Float64(), 0.4, 0.3+r.Float64(), 0.3)
		s.swingOut(zeta, wn, r.Float64()-0.5, 0, 30, 12)
		in := s.log(r, sensor{rate: []float64{20, 50, 200}[r.IntN(3)], noise: noise, jitter: 0.2, drive: true}).in
		b := Detect(in, DefaultConfig()).Balances[0]
		if b.DampingRatio == nil {
			continue
		}
		told++
		off := math.Abs(*b.DampingRatio - zeta)
		worst = max(worst, off)
		if off < 0.02+0.05*noise && math.Abs(*b.NaturalHz*2*math.Pi/wn-1) < 0.02+0.1*noise {
			within++
		}
	}
	t.Logf("told in %d of %d, near the truth in %d, worst damping error %.3f", told, n, within, worst)
	require.Greater(t, told, n*9/10)
	require.Greater(t, within, told*9/10)
	require.Less(t, worst, 0.12)
}

// A driver, no loop, no swing: nothing is claimed about damping.
func TestNoSwingNoDamping(t *testing.T) {
	s := &scene{}
	r := rand.New(rand.NewPCG(8, 8))
	s.onFloor(r, 6)
	s.climb(11, 0.4, 1.5, 0.3)
	for i := range 1500 {
		s.add(11*math.Exp(-float64(i)*simStep/0.4), 0, 0)
	}
	for range 1500 {
		s.add(0, 0, 0)
	}
	for _, noise := range []float64{0, 0.3} {
		b := Detect(s.log(r, sensor{rate: 50, noise: noise, drive: true}).in, DefaultConfig()).Balances
		require.Len(t, b, 1)
		require.Nil(t, b[0].DampingRatio)
		require.Equal(t, "comes to level without a swing", b[0].Diagnosis)
		require.Empty(t, b[0].Advice)
	}
}

func TestTheSensorsZero(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	s := &scene{}
	s.onFloor(r, 10)
	s.climb(11, 0.4, 1, 0.3)
	s.swingOut(0.2, 5, 0, 0, 30, 10)
	plain := s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100, noise: 0.2, drive: true})
	off := s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100, noise: 0.2, bias: 1.3, drive: true})
	want := Detect(plain.in, DefaultConfig())
	got := Detect(off.in, DefaultConfig())
	require.Empty(t, want.Notes)
	require.Equal(t, []string{"imu/pitch reads 1.3° on the floor: taken as its zero here; an offset in the profile corrects it everywhere"}, got.Notes)
	require.Len(t, got.Balances, 1)
	require.InDelta(t, want.Balances[0].StartS, got.Balances[0].StartS, 0.021)
	require.InDelta(t, *want.Balances[0].SettleS, *got.Balances[0].SettleS, 0.021)
	require.Equal(t, want.Balances[0].Overshoots, got.Balances[0].Overshoots)
	for i, s := range want.Balances[0].Swings {
		require.InDelta(t, s.Tilt+1.3, got.Balances[0].Swings[i].Tilt, 0.05, "swings are in the tilt as logged")
	}
	require.InDelta(t, want.Balances[0].Model.OffsetDeg+1.3, got.Balances[0].Model.OffsetDeg, 0.05)

	// Too little floor, or a tilt without noise: taken as it is.
	late := Input{
		Tilt: off.in.Tilt.Between(7_000_000, 100_000_000), Drive: off.in.Drive, MountDeg: 6, LevelDeg: 2.5, HoldS: 1, End: off.in.End,
	}
	require.Empty(t, Detect(late, DefaultConfig()).Notes)
	exact := s.log(r, sensor{rate: 100, bias: 1.3, drive: true})
	require.Empty(t, Detect(exact.in, DefaultConfig()).Notes)
}

func TestAZeroThatDrifts(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 9))
	s := &scene{}
	s.onFloor(r, 60)
	s.climb(11, 0.4, 1, 0.3)
	s.swingOut(0.2, 2.5, 0, 0, 30, 10)
	plain := s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100, noise: 0.2, drive: true})
	drifting := s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100, noise: 0.2, drive: true})
	for i, at := range drifting.in.Tilt.T {
		drifting.in.Tilt.V[i] += 0.6 + 1.2*seconds(at)/60
	}
	want, got := Detect(plain.in, DefaultConfig()), Detect(drifting.in, DefaultConfig())
	require.Empty(t, want.Notes)
	require.Len(t, got.Notes, 1)
	require.Regexp(t, `^imu/pitch reads 1\.8° on the floor and drifts by 1\.2° a minute there`, got.Notes[0])
	require.Len(t, got.Balances, 1)
	require.InDelta(t, want.Balances[0].StartS, got.Balances[0].StartS, 0.021)
	require.InDelta(t, *want.Balances[0].SettleS, *got.Balances[0].SettleS, 0.05)

	// A tilt that changes from one moment to the next is no drift, and one of a parked robot on a slope no zero.
	parked := s.log(rand.New(rand.NewPCG(1, 1)), sensor{rate: 100, noise: 0.2, drive: true})
	for i, at := range parked.in.Tilt.T {
		if at < 20_000_000 {
			parked.in.Tilt.V[i] += 7
		}
	}
	require.Empty(t, Detect(parked.in, DefaultConfig()).Notes)
}

func TestTheZeroIsToldAgainOnceTheRobotIsBackOnTheFloor(t *testing.T) {
	cfg := DefaultConfig()
	drift := func(at int64) float64 { return 0.5 + 1.5*seconds(at)/60 }
	tr := trace{noise: 0.1}
	for at := int64(0); at < 100_000_000; at += 20_000 {
		tr.t, tr.raw, tr.v = append(tr.t, at), append(tr.raw, drift(at)), append(tr.v, 0)
	}
	all := []attempt{{startT: 40_000_000, endT: 45_000_000, outcome: schemas.BalanceLeft}, {startT: 90_000_000}}
	in := Input{MountDeg: 6, LevelDeg: 2.5}
	first, ok := zeroBefore(tr, all, 0, in, cfg)
	require.True(t, ok)
	second, ok := zeroBefore(tr, all, 1, in, cfg)
	require.True(t, ok)
	for _, z := range []zero{first, second} {
		deg, _ := z.at(z.last + 5_000_000)
		require.InDelta(t, drift(z.last+5_000_000), deg, 0.02)
	}
	all[0].outcome, all[1].startT = schemas.BalanceLevel, 60_000_000
	_, ok = zeroBefore(tr, all, 1, in, cfg)
	require.False(t, ok, "it stood on the platform")
}

// The real thing moves anyhow: jerks, whole turns, long silences, samples in bursts. What
// comes back must be in order and in the log, and finite.
func TestAbsurdTiltsGiveNoAbsurdities(t *testing.T) {
	r := rand.New(rand.NewPCG(4, 4))
	for i := range 60 {
		in := Input{Tilt: &series.Float{Name: "imu/pitch"}, MountDeg: 6, LevelDeg: 2.5, HoldS: 1}
		at, v := int64(-5_000_000), 0.0
		for range 400 {
			at += 1 + r.Int64N(int64(math.Pow(10, 3+3*r.Float64())))
			switch i % 4 {
			case 0:
				v += 5 * r.NormFloat64()
			case 1:
				v = 180 * (2*r.Float64() - 1)
			case 2:
				v = math.Copysign(1e6, r.Float64()-0.5)
			case 3:
				v = float64(r.IntN(2) * 10)
			}
			in.Tilt.T, in.Tilt.V = append(in.Tilt.T, at), append(in.Tilt.V, v)
		}
		in.Start, in.End = in.Tilt.T[0], at
		in.Drive = &series.Float{T: in.Tilt.T, V: in.Tilt.V}
		last := math.Inf(-1)
		for _, b := range Detect(in, DefaultConfig()).Balances {
			require.GreaterOrEqual(t, b.StartS, last)
			require.GreaterOrEqual(t, b.EndS, b.StartS)
			require.LessOrEqual(t, b.EndS, seconds(in.End))
			require.Equal(t, b.Outcome == schemas.BalanceLevel, b.SettleS != nil)
			require.Len(t, b.Swings, b.Overshoots)
			last = b.EndS
			if b.Model != nil {
				for _, x := range []float64{b.Model.OffsetDeg, b.Model.AmplitudeDeg, b.Model.PhaseRad, b.Model.WnRadS, b.Model.Zeta, b.Model.ErrorDeg} {
					require.False(t, math.IsNaN(x) || math.IsInf(x, 0))
				}
			}
		}
	}
}

// A gyro of another sign, unit or axis must not be believed, and does no harm.
func TestAGyroThatDisagreesIsNotBelieved(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	s := &scene{}
	s.onFloor(r, 6)
	s.climb(11, 0.4, 1, 0.3)
	s.swingOut(0.2, 5, 0, 0, 30, 8)
	in := s.log(r, sensor{rate: 100, noise: 0.3, drive: true, gyro: true}).in
	cfg := DefaultConfig()
	_, agrees := turnedBy(in.Rate, clean(in.Tilt, nil, 0, cfg), cfg)
	require.True(t, agrees)
	without := in
	without.Rate = nil
	want := Detect(without, cfg).Balances
	for name, change := range map[string]func(v float64) float64{
		"sign": func(v float64) float64 { return -v },
		"unit": func(v float64) float64 { return v * math.Pi / 180 },
		"axis": func(float64) float64 { return 3 * r.NormFloat64() },
	} {
		wrong := &series.Float{Name: in.Rate.Name, T: in.Rate.T}
		for _, v := range in.Rate.V {
			wrong.V = append(wrong.V, change(v))
		}
		_, agrees := turnedBy(wrong, clean(in.Tilt, nil, 0, cfg), cfg)
		require.False(t, agrees, name)
		with := in
		with.Rate = wrong
		got := Detect(with, cfg).Balances
		require.Len(t, got, 1)
		require.Equal(t, want[0].StartS, got[0].StartS, name)
		require.Equal(t, want[0].EndS, got[0].EndS, name)
	}
	silent := in
	silent.Rate = in.Rate.Between(0, 7_000_000)
	require.Equal(t, want[0].EndS, Detect(silent, cfg).Balances[0].EndS)
}
