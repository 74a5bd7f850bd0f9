// Package quality judges the log itself before anything is concluded from it: signals the
// profile names and the log lacks, stretches in which samples stopped coming, and signals
// that are there but cannot be true.
//
// The story: a robot's radio link drops for a moment and everything stops; one sensor's
// cable works loose and its last value is repeated for ever; another's plug is shaken and it
// says 0 for moments; a sensor that was never plugged in reads one number all match; a sensor
// breaks and leaves the range of all it ever said. What looks the same and is not a fault: a signal logged on change, a robot
// that stands still, a motor nobody used, a supply that dips. So a steady rate, usual
// restlessness and ordinary size are learned from each signal itself, and only what
// stands apart from all the rest of that signal is reported.
package quality

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Config are the limits of what is normal. All are chosen by us.
type Config struct {
	GapMin        int64   // µs; no shorter silence is a gap
	GapSteps      float64 // a gap is this many usual steps long, at least
	SteadyShare   float64 // of the steps within half to double the usual: the signal has a rate
	FrozenMin     int64   // µs an analogue sensor repeats one value
	RestlessMin   int64   // µs before it in which most readings differed
	ExcursionMin  float64 // robust standard deviations
	ExcursionLead float64 // an excursion's peak over the largest ordinary deviation
	MaxListed     int     // gaps and faults listed for one signal; the rest is counted
}

// DefaultConfig suits robots that log at 10 to 1000 Hz.
func DefaultConfig() Config {
	return Config{
		GapMin: 200_000, GapSteps: 3, SteadyShare: 0.8,
		FrozenMin: 1_000_000, RestlessMin: 5_000_000,
		ExcursionMin: 12, ExcursionLead: 3, MaxListed: 20,
	}
}

// Mapped is one signal the profile names.
type Mapped struct {
	Signal string
	Role   string // where the profile names it: "power.voltage", "path.stages[2].sensor"
	// Restless says that the quantity is measured by a sensor with noise that never rests
	// on a live robot (voltage, whole current, tilt, tilt rate), so that a repeat is news.
	Restless bool
	// CannotJump says that the quantity has inertia (tilt, tilt rate, a position), so that a
	// moment of exactly 0 between other readings is news.
	CannotJump bool
	// RestsAtZero says that 0 is what it reads where its mechanism rests (current, speed).
	RestsAtZero bool
	Rest        []series.Interval // stretches in which what it watches is known to rest
	Works       []series.Interval // and in which others saw it at work
}

// Input is what the log's own quality is judged on.
type Input struct {
	Log     *schemas.Log
	Mapped  []Mapped
	Periods []schemas.Period // a disabled robot may well be still
	// DropOuts are what the function of that name found.
	DropOuts []schemas.Fault
}

// Detect lists what the log lacks. Gaps and faults are sorted by signal, then time.
func Detect(in Input, cfg Config) schemas.Quality {
	out := schemas.Quality{Samples: in.Log.Samples(), Signals: len(in.Log.Signals)}
	mapped := map[string]Mapped{}
	for _, m := range in.Mapped {
		if in.Log.Find(m.Signal) == nil {
			if !slices.Contains(out.Missing, m.Signal) {
				out.Missing = append(out.Missing, m.Signal)
			}
			continue
		}
		mapped[m.Signal] = m.and(mapped[m.Signal])
	}
	slices.Sort(out.Missing)

	silences := Silences(in.Log, cfg)
	for _, q := range silences {
		out.Gaps = append(out.Gaps, gap("", q))
	}
	for _, s := range in.Log.Signals {
		times := inTime(s)
		own := gapsOf(times, cfg)
		if len(own) > 0 && series.OnChange(numbers(s)) {
			own = nil // its last value held
		}
		own = slices.DeleteFunc(own, func(g series.Interval) bool { return within(g, silences) }) // said once, for all signals
		out.Notes = appendCapped(out.Notes, s.Name, "gaps", len(own), cfg.MaxListed)
		for _, g := range own[:min(len(own), cfg.MaxListed)] {
			out.Gaps = append(out.Gaps, gap(s.Name, g))
		}
		faults := noReadings(s, times)
		if m, known := mapped[s.Name]; known {
			faults = append(faults, disbelieved(s, m, in, cfg)...)
		} else if s.Kind == schemas.Float64 { // a tilt or a pose that leaves its past is what its own analysis looks for
			faults = append(faults, excursions(s, times, cfg)...)
		}
		slices.SortStableFunc(faults, func(a, b schemas.Fault) int { return cmp.Compare(a.StartS, b.StartS) })
		out.Notes = appendCapped(out.Notes, s.Name, "faults", len(faults), cfg.MaxListed)
		out.Faults = append(out.Faults, faults[:min(len(faults), cfg.MaxListed)]...)
	}
	return out
}

