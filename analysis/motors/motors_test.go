package motors

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// bench is a motor on a test bench, stepped a millisecond at a time: the equation of the
// detector with inertia, friction, a controller's limit and poor sensors around it.
type bench struct {
	ohm, vs    float64 // 0.3 and 0.35 when 0
	inertia    float64 // kg m² at the shaft, 0.005 when 0
	friction   float64 // N m
	limitA     float64 // of the controller
	volts      func(t float64) float64
	supplySide bool
	unsigned   bool
	zeroA      float64              // of the current sensor
	lagS       float64              // of the current sensor
	slips      func(t float64) bool // the encoder reads nothing
	noiseA     float64
	noiseW     float64
	seed       uint64
	everyMs    int
}

// act is what is done for some seconds.
type act struct {
	s, u float64
	load float64 // N m against the command
	held bool    // nothing turns
	cut  bool    // its wire is off
}

// run gives the motor and the supply as logged.
func (b bench) run(acts ...act) (Motor, *series.Float) {
	r := rand.New(rand.NewPCG(b.seed, 7))
	ohm, vs, inertia, every := 0.3, 0.35, 0.005, 20
	if b.ohm > 0 {
		ohm = b.ohm
	}
	if b.vs > 0 {
		vs = b.vs
	}
	if b.inertia > 0 {
		inertia = b.inertia
	}
	if b.everyMs > 0 {
		every = b.everyMs
	}
	command, current, speed, supplied := &series.Float{Name: "command"}, &series.Float{Name: "current"}, &series.Float{Name: "speed"}, &series.Float{Name: "volts"}
	w, seen, k := 0.0, 0.0, 0
	for _, a := range acts {
		command.T, command.V = append(command.T, int64(k)*1000), append(command.V, a.u)
		for range int(math.Round(a.s * 1000)) {
			t := float64(k) / 1000
			v := 12.0
			if b.volts != nil {
				v = b.volts(t)
			}
			i := (a.u*v - vs*w) / ohm
			if a.u == 0 || a.cut {
				i = 0 // it coasts
			}
			if b.limitA > 0 {
				i = max(-b.limitA, min(b.limitA, i))
			}
			torque := vs*i - b.friction*math.Tanh(w/0.3) - a.load*math.Copysign(1, a.u)*min(1, math.Abs(w)/0.3)
			if w += torque / inertia * 0.001; a.held {
				w = 0
			}
			shown := i
			if b.supplySide && i != 0 { // what goes into the motor comes from the supply, limited or not
				shown = i * (i*ohm + vs*w) / v
			}
			if b.unsigned {
				shown = math.Abs(shown)
			}
			if b.lagS > 0 {
				seen += (shown - seen) * (1 - math.Exp(-0.001/b.lagS))
				shown = seen
			}
			if k%every == 0 {
				at := int64(k) * 1000
				read := w
				if b.slips != nil && b.slips(t) {
					read = 0
				}
				current.T, current.V = append(current.T, at), append(current.V, shown+b.zeroA+b.noiseA*r.NormFloat64())
				speed.T, speed.V = append(speed.T, at), append(speed.V, read+b.noiseW*r.NormFloat64())
				supplied.T, supplied.V = append(supplied.T, at), append(supplied.V, v+0.02*r.NormFloat64())
			}
			k++
		}
	}
	return Motor{Name: "roller", Command: command, Current: current, Speed: speed}, supplied
}

// work is a minute of bouts with loads and commands that change.
func work(bouts int) []act {
	var out []act
	for k := range bouts {
		load := []float64{0.1, 0.8, 0.3, 1.5, 0.5}[k%5]
		out = append(out, act{s: 1, u: 0}, act{s: 1.5, u: []float64{0.9, 0.6, 0.75}[k%3], load: load}, act{s: 1, u: []float64{0.9, 0.6, 0.75}[k%3], load: 1 - load/2})
	}
	return append(out, act{s: 2})
}

