// Package fleet puts the robots of an event side by side, for a mentor who looks after many
// teams.
//
// # The idea
//
// The unit is the match, as in a season: what happens within one hangs together. Each robot has
// a value of each measure with its 95 % interval. Numbers are means over its matches with
// Student's interval, times and resistances on a logarithmic scale, where they spread evenly; the
// resistance is that of the batteries as they were used, so that only what differs between
// matches of one battery makes it unsure. Shares are all events of all tries with Wilson's
// interval, and count for less where they come in bunches: by the design effect of Rao and Scott, of the
// robot or of all robots of the event, whichever is larger.
//
// A mere order of such values would be read as who is better than whom, and most of it is
// chance. So every pair of robots is compared (Welch; Newcombe for shares), all pairs of a measure are one
// family, and each robot gets the range of places it may have: from one more than are surely better to
// as many as are not surely worse (stat.Places). The worst stage and the worst battery of a
// robot are told in the same way.
//
// With fewer than three matches, or with matches that are all alike, nothing is said of a robot
// but its value, and it may have any place.
//
// # What it does not know
//
// Places are of how the robots did at this event, with the drivers, partners and batteries they
// had. The time to level is that of attempts that came level, so it stands beside how many did.
// Each measure by itself is right 19 times in 20; of six measures one is more often wrong.
package fleet

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/tables"
)

// Limits of the method.
const (
	fewest   = 3 // matches of a robot, or one less of freedom; chosen by us: of two the interval says nothing
	sureness = 0.95
)

// Robot is a robot of the event with its matches that count, in order of time.
type Robot struct {
	Name    string
	Matches []Match
}

// Match is what of one match counts. Nil is not known, no tries are no reading.
type Match struct {
	CycleS          *float64 // median of complete scoring cycles of the driver period
	Passes, Jams    int      // of pieces through the robot
	Stages          []Stage
	Attempts, Level int      // balance attempts, and those that came level
	SettleS         *float64 // median of those
	LowestV         *float64
	ResistanceOhm   *float64
	Battery         string // empty: not known
}

// Stage is a stage of the path in one match: pieces that entered it, and jams in it.
type Stage struct {
	Name         string
	Passes, Jams int
}

// MatchOf is what of the tables of a match counts.
func MatchOf(m tables.Match, stages []tables.Stage) Match {
	out := Match{CycleS: m.CycleS, SettleS: m.BalanceSettleS, LowestV: m.LowestV, ResistanceOhm: m.ResistanceOhm}
	if m.Passes != nil && m.Jams != nil {
		out.Passes, out.Jams = int(*m.Passes), int(*m.Jams)
	}
	if m.BalanceAttempts != nil && m.BalanceLevel != nil {
		out.Attempts, out.Level = int(*m.BalanceAttempts), int(*m.BalanceLevel)
	}
	if m.Battery != nil {
		out.Battery = *m.Battery
	}
	for _, s := range stages {
		out.Stages = append(out.Stages, Stage{s.Stage, int(s.Passes), int(s.Jams)})
	}
	return out
}

// measure is a number of each robot, made by one of numbers, resistances and shares.
type measure struct {
	name, title, unit, better string
	rate                      func([]Robot) []rating
}

var measures = []measure{
	{"cycle_s", "Cycle time", "s", schemas.BetterLower, numbers(logarithm, func(m *Match) *float64 { return m.CycleS })},
	{"jam_rate", "Jams", "", schemas.BetterLower, jams},
	{"balance_level_rate", "Attempts that came level", "", schemas.BetterHigher, levels},
	{"balance_settle_s", "Time to level", "s", schemas.BetterLower, numbers(logarithm, func(m *Match) *float64 { return m.SettleS })},
	{"lowest_v", "Lowest voltage", "V", schemas.BetterHigher, numbers(straight, func(m *Match) *float64 { return m.LowestV })},
	{"resistance_ohm", "Battery resistance", "ohm", schemas.BetterLower, resistances},
}

// Measures are the names of the measures a fleet may have.
func Measures() []string {
	var out []string
	for _, m := range measures {
		out = append(out, m.name)
	}
	return out
}