// and is what is known of a signal that plays two roles.
func (m Mapped) and(other Mapped) Mapped {
	m.Restless = m.Restless || other.Restless
	m.CannotJump = m.CannotJump || other.CannotJump
	m.RestsAtZero = m.RestsAtZero || other.RestsAtZero
	m.Rest, m.Works = slices.Concat(m.Rest, other.Rest), slices.Concat(m.Works, other.Works)
	return m
}

// disbelieved are the stretches in which a signal of the profile says what its kind never does.
func disbelieved(s *schemas.Signal, m Mapped, in Input, cfg Config) []schemas.Fault {
	var out []schemas.Fault
	for _, f := range in.DropOuts {
		if f.Signal == s.Name {
			out = append(out, f)
		}
	}
	v := numbers(s)
	if len(v) < fewestReadings || !(m.Restless || m.RestsAtZero) {
		return out
	}
	if f, dead := deadSensor(s, v, m); dead {
		return append(out, f)
	}
	return append(out, frozen(s, v, m, in, cfg)...)
}

// Silences are the gaps of the whole log: stretches in which no signal came although the
// busiest one usually does.
func Silences(log *schemas.Log, cfg Config) []series.Interval {
	var busiest []int64
	for _, s := range log.Signals {
		if s.Len() > len(busiest) {
			busiest = inTime(s)
		}
	}
	quiet := gapsOf(busiest, cfg)
	for _, s := range log.Signals {
		if len(quiet) == 0 {
			return nil
		}
		limit := cfg.GapMin
		quiet = narrowed(quiet, inTime(s), limit)
	}
	return quiet
}

// narrowed cuts quiet stretches at the samples inside them and keeps pieces over limit.
func narrowed(quiet []series.Interval, times []int64, limit int64) []series.Interval {
	var out []series.Interval
	for _, q := range quiet {
		from := q.Start
		for i := series.From(times, q.Start); i < len(times) && times[i] < q.End; i++ {
			if times[i]-from > limit {
				out = append(out, series.Interval{Start: from, End: times[i]})
			}
			from = times[i]
		}
		if q.End-from > limit {
			out = append(out, series.Interval{Start: from, End: q.End})
		}
	}
	return out
}

// gapsOf are the gaps of a signal that comes at a steady rate; nil for one logged on change.
func gapsOf(times []int64, cfg Config) []series.Interval {
	step := series.Step(times)
	if step == 0 {
		return nil
	}
	steady := 0
	for i := 1; i < len(times); i++ {
		if d := times[i] - times[i-1]; 2*d >= step && d <= 2*step {
			steady++
		}
	}
	if float64(steady) < cfg.SteadyShare*float64(len(times)-1) {
		return nil
	}
	return series.Gaps(times, max(cfg.GapMin, int64(cfg.GapSteps*float64(step))))
}

func inTime(s *schemas.Signal) []int64 {
	if s.Boot == nil {
		return s.Time
	}
	times := slices.Clone(s.Time) // sorted by boot first
	slices.Sort(times)
	return slices.Compact(times)
}

func within(g series.Interval, all []series.Interval) bool {
	return slices.ContainsFunc(all, func(q series.Interval) bool { return 2*q.Overlap(g) > g.Len() })
}

func gap(signal string, g series.Interval) schemas.Gap {
	return schemas.Gap{Signal: signal, StartS: schemas.Seconds(g.Start), EndS: schemas.Seconds(g.End)}
}

func appendCapped(notes []string, signal, what string, n, limit int) []string {
	if n <= limit {
		return notes
	}
	return append(notes, fmt.Sprintf("%s: %d more %s, not listed", strings.ToValidUTF8(signal, "?"), n-limit, what))
}