func sound() bench { return bench{friction: 0.6, limitA: 40, noiseA: 0.15, noiseW: 0.1} }

func detect(t *testing.T, b bench, acts ...act) schemas.Motor {
	t.Helper()
	m, volts := b.run(acts...)
	return detectAll(t, volts, m)[0]
}

func detectAll(t *testing.T, volts *series.Float, m ...Motor) []schemas.Motor {
	t.Helper()
	out := Detect(Input{Motors: m, Voltage: volts, LeaveV: 7.4, Start: 0, End: m[0].Current.T[len(m[0].Current.T)-1]}, DefaultConfig())
	require.Len(t, out, len(m))
	return out
}

// Fitzgerald, Kingsley and Umans, Electric Machinery, 6th edition, the example of a d.c. motor
// with permanent magnets (from memory): armature 1.03 ohm; at 50 V without load 1.25 A and
// 2100 r/min, which gives 0.2215 V s/rad; at 48 V and 1700 r/min 8.317 A by that constant.
func TestTheMotorOfATextbook(t *testing.T) {
	const rpm = math.Pi / 30
	states := []struct{ u, amps, speed float64 }{{1, 1.25, 2100 * rpm}, {0.96, 8.316574, 1700 * rpm}}
	m := Motor{Name: "textbook", Command: &series.Float{}, Current: &series.Float{}, Speed: &series.Float{}}
	volts := &series.Float{}
	at := int64(0)
	for bout := range 20 {
		s := states[bout%2]
		for range 100 {
			m.Command.T, m.Command.V = append(m.Command.T, at), append(m.Command.V, s.u)
			m.Current.T, m.Current.V = append(m.Current.T, at), append(m.Current.V, s.amps)
			m.Speed.T, m.Speed.V = append(m.Speed.T, at), append(m.Speed.V, s.speed)
			volts.T, volts.V = append(volts.T, at), append(volts.V, 50)
			at += 20_000
		}
	}
	got := detectAll(t, volts, m)[0]
	require.NotNil(t, got.ResistanceOhm, got.Reason)
	assert.InEpsilon(t, 1.03, *got.ResistanceOhm, 1e-4)
	assert.InEpsilon(t, 0.2215096, *got.ConstantVS, 1e-6)
	assert.InDelta(t, 0, *got.StalledS, 0)
}

// Both are found through noise of both sensors, and over many benches their intervals hold
// the truth about as often as they say.
func TestResistanceAndConstant(t *testing.T) {
	held, told := 0, 0
	for seed := range uint64(40) {
		b := sound()
		b.seed, b.noiseA = seed, 0.5
		got := detect(t, b, work(16)...)
		require.NotNil(t, got.ResistanceOhm, got.Reason)
		assert.InEpsilon(t, 0.3, *got.ResistanceOhm, 0.1)
		assert.InEpsilon(t, 0.35, *got.ConstantVS, 0.01)
		told++
		if *got.ResistanceLowOhm <= 0.3 && 0.3 <= *got.ResistanceHighOhm {
			held++
		}
	}
	assert.GreaterOrEqual(t, held, 34, "of %d; 95 %% are 38", told)
}

func TestWhichSideTheCurrentIsOf(t *testing.T) {
	b := sound()
	assert.Equal(t, schemas.CurrentWinding, detect(t, b, work(16)...).Side)
	b.supplySide = true
	got := detect(t, b, work(16)...)
	assert.Equal(t, schemas.CurrentSupply, got.Side)
	require.NotNil(t, got.ResistanceOhm)
	assert.InEpsilon(t, 0.3, *got.ResistanceOhm, 0.1)

	one := work(16) // always at one command: nobody can tell, and the interval holds both
	for k := range one {
		if one[k].u > 0 {
			one[k].u = 0.8
		}
	}
	got = detect(t, b, one...)
	assert.Empty(t, got.Side)
	require.NotNil(t, got.ResistanceOhm, got.Reason)
	assert.Less(t, *got.ResistanceLowOhm, 0.3)
	assert.Greater(t, *got.ResistanceHighOhm, 0.3/0.8, "what it would be as the winding's")
}

