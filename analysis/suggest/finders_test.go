package suggest

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
)

// A 12 V battery of 20 mOhm and three branches, with names that say nothing.
func supply(b *bench, volts, amps float64) (whole []float64) {
	left, right, lift := b.bursts(60), b.bursts(45), b.bursts(20)
	rest := b.each(func(float64) float64 { return 1.5 }) // the computer
	whole = sumOf(left, right, lift, rest)
	v := make([]float64, b.n)
	for i, a := range whole {
		v[i] = (12.7 - 0.02*a) * volts
	}
	b.number("qa", v, 0.02*volts, 0.01*volts)
	b.number("qb", times(whole, amps), 0.3*amps, 0.25*amps)
	b.number("qc", times(left, amps), 0.2*amps, 0.25*amps)
	b.number("qd", times(right, amps), 0.2*amps, 0.25*amps)
	b.number("qe", times(lift, amps), 0.2*amps, 0.25*amps)
	return whole
}

func TestSupplyByWhatItDoes(t *testing.T) {
	b := newBench(1, 90)
	supply(b, 1, 1)
	// Look-alikes: a steady rail of the same class, a temperature of about 12, noise.
	b.number("ra", b.each(func(float64) float64 { return 12.0 }), 0.01, 0.01)
	b.number("rb", b.each(func(s float64) float64 { return 11.5 + s/90 }), 0.05, 0.1)
	b.number("rc", b.each(func(float64) float64 { return 30 }), 9, 1)
	_, by := b.propose(t)
	assert.Equal(t, []string{"qa"}, by["power.voltage"])
	assert.Equal(t, []string{"qb"}, by["power.current"])
	assert.Equal(t, []string{"qc", "qd", "qe"}, sorted(by["power.branches.current"]))
}

func TestSupplyInMillivolts(t *testing.T) {
	b := newBench(2, 90)
	supply(b, 1000, 1000)
	p, by := b.propose(t)
	assert.Equal(t, []string{"qa"}, by["power.voltage"])
	assert.Equal(t, []string{"qb"}, by["power.current"])
	prof := parsed(t, p)
	v, err := prof.Power.Voltage.Volts(&b.log)
	require.NoError(t, err)
	assert.InDelta(t, 12.67, v.V[0], 0.1)
	a, err := prof.Power.Branches[0].Current.Amps(&b.log)
	require.NoError(t, err)
	assert.InDelta(t, 0, a.V[0], 1)
}

// Two controllers that read the same supply: nobody can say which the profile should have.
func TestTwinsAreLeftOpen(t *testing.T) {
	b := newBench(3, 90)
	whole := supply(b, 1, 1)
	v := make([]float64, b.n)
	for i, a := range whole {
		v[i] = 12.69 - 0.0201*a
	}
	b.number("qz", v, 0.02, 0.01)
	p, by := b.propose(t)
	assert.Empty(t, by["power.voltage"])
	var open []string
	for _, m := range p.Open {
		if m.Role == "power.voltage" {
			open = append(open, m.Signal)
			assert.Less(t, m.Sure, enough+0.01)
			require.NotEmpty(t, m.Others, "the other one is told beside it")
		}
	}
	assert.Equal(t, []string{"qa", "qz"}, sorted(open))
	text := p.YAML("heron", "a log")
	assert.Contains(t, text, "#   voltage: qa")
	assert.Contains(t, text, "#   voltage: qz")
	// A name settles what behaviour cannot.
	b.log.Find("qa").Name = "supply voltage"
	_, by = b.propose(t)
	assert.Equal(t, []string{"supply voltage"}, by["power.voltage"])
}

// The sag alone, as a robot has it that logs no current.
func TestVoltageAlone(t *testing.T) {
	b := newBench(4, 90)
	load := sumOf(b.bursts(70), b.bursts(40))
	v := make([]float64, b.n)
	for i, a := range load {
		v[i] = 12.6 - 0.025*a
	}
	b.number("qa", v, 0.03, 0.05)
	b.number("ra", b.each(func(float64) float64 { return 12.1 }), 0.05, 0.01) // never sags
	_, by := b.propose(t)
	assert.Equal(t, []string{"qa"}, by["power.voltage"])
	assert.Empty(t, by["power.current"])
}

