package score

import (
	"fmt"
	"math"
	"path"
	"runtime/debug"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Case is one match to score: what was true, what was reported, and the little besides that
// a fair comparison needs. Times are log time in s.
type Case struct {
	Truth, Got  *schemas.Report
	WithHistory *schemas.Report   // of the same log, with earlier matches; nil when not made
	Earlier     []*schemas.Report // truth of those earlier matches
	NoHistory   bool              // it was to be made, and no earlier match is like this one
	Unsure      map[string][]int  // by list of the report: rows of Truth that may be a trouble or none
	Creeps      []schemas.Jam     // where a piece may be said to have stood or to have moved
	Stages      []Stage           // of the path, in order
	CutOffV     float64
	// VoltageNoise is the standard deviation of the voltage sensor, V, quantization included.
	VoltageNoise float64
	// Poor are the kinds of sensor faults that may rightly be told although the truth has none.
	Poor    []string
	LogEndS float64

	// How each of the truth's attempts was levelled; nil where nothing is known.
	Attempts []sim.Attempt
	NoDrive  bool // in the log: nothing tells why it swings

	// Profiles that were proposed for its log, under several kinds of names.
	Suggested []Suggested

	// Poor damping, and what came of the gains that were advised for it.
	Retuned []Retuned
}

// at is a time as the sheet shows it: match time.
func (c *Case) at(logS float64) string { return fmt.Sprintf("%.1f s", logS-c.Truth.Match.StartS) }

func (c *Case) hours() float64 { return (c.Truth.Match.EndS - c.Truth.Match.StartS) / 3600 }

// endOf is the end of something that may last to the end of the log.
func (c *Case) endOf(end *float64) float64 {
	if end == nil {
		return c.LogEndS
	}
	return *end
}

// played is what is kept of a match: sums, not samples.
type played struct {
	seed       uint64
	conditions []string
	hours      float64
	tallies    map[string]*Tally
	failure    string // why there are none
}

// play simulates, analyzes and scores one match. A panic or an error of the simulator or
// the analysis is the failure of this match alone.
func play(o Options, subjects []Subject, seed uint64, history bool) (out played) {
	out.seed = seed
	doing := "the simulator"
	defer func() {
		if p := recover(); p != nil {
			out.tallies, out.failure = nil, fmt.Sprintf("%s panicked: %v%s", doing, p, where(debug.Stack()))
		}
	}()
	m, err := sim.RunOptions(sim.Options{Scenario: o.Scenario, Seed: seed, With: o.With})
	if err != nil {
		out.failure = err.Error()
		return out
	}
	out.conditions = m.Conditions
	c, in := &Case{Truth: m.Truth}, analysis.Input{}
	if slices.ContainsFunc(subjects, Subject.needsReport) {
		doing = "the analysis"
		if c, in, err = caseOf(m); err != nil {
			out.failure = err.Error()
			return out
		}
	}
	out.hours = c.hours()
	if history {
		doing = "the analysis with history"
		if in.History, c.Earlier, err = earlier(m, seed); err != nil {
			out.failure = err.Error()
			return out
		}
		if c.NoHistory = in.History == nil; !c.NoHistory {
			c.WithHistory, err = analysis.Run(in)
		}
		if err != nil {
			out.failure = err.Error()
			return out
		}
	}
	if slices.ContainsFunc(subjects, func(s Subject) bool { return s.Name == "balance" }) {
		doing = "the simulator with the advised gains"
		if c.Retuned, err = tryAdvice(o, seed, m, c.Got, c.NoDrive); err != nil {
			out.failure = err.Error()
			return out
		}
	}
	if slices.ContainsFunc(subjects, func(s Subject) bool { return !s.needsReport() }) {
		doing = "the proposal of a profile"
		if c.Suggested, err = suggestAll(m, seed); err != nil {
			out.failure = err.Error()
			return out
		}
	}
	doing = "the score"
	out.tallies = map[string]*Tally{}
	for _, s := range subjects {
		out.tallies[s.Name] = s.Score(c)
	}
	return out
}

// needsReport is false for the subject that looks at the log alone.
func (s Subject) needsReport() bool { return s.Name != "suggest" }

// caseOf analyzes the log of a match the way a file without history is analyzed.
func caseOf(m *sim.Match) (*Case, analysis.Input, error) {
	p, err := profile.Parse("robot.yaml", m.Profile)
	if err != nil {
		return nil, analysis.Input{}, err
	}
	all, err := analysis.Inputs(p, m.Log)
	if err != nil {
		return nil, analysis.Input{}, err
	}
	if len(all) != 1 {
		return nil, analysis.Input{}, fmt.Errorf("the log holds %d matches, not one", len(all))
	}
	in := all[0]
	got, err := analysis.Run(in)
	if err != nil {
		return nil, in, err
	}
	_, end, _ := m.Log.Bounds()
	c := &Case{
		Truth: m.Truth, Got: got, Unsure: m.Unsure, Creeps: m.Creeps, Attempts: m.Attempts, Stages: stagesOf(p, m.Log),
		LogEndS: schemas.Seconds(end),
	}
	for _, condition := range m.Conditions {
		c.Poor = append(c.Poor, poorSensors()[condition]...)
	}
	c.NoDrive = p.Balance == nil || p.Balance.Drive == nil || m.Log.Find(p.Balance.Drive.Signal) == nil
	if p.Power != nil && p.Power.Brownout != nil {
		c.CutOffV = p.Power.Brownout.EnterV
		if c.VoltageNoise, err = noiseOf(p.Power.Voltage, in.Log, in.Match.Start); err != nil {
			return nil, in, err
		}
	}
	return c, in, nil
}

// earlier are the reports of two earlier matches of the same robot, driver and field in which
// nothing went wrong, and what was true of them: the conditions that are no trouble, on a story without any. Their seeds
// are off all that are scored. It is nil for a match whose field is drawn from its seed,
// as none is earlier on the same field.
func earlier(m *sim.Match, seed uint64) (got, truth []*schemas.Report, err error) {
	const family = 1 << 40
	var everyday []string
	for _, c := range sim.Conditions() {
		if !slices.Contains(m.Conditions, c.Name) {
			continue
		}
		if slices.Contains(drawnFields(), c.Name) {
			return nil, nil, nil
		}
		if c.Kind == sim.Robot || c.Kind == sim.Confounder {
			everyday = append(everyday, c.Name)
		}
	}
	for n := range uint64(2) {
		e, err := sim.RunOptions(sim.Options{Scenario: "clean", Seed: family + 2*seed + n, With: everyday, MatchName: fmt.Sprintf("h%d", n+1)})
		if err != nil {
			return nil, nil, err
		}
		c, _, err := caseOf(e)
		if err != nil {
			return nil, nil, err
		}
		c.Got.Match.Season, c.Got.Match.Event, c.Got.Match.Match = e.Season, e.Event, e.MatchName
		got, truth = append(got, c.Got), append(truth, c.Truth)
	}
	return got, truth, nil
}

// drawnFields are the conditions by which the places of a field depend on the seed.
func drawnFields() []string { return []string{"moved-zones", "short-way", "two-pickups", "two-goals"} }

// unsure says whether the truth leaves open if row i of a list is a trouble.
func (c *Case) unsure(list string, i int) bool { return slices.Contains(c.Unsure[list], i) }

// sure is a pairing without the true rows that may be a trouble or none: what was told of
// them is neither right nor false. They are counted under "LIST left out, undecidable".
func (c *Case) sure(t *Tally, list string, p pairing) pairing {
	out := pairing{extra: p.extra}
	left := 0
	for _, x := range p.pairs {
		if c.unsure(list, x[0]) {
			left++
			continue
		}
		out.pairs = append(out.pairs, x)
	}
	for _, i := range p.missed {
		if c.unsure(list, i) {
			left++
			continue
		}
		out.missed = append(out.missed, i)
	}
	if left > 0 {
		t.add(list+" left out, undecidable", float64(left), 0)
	}
	return out
}

// poorSensors are the conditions that spoil readings without a fault in the truth, which
// lists only sensors that cannot be true, and the kinds of faults that may rightly be told of
// such readings. With one of them on nobody knows how many of that kind there should be.
func poorSensors() map[string][]string {
	return map[string][]string{
		"beam-flickers":        {"flicker"},
		"beam-misses-some":     {"stuck false"},
		"roller-encoder-slips": {"outlier"},
		"wheels-slip":          {"outlier"},
		"imu-spikes":           {"outlier"},
		"imu-drops-out":        {"outlier"},
		"imu-feels-turns":      {"outlier"},
	}
}

func stagesOf(p *profile.Profile, log *schemas.Log) []Stage {
	if p.Path == nil {
		return nil
	}
	var out []Stage
	for _, s := range p.Path.Stages {
		out = append(out, Stage{s.Name, s.Sensor != nil && log.Find(s.Sensor.Signal) != nil})
	}
	return out
}

// noiseOf is the standard deviation of the voltage sensor, V, by its samples before the
// match, when next to nothing draws current; by all of them when there are few. A sensor
// coarser than its noise shows none at rest: the spread of one step is the least.
func noiseOf(ref *profile.Ref, log *schemas.Log, start int64) (float64, error) {
	f, err := ref.Volts(log)
	if err != nil || f == nil || len(f.T) == 0 {
		return 0, err
	}
	if rest := f.Between(f.T[0], start); len(rest.T) >= 100 {
		f = rest
	}
	values := slices.Clone(f.V)
	slices.Sort(values)
	step := math.Inf(1)
	for i := 1; i < len(values); i++ {
		if d := values[i] - values[i-1]; d > 1e-9 {
			step = math.Min(step, d)
		}
	}
	if math.IsInf(step, 1) {
		step = 0
	}
	return math.Max(stat.Noise(f.T, f.V), step/math.Sqrt(12)), nil
}

// where names the first line of our own code below the panic in a stack, which debug.Stack
// gives as pairs of lines: the function, then its file.
func where(stack []byte) string {
	_, below, _ := strings.Cut(string(stack), "\npanic(")
	lines := strings.Split(below, "\n")
	for i := 1; i+1 < len(lines); i++ {
		if !strings.HasPrefix(lines[i], "github.com/afterbell/afterbell/") {
			continue
		}
		file, _, _ := strings.Cut(strings.TrimSpace(lines[i+1]), " ")
		return " at " + path.Base(path.Dir(file)) + "/" + path.Base(file)
	}
	return ""
}