// What the sensors may do without changing what is found.
func TestSensorsOfManyKinds(t *testing.T) {
	back := work(16)
	for k := range back {
		if k%6 == 1 {
			back[k].u = -back[k].u
			back[k+1].u = -back[k+1].u
		}
	}
	for name, change := range map[string]func(*bench, *Motor){
		"a zero that is off":            func(b *bench, _ *Motor) { b.zeroA = 1.5 },
		"a current that is late":        func(b *bench, _ *Motor) { b.lagS = 0.06 },
		"a current without sign":        func(b *bench, _ *Motor) { b.unsigned = true },
		"a current wired the other way": func(_ *bench, m *Motor) { m.Current.V = times(-1, m.Current.V) },
		"a speed wired the other way":   func(_ *bench, m *Motor) { m.Speed.V = times(-1, m.Speed.V) },
		"a speed without sign": func(_ *bench, m *Motor) {
			for k, v := range m.Speed.V {
				m.Speed.V[k] = math.Abs(v)
			}
		},
		"ten readings a second": func(b *bench, _ *Motor) { b.everyMs = 100 },
	} {
		t.Run(name, func(t *testing.T) {
			b := sound()
			change(&b, &Motor{Current: &series.Float{}, Speed: &series.Float{}})
			m, volts := b.run(back...)
			change(&bench{}, &m)
			got := detectAll(t, volts, m)[0]
			require.NotNil(t, got.ResistanceOhm, got.Reason)
			assert.InEpsilon(t, 0.3, *got.ResistanceOhm, 0.15)
			assert.InEpsilon(t, 0.35, *got.ConstantVS, 0.02)
			assert.Empty(t, got.Stalls)
			assert.Empty(t, got.Unpowered)
			assert.Empty(t, got.Idle)
		})
	}
}

func times(by float64, x []float64) []float64 {
	out := make([]float64, len(x))
	for k, v := range x {
		out[k] = by * v
	}
	return out
}

func TestAMotorHeldFast(t *testing.T) {
	for name, limit := range map[string]float64{"at its controller's limit": 18, "at what its resistance lets through": 0} {
		t.Run(name, func(t *testing.T) {
			b := sound()
			b.limitA = limit
			got := detect(t, b, append(work(12), act{s: 1, u: 0.9}, act{s: 1.2, u: 0.9, held: true}, act{s: 1, u: 0.9}, act{s: 2})...)
			require.Len(t, got.Stalls, 1)
			assert.InDelta(t, 1.2, *got.StalledS, 0.06)
			assert.InDelta(t, 12*3.5+2+1, got.Stalls[0].StartS, 0.06)
			want := 0.9 * 12 / 0.3
			if limit > 0 {
				want = limit
			}
			assert.InEpsilon(t, want, got.Stalls[0].MeanA, 0.05)
		})
	}
}

// A controller at its limit makes little voltage of much supply to hold a motor that stands: the
// supply gives I² R / V, here 18² 0.3 / 12 = 8.1 A, less than the motor takes to run under load.
func TestAMotorHeldFastAtALimitOfWhichTheSupplySeesLittle(t *testing.T) {
	b := sound()
	b.limitA, b.supplySide = 18, true
	m, volts := b.run(append(work(12), act{s: 1, u: 0.9}, act{s: 3, u: 0.9, held: true}, act{s: 1, u: 0.9}, act{s: 2})...)
	m.LimitA, m.TauS = 18, 3
	got := detectAll(t, volts, m)[0]
	require.Equal(t, schemas.CurrentSupply, got.Side)
	require.Len(t, got.Stalls, 1)
	assert.InDelta(t, 3, *got.StalledS, 0.1)
	assert.InEpsilon(t, 18*18*0.3/12, got.Stalls[0].MeanA, 0.05)
	// A time constant at the limit, from a little: 1 - e^-1 = 0.63.
	require.NotNil(t, got.Heat)
	assert.InDelta(t, 0.66, *got.Heat, 0.06)
}

