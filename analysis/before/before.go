// Package before looks at the half second before a jam: was the supply low, did the roller
// turn slowly, did the piece come close behind another one, did it come in slow or fast?
//
// None of that means anything by itself: a roller is slow while it spins up, a robot that
// drives hard sags in every cycle. So each measure is held against the good passes of the
// same stage at the same moment after they came, and what all jams of a stage share is told
// only when good passes do not: by an exact test of ranks, small as the numbers are.
//
// What looks alike: the jam itself slows its roller and sags the supply. The half second
// ends with the earliest moment the jam may have begun, not with the likeliest.
package before

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what is looked at.
type Input struct {
	Stages  []path.Stage
	Voltage *series.Float // V; may be nil
	Passes  []schemas.Pass
	Jams    []schemas.Jam // those believed
	Others  []schemas.Jam // those suspected: described, but neither good nor counted
}

// Config is what Look decides by; all of it chosen by us.
type Config struct {
	WindowS float64 // s; how long before is looked at
	SlackS  float64 // s; the onset is taken as early as it may be, up to this much
	Fewest  int     // good passes that a usual needs
	Beyond  int     // good passes that all jams must outdo where no test can tell
	Chance  float64 // probability, after the number of things compared, under which it is no chance
}

// DefaultConfig is what every match is looked at with.
func DefaultConfig() Config {
	return Config{WindowS: 0.5, SlackS: 0.25, Fewest: 3, Beyond: 8, Chance: 0.05}
}

// Result is, for each jam of Jams, what went before; Others likewise. Common is by stage.
type Result struct {
	Jams, Others [][]schemas.Number
	Common       map[string][]schemas.Common
	Facts        []Facts // of each of Jams
}

// Facts are the measures before one jam with what is usual; NaN where not known.
type Facts struct {
	LowestV, UsualV   float64
	Speed             float64 // of the roller, 1 is usual
	Slower, Lower     int     // good passes whose roller was faster, whose supply was higher
	OfSpeed, OfSupply int     // good passes these were counted among
	From, To          int64   // the stretch looked at, µs
}

// What is measured before a jam.
const (
	supply = iota
	speed
	spacing
	entry
	measures
)

// moment is a pass at a stage with its measures, NaN where not known.
type moment struct {
	value    [measures]float64
	from, to int64
}

// Look measures what went before every jam and finds what the jams of a stage share.
func Look(in Input, cfg Config) Result {
	out := Result{Common: map[string][]schemas.Common{}}
	byStage := map[string][]moment{}
	for _, j := range in.Jams {
		m, good, at, ok := in.look(j, cfg)
		numbers, facts := []schemas.Number(nil), Facts{LowestV: math.NaN(), UsualV: math.NaN(), Speed: math.NaN()}
		if ok {
			numbers, facts = in.numbers(m, good, at, cfg), factsOf(m, good, cfg)
			byStage[j.Stage] = append(byStage[j.Stage], m)
		}
		out.Jams, out.Facts = append(out.Jams, numbers), append(out.Facts, facts)
	}
	for _, j := range in.Others {
		var numbers []schemas.Number
		if m, good, at, ok := in.look(j, cfg); ok {
			numbers = in.numbers(m, good, at, cfg)
		}
		out.Others = append(out.Others, numbers)
	}
	for _, j := range in.Jams {
		if _, done := out.Common[j.Stage]; !done {
			_, good, at, _ := in.look(j, cfg)
			out.Common[j.Stage] = in.common(j.Stage, byStage[j.Stage], good, at, cfg)
		}
	}
	return out
}

// look measures a jam, and every good pass of its stage at the same moment after the piece
// came to the beam at (index of a stage). A jam of no piece that was seen has no moment.
func (in Input) look(j schemas.Jam, cfg Config) (m moment, good []moment, at int, ok bool) {
	stage := slices.IndexFunc(in.Stages, func(s path.Stage) bool { return s.Name == j.Stage })
	if stage < 0 || j.Piece == nil {
		return m, nil, 0, false
	}
	i := slices.IndexFunc(in.Passes, func(p schemas.Pass) bool { return p.Piece == *j.Piece })
	if i < 0 {
		return m, nil, 0, false
	}
	at = -1 // the nearest beam at or before the stage that saw the piece come
	for k := stage; k >= 0 && at < 0; k-- {
		if came, ok := enter(in.Passes[i], k); ok && came <= schemas.Micros(j.StartS) {
			at = k
		}
	}
	if at < 0 {
		return m, nil, 0, false
	}
	came, _ := enter(in.Passes[i], at)
	onset := schemas.Micros(j.StartS)
	if j.OnsetLowS != nil {
		onset = max(min(onset, schemas.Micros(*j.OnsetLowS)), onset-schemas.Micros(cfg.SlackS))
	}
	after := max(onset-came, 0)
	m = in.measure(i, stage, at, after, cfg)
	for n, p := range in.Passes {
		if came, ok := enter(p, at); ok && n != i && in.good(p, at) {
			last := gone(p, at) - came // its last moment there, when it was faster
			good = append(good, in.measure(n, stage, at, min(after, last), cfg))
		}
	}
	return m, good, at, true
}

// good is whether a pass went on from a stage and was in no jam, not even a suspected one.
func (in Input) good(p schemas.Pass, at int) bool {
	for _, j := range slices.Concat(in.Jams, in.Others) {
		if j.Piece != nil && *j.Piece == p.Piece {
			return false
		}
	}
	came, _ := enter(p, at)
	return p.Outcome != schemas.PassJammed && p.Outcome != schemas.PassBackedOut && gone(p, at) > came
}