// Look compares the robots of an event.
func Look(season, event string, robots []Robot) schemas.Fleet {
	robots = slices.SortedFunc(slices.Values(robots), func(a, b Robot) int {
		if a.Name < b.Name {
			return -1
		}
		return 1
	})
	out := schemas.Fleet{
		Fleet: schemas.FleetVersion, Season: season, Event: event, Robots: []schemas.FleetRobot{}, Measures: []schemas.FleetMeasure{},
	}
	for _, r := range robots {
		out.Robots = append(out.Robots, schemas.FleetRobot{Robot: r.Name, Matches: len(r.Matches)})
		out.Matches += len(r.Matches)
	}
	for _, m := range measures {
		if f, ok := m.look(robots); ok {
			out.Measures = append(out.Measures, f)
		}
	}
	out.Headline, out.Detail = headline(&out)
	return out
}

// look is a measure of all robots that have it; ok is false when none has.
func (m measure) look(robots []Robot) (out schemas.FleetMeasure, ok bool) {
	ratings := m.rate(robots)
	out = schemas.FleetMeasure{Name: m.name, Title: m.title, Unit: m.unit, Better: m.better, Robots: []schemas.FleetEstimate{}}
	var with []rating
	var missing, few []string
	var values []float64
	for i, r := range ratings {
		if r.matches == 0 {
			missing = append(missing, robots[i].Name)
			continue
		}
		e := r.estimate(robots[i].Name)
		if e.Low == nil {
			few = append(few, e.Robot)
		}
		with, values = append(with, r), append(values, e.Value)
		out.Robots = append(out.Robots, e)
	}
	if len(with) == 0 {
		return out, false
	}
	places, surely := stat.Places(len(with), func(i, j int) float64 {
		if m.better == schemas.BetterLower {
			i, j = j, i
		}
		return with[i].above(with[j])
	}, sureness)
	for i := range with {
		out.Robots[i].Best, out.Robots[i].Worst = places[i].Best, places[i].Worst
		for j := range with {
			if surely[i][j] {
				out.Apart++
			}
		}
	}
	out.Pairs = len(with) * (len(with) - 1) / 2
	out.Median = stat.Median(values)
	out.Note = note(&out, few, missing)
	return out, true
}

// rating is what is known of one robot, or of a part of one: a mean on some scale, or a share.
type rating struct {
	matches int // with a reading
	scale   scale
	mean    stat.Mean
	share   bool
	raw     stat.Events
	events  stat.Events // as they count
	few     bool        // for more than its value
	weakest *schemas.FleetWeakest
}

// scale is the scale on which a measure spreads evenly.
type scale struct{ to, from func(float64) float64 }

func same(v float64) float64 { return v }

var (
	straight  = scale{same, same}
	logarithm = scale{math.Log, math.Exp}
)

// above is the chance that r lies as far above o as it does although it is not above.
func (r *rating) above(o rating) float64 {
	switch {
	case r.few || o.few:
		return math.NaN()
	case r.share:
		return r.events.Above(o.events)
	}
	return r.mean.Above(o.mean)
}

// interval is that of the value at a level; nil where too little is known.
func (r *rating) interval(level float64) (low, high *float64) {
	if r.few {
		return nil, nil
	}
	var l, h float64
	if r.share {
		l, h = r.events.Interval(level)
	} else {
		l, h = r.mean.Interval(level)
		l, h = r.scale.from(l), r.scale.from(h)
	}
	return known(l), known(h)
}

func (r *rating) value() float64 {
	if r.share {
		return r.raw.K / r.raw.N
	}
	return r.scale.from(r.mean.Value)
}

// counts are the events and tries of a share.
func (r *rating) counts() (events, of *int) {
	if !r.share {
		return nil, nil
	}
	k, n := int(r.raw.K), int(r.raw.N)
	return &k, &n
}

func (r *rating) estimate(robot string) schemas.FleetEstimate {
	e := schemas.FleetEstimate{Robot: robot, Matches: r.matches, Value: r.value(), Weakest: r.weakest}
	e.Low, e.High = r.interval(sureness)
	e.Events, e.Of = r.counts()
	return e
}

// known is nil for what is no number.
func known(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}