// A piece that the crew fights for a minute keeps the motor standing for most of the time it is driven.
func TestAMotorHeldFastForMostOfItsDrive(t *testing.T) {
	acts := work(2)
	for range 60 {
		acts = append(acts, act{s: 1, u: 0.9, held: true}, act{s: 0.3}, act{s: 0.8, u: -0.8, held: true}, act{s: 0.3})
	}
	got := detect(t, sound(), acts...)
	require.NotNil(t, got.StalledS)
	assert.InEpsilon(t, 60*(1+0.8), *got.StalledS, 0.1)
	require.NotNil(t, got.FreeA)
	assert.Less(t, *got.FreeA, 6.0, "what it draws when it turns")
}

// Each is what the package comment says is none.
func TestLookAlikesStaySilent(t *testing.T) {
	mechanism := func(m Motor) Motor { // it is where it was sent
		m.Position, m.Within = &series.Float{T: m.Current.T, V: make([]float64, len(m.Current.T))}, 0.02
		m.Target = &series.Float{T: m.Current.T[:1], V: []float64{0.01}}
		return m
	}
	for name, c := range map[string]struct {
		change func(*bench)
		acts   []act
		make   func(Motor) Motor
	}{
		"a heavy mechanism gathers speed": {change: func(b *bench) { b.inertia, b.limitA = 0.25, 15 }, acts: work(12)},
		"a small command presses a piece": {acts: append(work(12), act{s: 4, u: 0.25, held: true}, act{s: 2})},
		"a lift holds where it was sent":  {acts: append(work(12), act{s: 4, u: 0.9, held: true}, act{s: 2}), make: mechanism},
		"a weak battery":                  {change: func(b *bench) { b.volts = func(t float64) float64 { return 10.5 + 1.2*math.Sin(t) } }, acts: work(16)},
		"a brownout": {
			change: func(b *bench) {
				b.volts = func(t float64) float64 {
					if t > 45.0 && t < 46.0 {
						return 6
					}
					return 12
				}
			},
			acts: append(work(12), act{s: 1, u: 0.9}, act{s: 1, u: 0.9, cut: true}, act{s: 1, u: 0.9}, act{s: 2}),
		},
		"an encoder that slips": {change: func(b *bench) { b.slips = func(t float64) bool { return t > 45.2 && t < 47 } }, acts: append(work(12), act{s: 4, u: 0.9, load: 0.5}, act{s: 2})},
		"a stiff gearbox":       {change: func(b *bench) { b.friction = 2 }, acts: work(16)},
	} {
		t.Run(name, func(t *testing.T) {
			b := sound()
			if c.change != nil {
				c.change(&b)
			}
			m, volts := b.run(c.acts...)
			if c.make != nil {
				m = c.make(m)
			}
			got := detectAll(t, volts, m)[0]
			assert.NotNil(t, got.StalledS)
			assert.Empty(t, got.Stalls)
			assert.Empty(t, got.Unpowered)
			assert.Empty(t, got.Idle)
			if got.ResistanceOhm != nil {
				assert.InEpsilon(t, 0.3, *got.ResistanceOhm, 0.15)
			}
		})
	}
}

func TestAMotorWithoutPower(t *testing.T) {
	acts := append(work(12), act{s: 3, u: 0.9, cut: true}, act{s: 2})
	got := detect(t, sound(), acts...)
	require.Len(t, got.Unpowered, 1)
	assert.InDelta(t, 12*3.5+2, got.Unpowered[0].StartS, 0.06, "it stood before")
	assert.InDelta(t, 3, got.Unpowered[0].EndS-got.Unpowered[0].StartS, 0.1)

	one, volts := sound().run(acts...)
	two := one
	two.Name = "other"
	for _, m := range detectAll(t, volts, one, two) {
		assert.Empty(t, m.Unpowered, "when both lack power it is the robot that is off")
	}
}