// measure is pass i at a moment of so many µs after it came to the beam of stage at.
func (in Input) measure(i, stage, at int, after int64, cfg Config) moment {
	came, _ := enter(in.Passes[i], at)
	m := moment{to: came + after}
	m.from = m.to - schemas.Micros(cfg.WindowS)
	for k := range m.value {
		m.value[k] = math.NaN()
	}
	if v := held(in.Voltage, m.from, m.to); len(v) > 0 {
		m.value[supply] = slices.Min(v)
	}
	if v := held(in.Stages[stage].Speed, m.from, m.to); len(v) > 0 && in.driven(stage, m.from, m.to) {
		sum := 0.0
		for _, x := range v {
			sum += x
		}
		m.value[speed] = sum / float64(len(v))
	}
	for n, p := range in.Passes {
		if other, ok := enter(p, at); ok && n != i && other < came {
			if d := schemas.Seconds(came - other); !(m.value[spacing] < d) { // true for NaN
				m.value[spacing] = d
			}
		}
	}
	if from := in.beamBefore(at); from >= 0 {
		if was, ok := enter(in.Passes[i], from); ok && was < came {
			m.value[entry] = schemas.Seconds(came - was)
		}
	}
	return m
}

// driven is whether a stage was told to go onward from one time to another: a roller that is
// not stands still for that reason. Without a command it is taken to have been.
func (in Input) driven(stage int, from, to int64) bool {
	const pressed = 0.05 // of full command; chosen by us
	v := held(in.Stages[stage].Command, from, to)
	return len(v) == 0 || slices.Min(v) > pressed
}

// beamBefore is the next stage with a sensor before a stage, -1 when there is none.
func (in Input) beamBefore(at int) int {
	for k := at - 1; k >= 0; k-- {
		if in.Stages[k].Sensor != nil {
			return k
		}
	}
	return -1
}

// held are the readings from one time to another, the one that holds at the beginning
// included; none when the last reading before the end is older than the whole stretch.
func held(s *series.Float, from, to int64) []float64 {
	if s == nil {
		return nil
	}
	i, j := series.Before(s.T, from), series.Before(s.T, to)
	if j < 0 || s.T[j] < from-(to-from) {
		return nil
	}
	return s.V[max(i, 0) : j+1]
}

// enter is when a pass was first seen at a stage's beam.
func enter(p schemas.Pass, stage int) (int64, bool) {
	if stage >= len(p.Stages) || p.Stages[stage].EnterS == nil {
		return 0, false
	}
	return schemas.Micros(*p.Stages[stage].EnterS), true
}

// gone is when a pass was seen further on than a stage, or left it for good; 0 when it
// was not.
func gone(p schemas.Pass, stage int) int64 {
	for k := stage + 1; k < len(p.Stages); k++ {
		if at, ok := enter(p, k); ok {
			return at
		}
	}
	if p.LeaveS != nil {
		return schemas.Micros(*p.LeaveS)
	}
	return 0
}

// numbers are the measures of a jam with the medians of the good passes beside them.
func (in Input) numbers(m moment, good []moment, at int, cfg Config) []schemas.Number {
	var out []schemas.Number
	for k := range m.value {
		if math.IsNaN(m.value[k]) {
			continue
		}
		usual := math.NaN()
		if v := known(good, k); len(v) >= cfg.Fewest {
			usual = stat.Median(v)
		}
		n := schemas.Number{Name: in.name(k, at), Value: schemas.Some(m.value[k]), Unit: [...]string{"V", "rad/s", "s", "s"}[k], Usual: schemas.Some(usual)}
		if k == speed && usual > 0 {
			n.Value, n.Unit, n.Usual = schemas.Some(100*m.value[k]/usual), "%", schemas.Some(100)
		}
		out = append(out, n)
	}
	return out
}

// name is a measure in words.
func (in Input) name(k, at int) string {
	switch k {
	case supply:
		return "lowest supply in the half second before"
	case speed:
		return "roller speed in the half second before"
	case spacing:
		return "behind the piece ahead at the " + in.Stages[at].Name
	default:
		return fmt.Sprintf("from %s to %s", in.Stages[in.beamBefore(at)].Name, in.Stages[at].Name)
	}
}

func known(all []moment, k int) []float64 {
	var out []float64
	for _, m := range all {
		if !math.IsNaN(m.value[k]) {
			out = append(out, m.value[k])
		}
	}
	return out
}

func factsOf(m moment, good []moment, cfg Config) Facts {
	f := Facts{LowestV: m.value[supply], UsualV: math.NaN(), Speed: math.NaN(), From: m.from, To: m.to}
	if v := known(good, supply); len(v) >= cfg.Fewest {
		f.UsualV, f.OfSupply = stat.Median(v), len(v)
		f.Lower = count(v, func(x float64) bool { return x > m.value[supply] })
	}
	if v := known(good, speed); len(v) >= cfg.Fewest && stat.Median(v) > 0 {
		f.Speed, f.OfSpeed = m.value[speed]/stat.Median(v), len(v)
		f.Slower = count(v, func(x float64) bool { return x > m.value[speed] })
	}
	return f
}

func count(v []float64, is func(float64) bool) int {
	n := 0
	for _, x := range v {
		if is(x) {
			n++
		}
	}
	return n
}
