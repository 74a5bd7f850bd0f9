// Package sim makes logs of matches that never were: a robot as springs, coils and belts, a
// battery, a field, and two people at the controls, stepped a millisecond at a time. Beside
// the log it gives the truth: what happened by the project's definitions, read from the
// noise-free state, so that analyses can be scored against it.
//
// It is written from physics and knows nothing of how any analysis looks for things. The
// same name and seed give the same match on every run; there is no wall clock in it. A
// seed varies the robot, its battery, the people and where the pieces lie.
//
// One file a subject:
//
//   - the match: sim (the front door), scenario (the stories), draw (matches without one),
//     world (one step of everything), periods, tally, random
//   - the robot, built: build and build_*; moved: battery, motor, supply, branch, load, limiter,
//     chassis, steering, body, arm, path (belts), piece, catch and hang (what makes a piece jam)
//   - the field: field, floor, platform, rivals, knocks, feeder and fit (pieces on their way in)
//   - who decides: program, leveller, loop_linear, orders; driver, driver_ways, climb, operator,
//     handovers; losses (what kept the robot from its job)
//   - what is seen: signals, channel, recorder, odometry, clock, arrived, reboot, and profile
//   - what is true: trace and power_record (kept while it runs), truth and truth_*
//   - what can be different: conditions, and conditions_* by subject; day, from match to match of a season
//
// To add a condition: give the part it changes a field whose zero leaves it out; add an entry
// (name, subject, kind, summary, odds, set) to the table in conditions_* of its subject, with a
// group if it excludes others; let set write to the scenario only, drawing from its own stream;
// make the truth right with it, or null; and write the test that it does what the summary says.
package sim

import (
	"fmt"
	"iter"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Info names one scenario.
type Info struct {
	Name    string
	Summary string
	Robot   string
	Seed    uint64 // the scenario's own, that of the committed log
}

// Match is one simulated match: what was logged, what the signals mean, and what was true.
type Match struct {
	Log     *schemas.Log
	Profile []byte          // robot.yaml
	Truth   *schemas.Report // only what the simulation knows; the rest is null or empty

	Season, Event, MatchName, Robot string
	At                              string // RFC 3339, wall clock of the start

	// Arrived are the samples of Log in the order the robot wrote them, late and doubled ones
	// included: a signal and the index of a sample in it. It is nil where they came in order.
	Arrived iter.Seq2[*schemas.Signal, int]

	Conditions []string // names of the conditions that were on, in the order of Conditions

	Means  []Meaning // what each signal of the log is, also where the profile is silent
	Stages []string  // of the path, in the order a piece passes them

	// Unsure has, by the report's list (cycles, jams), the indices of those rows of Truth of which
	// the definitions leave open whether they are a trouble (a cycle: slow). A score should
	// count neither a call nor a silence there.
	Unsure map[string][]int

	// Creeps are the stretches in which a piece went so slowly that it stood or moved by what is
	// called the same place; those that are jams of Truth are in Unsure too.
	Creeps []schemas.Jam

	// Attempts tell, for each of Truth.Balances, how it was levelled; nil without a tilt in the log.
	Attempts []Attempt

	// Levelling are the gains of the loop that levelled; nil when a person did, or a loop that
	// knows only one speed.
	Levelling *Gains

	// Damping is, for each of Truth.Balances, the damping ratio that the levelling loop's
	// equations, made straight at level, have with the given gains at the size of swing there
	// was. It is told also where these equations do not describe all of what happened; NaN where
	// the loop never had the board to itself. It is nil where Levelling is.
	Damping func(Gains) []float64
}

// Gains are those of a levelling loop.
type Gains struct {
	Tilt float64 // command, -1..1, per degree
	Rate float64 // command per degree a second

	// FromTip is for a robot that has these gains only from when the platform tips, each time, and
	// drives up the slope before with those it would have.
	FromTip bool
}

func (m *Match) leave(list string, rows []int) {
	if m.Unsure == nil {
		m.Unsure = map[string][]int{}
	}
	m.Unsure[list] = rows
}

// Options choose a match. What is left zero comes from the scenario, its own seed too.
type Options struct {
	Scenario string
	Seed     uint64
	With     []string // conditions to switch on besides, by name

	Season, Event, MatchName string
	At                       string
	Battery                  string  // which battery is in, as the log names it
	ResistanceOhm            float64 // its resistance, wiring included
	Gains                    *Gains  // of the levelling loop, in place of those it would have
	Day                      *Day    // how robot and people are on the day of the match
}

// Scenarios lists the stories, in the order of their telling, then Drawn and Exam.
func Scenarios() []Info {
	var out []Info
	for _, s := range slices.Concat(scenarios(), drawn()) {
		out = append(out, Info{Name: s.name, Summary: s.summary, Robot: s.robot, Seed: s.seed})
	}
	return out
}

// Run plays a scenario. Seeds vary parts, people and luck; the story stays, though luck may
// bend it (a robot that swings may come to rest just before the bell). Seed 0 is the
// scenario's own.
func Run(name string, seed uint64) (*Match, error) {
	return RunOptions(Options{Scenario: name, Seed: seed})
}

// RunOptions plays a scenario with some of its facts replaced.
func RunOptions(o Options) (*Match, error) {
	m, _, err := playWorld(o)
	return m, err
}

// playWorld is RunOptions with the world as the match left it.
func playWorld(o Options) (*Match, *world, error) {
	w, o, err := worldOf(o)
	if err != nil {
		return nil, nil, err
	}
	w.run()
	return w.match(o), w, nil
}

// worldOf is the world of a match about to begin, with the options it was made by.
func worldOf(o Options) (*world, Options, error) {
	s, ok := findScenario(o.Scenario)
	if !ok {
		var names []string
		for _, i := range Scenarios() {
			names = append(names, i.Name)
		}
		return nil, o, fmt.Errorf("scenario %q is not known: use one of %s", o.Scenario, strings.Join(names, ", "))
	}
	if o.Seed == 0 {
		o.Seed = s.seed
	}
	if err := s.prepare(o); err != nil {
		return nil, o, err
	}
	return newWorld(s, o), o, nil
}

// match is what everybody gets of a world that has come to its end.
func (w *world) match(o Options) *Match {
	s := w.scenario
	m := &Match{
		Log:       w.recorder.log(),
		Profile:   profileFor(w),
		Season:    or(o.Season, "2031"),
		Event:     or(o.Event, "millbrook-open"),
		MatchName: or(o.MatchName, s.match),
		Robot:     s.robot,
		At:        or(o.At, s.at),

		Conditions: s.with,

		Means:  w.recorder.means(),
		Stages: w.stageNames(),
	}
	m.Truth = truth(w, m)
	m.Attempts = w.attempts(m.Truth.Balances)
	m.Levelling, m.Damping = w.levelling(m.Truth.Balances)
	if c := s.sensors.clock; !c.right() {
		c.retime(m, w.begin)
	}
	if a := s.sensors.arrival; a.late > 0 || a.doubled > 0 {
		m.Arrived = a.arrived(m.Log)
	}
	return m
}

func or(s, otherwise string) string {
	if s == "" {
		return otherwise
	}
	return s
}