// A light roller draws little more, running free, than its sensor's noise. Held fast it would draw
// 36 A: when it neither turns nor draws it has no power.
func TestALightMotorWithoutPower(t *testing.T) {
	b := sound()
	b.friction = 0.05
	light := work(12)
	for k := range light {
		if k%9 != 1 {
			light[k].load = 0
		}
	}
	acts := append(light, act{s: 5}, act{s: 3, u: 0.9, cut: true}, act{s: 2})
	got := detect(t, b, acts...)
	require.NotNil(t, got.FreeA)
	require.Less(t, *got.FreeA, 1.0)
	require.Len(t, got.Unpowered, 1)
	assert.InDelta(t, 3, got.Unpowered[0].EndS-got.Unpowered[0].StartS, 0.1)
	assert.Empty(t, got.Stalls)

	one, volts := sound().run(acts...)
	two, _ := b.run(append(light, act{s: 10, u: 0.9})...)
	two.Name = "other"
	require.Len(t, detectAll(t, volts, one, two)[0].Unpowered, 1, "another that runs free and draws next to nothing has power")
}

func TestAMotorThatDrawsAtRest(t *testing.T) {
	m, volts := sound().run(append(work(12), act{s: 6})...)
	for k, at := range m.Current.T {
		if s := float64(at) / 1e6; s > 46 && s < 49 {
			m.Current.V[k] += 3
		}
	}
	got := detectAll(t, volts, m)[0]
	require.Len(t, got.Idle, 1)
	assert.InDelta(t, 46, got.Idle[0].StartS, 0.05)
	assert.InDelta(t, 3, got.Idle[0].MeanA, 0.3, "some of it is taken for the sensor's zero")
}

// A controller that stays on for most of the time the motor rests makes no zero of its sensor.
func TestAMotorThatDrawsAtMostOfItsRests(t *testing.T) {
	m, volts := sound().run(append(work(12), slices.Repeat([]act{{s: 3}}, 10)...)...)
	for k, at := range m.Current.T {
		if s := float64(at) / 1e6; s > 46 && s < 70 {
			m.Current.V[k] += 3
		}
	}
	got := detectAll(t, volts, m)[0]
	require.NotNil(t, got.RestA)
	assert.InDelta(t, 0, *got.RestA, 0.1)
	require.Len(t, got.Idle, 1)
	assert.InDelta(t, 24, got.Idle[0].EndS-got.Idle[0].StartS, 0.2)
}

// By the drift of a sensor's zero and its noise, as large as either comes: the zero is that of all rests,
// not of the one that happened to read least.
func TestANoisySensorsZero(t *testing.T) {
	b := sound()
	b.zeroA, b.noiseA = 1, 1.5
	got := detect(t, b, append(work(12), slices.Repeat([]act{{s: 3}}, 10)...)...)
	require.NotNil(t, got.RestA)
	assert.InDelta(t, 1, *got.RestA, 0.15)
}

func TestTwins(t *testing.T) {
	one, volts := sound().run(work(16)...)
	one.Twin = "other"
	two, _ := bench{friction: 0.6, limitA: 40, noiseA: 0.15, noiseW: 0.1, seed: 3}.run(work(16)...)
	two.Name = "other"
	got := detectAll(t, volts, one, two)
	for k, m := range got {
		assert.Equal(t, got[1-k].Name, m.Twin)
		require.NotNil(t, m.TwinShare)
		assert.InDelta(t, 0.5, *m.TwinShare, 0.02)
		assert.Less(t, *m.TwinShareHigh-*m.TwinShareLow, 0.05)
	}
	two.Current.V = times(0.4, two.Current.V)
	got = detectAll(t, volts, one, two)
	assert.InDelta(t, 0.4/1.4, *got[1].TwinShare, 0.02)
	assert.Less(t, *got[1].TwinShareHigh, 0.33)
	assert.InDelta(t, 1, *got[0].TwinShare+*got[1].TwinShare, 0.01)
}