// A robot that drives a course: x and y in m, heading in rad or deg, turned either way round.
func course(b *bench) (x, y, h []float64) {
	x, y, h = make([]float64, b.n), make([]float64, b.n), make([]float64, b.n)
	px, py, ph, speed, turn := 2.0, 2.0, 0.3, 0.0, 0.0
	for i := range x {
		s := float64(i) / 50
		if i%40 == 0 {
			speed, turn = 0, 0
			if b.alive(s) && b.r.Float64() < 0.8 {
				speed, turn = (b.r.Float64()*3 - 0.6), (b.r.Float64()-0.5)*2.4
			}
		}
		ph += turn / 50
		px += speed * math.Cos(ph) / 50
		py += speed * math.Sin(ph) / 50
		x[i], y[i], h[i] = px, py, ph
	}
	return x, y, h
}

func TestPoseByDirectionOfTravel(t *testing.T) {
	for name, c := range map[string]struct{ turn, length float64 }{"rad and m": {1, 1}, "deg": {180 / math.Pi, 1}, "mm": {1, 1000}} {
		t.Run(name, func(t *testing.T) {
			b := newBench(5, 120)
			x, y, h := course(b)
			b.number("qc", times(x, c.length), 0.004*c.length, 0.01*c.length)
			b.number("qa", times(y, c.length), 0.004*c.length, 0.01*c.length)
			b.number("qb", times(h, c.turn), 0.001*c.turn, 0.001*c.turn)
			b.number("qd", b.bursts(20), 0.2, 0.25)
			p, by := b.propose(t)
			require.Equal(t, []string{"qc"}, by["cycles.pose.x"])
			require.Equal(t, []string{"qa"}, by["cycles.pose.y"])
			require.Equal(t, []string{"qb"}, by["cycles.pose.heading"])
			pose := parsed(t, p).Cycles.Pose
			got, err := pose.X.Metres(&b.log)
			require.NoError(t, err)
			assert.InDelta(t, x[b.n/2], got.V[b.n/2], 0.05)
			turned, err := pose.Heading.Radians(&b.log)
			require.NoError(t, err)
			assert.InDelta(t, h[b.n/2], turned.V[b.n/2], 0.01)
		})
	}
}

// Without heading a field's longer side is x; that is little, and said so.
func TestPoseWithoutHeadingIsLessSure(t *testing.T) {
	b := newBench(6, 120)
	x, y, h := course(b)
	b.number("qa", x, 0.004, 0.01)
	b.number("qb", y, 0.004, 0.01)
	sure := func() float64 {
		p, _ := b.propose(t)
		for _, m := range append(p.Mapped, p.Open...) {
			if m.Role == "cycles.pose.x" {
				return m.Sure
			}
		}
		return 0
	}
	without := sure()
	b.number("qc", h, 0.001, 0.001)
	assert.Greater(t, sure(), without)
}

// A platform is climbed late and swings; its rate is the derivative. The roll beside it leans
// now and then all match long.
func TestTiltAndItsRate(t *testing.T) {
	for name, unit := range map[string]float64{"deg": 1, "rad": math.Pi / 180} {
		t.Run(name, func(t *testing.T) {
			b := newBench(7, 150)
			tilt := b.each(func(s float64) float64 {
				if s < 118 {
					return 0.4
				}
				return 0.4 + 11*math.Exp(-(s-118)/9)*math.Cos(2*math.Pi*0.5*(s-118))
			})
			rate := make([]float64, b.n)
			for i := 1; i < b.n; i++ {
				rate[i] = (tilt[i] - tilt[i-1]) * 50
			}
			b.number("qa", times(tilt, unit), 0.12*unit, 0.1*unit)
			b.number("qb", times(rate, unit), 0.5*unit, 0.5*unit)
			b.number("qc", b.each(func(s float64) float64 { return 3 * math.Exp(-math.Mod(s, 17)*2) }), 0.12, 0.1)
			b.number("qd", b.bursts(30), 0.2, 0.25)
			p, by := b.propose(t)
			require.Equal(t, []string{"qa"}, by["balance.tilt"])
			require.Equal(t, []string{"qb"}, by["balance.rate"])
			got, err := parsed(t, p).Balance.Tilt.Degrees(&b.log)
			require.NoError(t, err)
			assert.InDelta(t, tilt[119*50], got.V[119*50], 1)
		})
	}
}

