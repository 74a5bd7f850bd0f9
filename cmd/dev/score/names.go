package score

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
)

// renamed is the log of a match under other names, which name each signal got, and the units
// that are gone, by new name. Samples are shared with the match.
func renamed(m *sim.Match, way string, seed uint64) (log *schemas.Log, to, gone map[string]string) {
	r := rand.New(rand.NewPCG(seed, 0x6e616d6573))
	log, to, gone = &schemas.Log{}, map[string]string{}, map[string]string{}
	used := map[string]bool{}
	foreign := map[string]int{}
	for _, s := range m.Log.Signals {
		c := *s
		switch way {
		case "own names":
		case "foreign names":
			c.Name = foreignName(m, s.Name, foreign)
		default:
			c.Name = randomName(r, used)
			if way != "random names, units kept" {
				gone[c.Name], c.Unit = c.Unit, ""
			}
		}
		to[s.Name] = c.Name
		log.Signals = append(log.Signals, &c)
	}
	if way == "random names, with strangers" {
		log.Signals = append(log.Signals, strangers(m, r, used)...)
	}
	log.Normalize()
	return log, to, gone
}

func randomName(r *rand.Rand, used map[string]bool) string {
	const consonants, vowels = "bdfgklmnprstvz", "aeiou"
	for {
		var b strings.Builder
		for range 3 {
			b.WriteByte(consonants[r.IntN(len(consonants))])
			b.WriteByte(vowels[r.IntN(len(vowels))])
		}
		if name := b.String(); !used[name] {
			used[name] = true
			return name
		}
	}
}

// foreignName is what another team would call a signal.
func foreignName(m *sim.Match, name string, count map[string]int) string {
	i := slices.IndexFunc(m.Means, func(k sim.Meaning) bool { return k.Signal == name })
	if i < 0 {
		return name
	}
	k := m.Means[i]
	of := strings.ToUpper(k.Of[:min(1, len(k.Of))]) + strings.ReplaceAll(k.Of[min(1, len(k.Of)):], " ", "")
	count[k.Role]++
	pattern := map[string]string{
		"mode.signal": "RobotState", "mode.enabled": "isEnabled", "mode.autonomous": "inAuto", "power.voltage": "busVolts", "power.current": "totalAmps",
		"power.battery": "packLabel", "power.branches.current": fmt.Sprintf("breaker%dAmps", count[k.Role]),
		"path.stages.sensor": "prox" + of, "path.stages.command": of + "MotorOutput", "path.stages.current": of + "MotorAmps", "path.stages.speed": of + "WheelVel",
		"path.release": "ejectTally", "cycles.score": "goalTally", "cycles.handover": "feedTally", "cycles.align.error": "aimOffset", "cycles.align.assist": "autoAlign",
		"cycles.pose.x": "odoX", "cycles.pose.y": "odoY", "cycles.pose.heading": "odoTheta", "balance.tilt": "chassisIncline", "balance.rate": "gyroRateY",
		"balance.drive": "throttleDemand", "moves.position": of + "Height", "moves.target": of + "Setpoint", "moves.current": of + "Amps",
	}[k.Role]
	if pattern == "" {
		return name
	}
	return pattern
}

// strangers are signals for which a profile has no use, as a robot's computer logs them: a
// temperature, its load, a steady rail, counters of its own, a heartbeat, roll, radio, and the
// supply as another controller reads it.
func strangers(m *sim.Match, r *rand.Rand, used map[string]bool) []*schemas.Signal {
	first, last, ok := m.Log.Bounds()
	if !ok {
		return nil
	}
	const step = int64(20e3)
	n := int((last - first) / step)
	times := make([]int64, n)
	for i := range times {
		times[i] = first + int64(i)*step
	}
	number := func(f func(i int, t float64) float64) *schemas.Signal {
		s := &schemas.Signal{Name: randomName(r, used), Kind: schemas.Float64, Time: times, Float: make([]float64, n)}
		for i := range s.Float {
			s.Float[i] = f(i, float64(i)*float64(step)/1e6)
		}
		return s
	}
	whole := func(f func(i int) int64) *schemas.Signal {
		s := &schemas.Signal{Name: randomName(r, used), Kind: schemas.Int64, Time: times, Int: make([]int64, n)}
		for i := range s.Int {
			s.Int[i] = f(i)
		}
		return s
	}
	roll, bump := 0.0, 0.0
	out := []*schemas.Signal{
		number(func(_ int, t float64) float64 {
			return math.Round(10*(28+12*(1-math.Exp(-t/90))+0.2*r.NormFloat64())) / 10
		}),
		number(func(_ int, _ float64) float64 { return math.Round(35 + 12*r.NormFloat64()) }),
		number(func(_ int, _ float64) float64 { return math.Round(1000*(5.02+0.006*r.NormFloat64())) / 1000 }),
		number(func(_ int, _ float64) float64 {
			if r.Float64() < 0.004 {
				bump = 4 * r.NormFloat64()
			}
			bump *= 0.93
			roll += 0.3 * (bump - roll)
			return math.Round(10*(roll+0.12*r.NormFloat64())) / 10
		}),
		number(func(_ int, _ float64) float64 { return math.Round(-58 + 3*r.NormFloat64()) }),
		whole(func(i int) int64 { return int64(i) }),
		whole(func(i int) int64 { return int64(i / 50) }),
		whole(func(i int) int64 { return int64(i/25) % 2 }),
		{Name: randomName(r, used), Kind: schemas.Text, Time: times[:1], Text: []string{"build 41"}},
	}
	for _, k := range m.Means {
		s := m.Log.Find(k.Signal)
		if k.Role != "power.voltage" || s == nil || s.Kind != schemas.Float64 {
			continue
		}
		twin := &schemas.Signal{Name: randomName(r, used), Kind: schemas.Float64, Time: s.Time, Boot: s.Boot, Float: make([]float64, s.Len())}
		for i, v := range s.Float {
			twin.Float[i] = v * (0.998 + 0.001*r.NormFloat64())
		}
		out = append(out, twin)
	}
	return out
}