// Two motors of one command and one speed are on one shaft, whatever the profile says of them.
func TestTwinsByTheirSignals(t *testing.T) {
	one, volts := sound().run(work(16)...)
	two := one
	two.Name, two.Current = "other", &series.Float{Name: "dead", T: one.Current.T, V: make([]float64, len(one.Current.T))}
	got := detectAll(t, volts, one, two)
	assert.Equal(t, "other", got[0].Twin)
	require.NotNil(t, got[1].TwinShareHigh)
	assert.Less(t, *got[1].TwinShareHigh, 0.1)

	third := one
	third.Name = "third"
	for _, m := range detectAll(t, volts, one, two, third) {
		assert.Empty(t, m.Twin, "of three, nobody says which two")
	}
	apart := two
	apart.Speed = &series.Float{Name: "its own", T: one.Speed.T, V: one.Speed.V}
	assert.Empty(t, detectAll(t, volts, one, apart)[0].Twin)
}

// By hand: at 500 rad/s a constant of 0.0205 V s that is a per cent less leaves 0.1 V more, 2 A
// more through 0.05 ohm: much beside the 5 A of light running, little beside 40 A.
func TestTwinsAreComparedAtWork(t *testing.T) {
	var ratios, amps []float64
	for range 30 {
		ratios, amps = append(ratios, math.Log(5./3)), append(amps, 8)
	}
	for range 8 {
		ratios, amps = append(ratios, math.Log(41./39)), append(amps, 80)
	}
	assert.Equal(t, ratios[30:], worked(ratios, amps, DefaultConfig()))
	assert.Equal(t, ratios[:37], worked(ratios[:37], amps[:37], DefaultConfig()), "too few of them")
}

// Times shift with the log, and nothing else changes.
func TestTimeIsRelative(t *testing.T) {
	acts := append(work(12), act{s: 1.2, u: 0.9, held: true}, act{s: 2})
	m, volts := sound().run(acts...)
	before := detectAll(t, volts, m)[0]
	const shift = -77_000_000
	for _, f := range []*series.Float{m.Command, m.Current, m.Speed, volts} {
		for k := range f.T {
			f.T[k] += shift
		}
	}
	after := detectAll(t, volts, m)[0]
	require.Len(t, after.Stalls, len(before.Stalls))
	for k := range after.Stalls {
		after.Stalls[k].StartS -= shift / 1e6
		after.Stalls[k].EndS -= shift / 1e6
		assert.InDelta(t, before.Stalls[k].StartS, after.Stalls[k].StartS, 1e-6)
	}
	assert.Equal(t, before.ResistanceOhm, after.ResistanceOhm)
}

// A motor of which little is logged is told of as far as that goes.
func TestWithoutSpeedOrCommand(t *testing.T) {
	m, volts := sound().run(work(12)...)
	m.Speed = nil
	got := detectAll(t, volts, m)[0]
	assert.Nil(t, got.StalledS)
	assert.Nil(t, got.ResistanceOhm)
	assert.Equal(t, "its speed is not known", got.Reason)
	assert.NotNil(t, got.RmsA)
	m.Command = nil
	got = detectAll(t, nil, m)[0]
	assert.Equal(t, "its command is not known", got.Reason)
	assert.NotNil(t, got.PeakA)
}

// BenchmarkDetect is one match as robots log it: six motors, 150 s, 200 Hz.
func BenchmarkDetect(b *testing.B) {
	bench := sound()
	bench.everyMs = 5
	m, volts := bench.run(work(42)...)
	in := Input{Voltage: volts, LeaveV: 7.4, End: m.Current.T[len(m.Current.T)-1]}
	for _, name := range []string{"mouth", "throat", "lift", "pocket", "gate", "arm"} {
		m.Name = name
		in.Motors = append(in.Motors, m)
	}
	for b.Loop() {
		Detect(in, DefaultConfig())
	}
}