// A position goes where its target is set; a signal that only stands at the same numbers, or a
// counter, is no move.
func TestMoves(t *testing.T) {
	b := newBench(8, 120)
	heights := []float64{0.12, 0.85, 0.35}
	target, at := make([]float64, b.n), make([]float64, b.n)
	goal, now := 0.12, 0.12
	for i := range target {
		if i%250 == 0 && b.alive(float64(i)/50) {
			goal = heights[b.r.IntN(3)]
		}
		now += (goal - now) * 0.04
		target[i], at[i] = goal, now
	}
	b.number("qa", target, 0, 0.01)
	b.number("qb", at, 0.001, 0.001)
	b.number("qc", b.each(func(s float64) float64 { return math.Floor(s / 13) }), 0, 1)
	b.number("qd", b.bursts(30), 0.2, 0.25)
	_, by := b.propose(t)
	assert.Equal(t, []string{"qa"}, by["moves.target"])
	assert.Equal(t, []string{"qb"}, by["moves.position"])
}

// What flows as long as the robot works, and where it drives to, is not what moves an arm.
func TestCurrentOfAMove(t *testing.T) {
	for _, own := range []bool{false, true} {
		b := newBench(8, 120)
		target, at, amps, works, place := make([]float64, b.n), make([]float64, b.n), make([]float64, b.n), make([]float64, b.n), make([]float64, b.n)
		goal, now, was := 0.12, 0.12, 0.0
		for i := range target {
			s := float64(i) / 50
			if i%250 == 0 && b.alive(s) {
				goal = []float64{0.12, 0.85, 0.35}[b.r.IntN(3)]
			}
			step := (goal - now) * 0.04
			now += step
			target[i], at[i] = goal, now
			if b.alive(s) {
				amps[i] = math.Abs(4 + 400*(step-was) + 300*step)
				works[i] = 30 + 10*math.Sin(s)
				place[i] = 7 + 5*math.Sin(s/5)
			}
			was = step
		}
		b.number("qa", target, 0, 0.01)
		b.number("qb", at, 0.001, 0.001)
		b.number("qc", works, 0.3, 0.1)
		b.number("qd", place, 0.01, 0.01)
		want := []string(nil)
		if own {
			b.number("qe", amps, 0.3, 0.1)
			want = []string{"qe"}
		}
		_, by := b.propose(t)
		assert.Equal(t, []string{"qb"}, by["moves.position"])
		assert.Equal(t, want, by["moves.current"])
	}
}

// Pieces pass three beams in order, whatever the beams are called or how they are told.
func TestPathInOrder(t *testing.T) {
	b := newBench(9, 150)
	starts := b.cycles()
	b.state("qc", b.pulses(starts, 0.25))
	b.state("qa", b.pulses(b.shifted(starts, 0.7, 0.1), 0.3))
	clear := b.pulses(b.shifted(starts, 1.5, 0.2), 0.4)
	for i := range clear {
		clear[i] = !clear[i]
	}
	b.state("qb", clear) // true while nothing is there
	far := b.each(func(float64) float64 { return 310 })
	for i, on := range b.pulses(b.shifted(starts, 2.2, 0.2), 0.4) {
		if on {
			far[i] = 60
		}
	}
	b.number("qe", far, 4, 1)
	// What is no beam: a heartbeat, a switch a driver holds for long, noise.
	b.state("ra", b.pulses(b.shifted(starts, -3, 6), 3))
	beat := make([]bool, b.n)
	for i := range beat {
		beat[i] = i/25%2 == 0
	}
	b.state("rb", beat)
	p, by := b.propose(t)
	require.Equal(t, []string{"qc", "qa", "qb", "qe"}, by["path.stages.sensor"])
	prof := parsed(t, p)
	for i, s := range prof.Path.Stages {
		state, err := s.Sensor.Bool(&b.log)
		require.NoError(t, err)
		assert.Len(t, state.Runs(state.T[len(state.T)-1]), len(starts), "stage %d", i)
	}
}

// Two motors on one supply: the equation u V = R i + K w says what belongs together, the load
// says where the piece was.
func TestMotorsOfStages(t *testing.T) {
	b := newBench(10, 150)
	starts := b.cycles()
	volts := b.each(func(float64) float64 { return 12.4 })
	inside := func(from, to float64) func(float64) float64 {
		return func(s float64) float64 {
			for _, c := range starts {
				if s > c+from && s < c+to {
					return 6
				}
			}
			return 0
		}
	}
	running := func(from, to, u float64) []float64 {
		return b.each(func(s float64) float64 {
			for _, c := range starts {
				if s > c+from && s < c+to {
					return u
				}
			}
			return 0
		})
	}
	first, second := running(-1, 1.2, 0.85), running(-0.2, 2.4, 0.7)
	i1, w1 := b.motor(first, volts, inside(0, 0.3))
	i2, w2 := b.motor(second, volts, inside(0.9, 1.3))
	b.state("qa", b.pulses(starts, 0.3))
	b.state("qb", b.pulses(b.shifted(starts, 0.9, 0.02), 0.4))
	b.number("qf", first, 0, 0.01)
	b.number("qe", second, 0, 0.01)
	b.number("qg", i1, 0.15, 0.25)
	b.number("qh", i2, 0.15, 0.25)
	b.number("qi", w1, 0.1, 0.25)
	b.number("qd", w2, 0.1, 0.25)
	p, _ := b.propose(t)
	got := []string{"", ""}
	for _, key := range []string{"sensor", "command", "current", "speed"} {
		for _, m := range p.Mapped {
			if m.Role == "path.stages."+key {
				got[m.At] += m.Signal + " "
			}
		}
	}
	assert.Equal(t, []string{"qa qf qg qi ", "qb qe qh qd "}, got)
}

// Score counts behind the pieces that leave; release as they leave; a loop counter and one that
// goes down again are neither.
func TestCounters(t *testing.T) {
	b := newBench(11, 150)
	starts := b.cycles()
	b.state("qa", b.pulses(starts, 0.3))
	b.state("qb", b.pulses(b.shifted(starts, 0.9, 0.02), 0.5))
	count := func(by float64) []float64 {
		return b.each(func(s float64) float64 {
			n := 0.0
			for _, c := range starts {
				if s > c+by {
					n++
				}
			}
			return n
		})
	}
	b.number("qc", count(1.4), 0, 1) // as they leave
	b.number("qd", count(2.6), 0, 1) // as they land
	b.number("qe", b.each(func(s float64) float64 { return math.Floor(s * 10) }), 0, 1)
	b.number("qf", sumOf(count(0.2), times(count(1.4), -1)), 0, 1) // pieces inside
	_, by := b.propose(t)
	assert.Equal(t, []string{"qc"}, by["path.release"])
	assert.Equal(t, []string{"qd"}, by["cycles.score"])
}

func TestModes(t *testing.T) {
	at := func(s float64, words ...string) string {
		switch {
		case s < 8 || s >= 142:
			return words[0]
		case s < 24:
			return words[1]
		case s < 26:
			return words[0]
		}
		return words[2]
	}
	robot := func() *bench {
		b := newBench(12, 150)
		amps := b.bursts(50)
		for i := range amps {
			if s := float64(i) / 50; s >= 24 && s < 26 {
				amps[i] = 0
			}
		}
		b.number("qa", amps, 0.2, 0.25)
		b.number("qb", b.each(func(s float64) float64 {
			if at(s, "0", "1", "2") == "0" {
				return 0
			}
			return math.Sin(s * 3)
		}), 0, 0.01)
		return b
	}
	want := map[string][]string{schemas.ModeDisabled: {"kalu"}, schemas.PeriodAutonomous: {"dero"}, schemas.PeriodDriver: {"simu"}}
	b := robot()
	b.text("qc", func(s float64) string { return at(s, "kalu", "dero", "simu") })
	b.text("qd", func(s float64) string { return []string{"north", "south"}[int(s/20)%2] })
	p, by := b.propose(t)
	assert.Equal(t, []string{"qc"}, by["mode.signal"])
	assert.Equal(t, want, p.Values)
	mode, ok := parsed(t, p).Mode.Of("dero")
	assert.True(t, ok)
	assert.Equal(t, schemas.PeriodAutonomous, mode)

	b = robot()
	flag := func(word string) []bool {
		out := make([]bool, b.n)
		for i := range out {
			out[i] = strings.Contains(word, at(float64(i)/50, "0", "1", "2"))
		}
		return out
	}
	b.state("qc", flag("12"))
	b.state("qd", flag("1"))
	p, by = b.propose(t)
	assert.Equal(t, []string{"qc"}, by["mode.enabled"])
	assert.Equal(t, []string{"qd"}, by["mode.autonomous"])
	parsed(t, p)
}
