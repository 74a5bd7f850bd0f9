// Package compare lays one pass of a piece over this robot's good ones.
//
// Every pass is its own film; they are started together at the moment the piece came to one
// beam. Then at each moment the good passes give a median and a band that 8 in 10 of them
// keep to, for every signal of the path and for the supply, and the pass in question shows
// where it leaves the band: a jam leaves it where it stands.
//
// What looks alike: a pass of a piece close behind another one, or one that was held on
// purpose, leaves the band too. The band says what is usual, not what is right.
package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Match is one match as far as its passes can be compared.
type Match struct {
	Name    string // empty for the match of the pass in question
	Stages  []path.Stage
	Voltage *series.Float // V; may be nil
	Passes  []schemas.Pass
	Jams    []schemas.Jam     // believed and suspected: their pieces made no good pass
	Gaps    []series.Interval // stretches in which nothing at all was logged
	End     int64             // last sample, µs
}

// Input is a pass and what it is held against: the good passes of its own match and of
// earlier ones of the same robot, whose stages are found by their names.
type Input struct {
	Match
	Piece   int
	At      string // stage to align at; empty for the one before the jam, or where the piece was first seen
	Earlier []Match
}

// Config is how a comparison is made; all of it chosen by us.
type Config struct {
	StepS   float64 // s between the points
	BeforeS float64 // s shown before the piece came
	AfterS  float64 // s shown, and counted of a good pass, after the piece left
	JamS    float64 // s shown of a jam at least
	Fewest  int     // good passes that a median needs
	LeaveS  float64 // s outside the band that are worth telling
	HoldS   float64 // s for which a reading of a steady signal holds when the next is late, at least
	Most    int     // points at most: of a longer stretch the step grows
}

// DefaultConfig is what the program compares with.
func DefaultConfig() Config {
	return Config{StepS: 0.02, BeforeS: 0.5, AfterS: 0.5, JamS: 3, Fewest: 3, LeaveS: 0.1, HoldS: 0.2, Most: 2000}
}

// PassError says that a pass cannot be compared, and what can.
type PassError struct{ Text string }

func (e *PassError) Error() string { return e.Text }

func wrong(format string, args ...any) error { return &PassError{fmt.Sprintf(format, args...)} }

// Pass compares one pass. The error is a PassError when there is no such piece, stage, or
// the piece was not seen there. With fewer good passes than Config.Fewest the bands are NaN.
//
// Values are as they held at each point: a reading holds until the next one, but not across
// a gap of the log, nor, for currents, speeds and voltage, for longer than three usual steps
// of the signal or HoldS, whichever is more; there they are NaN. A good pass counts from
// BeforeS before it came until AfterS after it left. Quantiles are of type 7 (Hyndman and
// Fan, The American Statistician 50 (1996)).
func Pass(in Input, cfg Config) (*schemas.Comparison, error) {
	p, at, err := in.find()
	if err != nil {
		return nil, err
	}
	came := enter(p, at)
	out := &schemas.Comparison{
		Comparison: schemas.ComparisonVersion, Piece: in.Piece, Stage: in.Stages[at].Name, EnterS: schemas.Seconds(came),
	}
	all := in.films(at, cfg)
	for _, f := range all {
		out.Passes = append(out.Passes, schemas.ComparedPass{Match: f.match.Name, Piece: f.piece, EnterS: schemas.Seconds(f.came)})
	}
	grid := in.grid(p, came, all, cfg)
	for _, t := range grid {
		out.TimeS = append(out.TimeS, schemas.Seconds(t))
	}
	for _, t := range in.tracks() {
		s := schemas.ComparedSignal{Signal: t.signal, Role: t.role, Stage: t.stage, Unit: units[t.role]}
		until := int64(math.MaxInt64)
		if p.LeaveS != nil {
			until = schemas.Micros(*p.LeaveS + cfg.AfterS)
		}
		s.Value = film{match: &in.Match, came: came, until: until}.read(t, grid, cfg)
		rows := make([]schemas.Gappy, len(all))
		for i, f := range all {
			rows[i] = f.read(t, grid, cfg)
		}
		s.Median, s.Low, s.High, s.Count = band(rows, len(grid), cfg)
		s.Leaves = leaves(s, out.TimeS, cfg)
		out.Signals = append(out.Signals, s)
	}
	out.Finish()
	return out, nil
}

// units of the roles; a beam and a command have none.
var units = map[string]string{"current": "A", "speed": "rad/s", "voltage": "V"}

// find is the pass in question and the stage to align at.
func (in Input) find() (schemas.Pass, int, error) {
	i := slices.IndexFunc(in.Passes, func(p schemas.Pass) bool { return p.Piece == in.Piece })
	if i < 0 {
		if len(in.Passes) == 0 {
			return schemas.Pass{}, 0, wrong("no piece %d: the match has no passes", in.Piece)
		}
		return schemas.Pass{}, 0, wrong("no piece %d: the match has 1 to %d", in.Piece, in.Passes[len(in.Passes)-1].Piece)
	}
	p := in.Passes[i]
	var seen []string
	for k, s := range in.Stages {
		if enter(p, k) != unseen {
			seen = append(seen, s.Name)
		}
	}
	if len(seen) == 0 {
		return p, 0, wrong("no beam saw piece %d come: there is no moment to align its pass at", in.Piece)
	}
	if in.At != "" {
		at := slices.IndexFunc(in.Stages, func(s path.Stage) bool { return s.Name == in.At })
		if at < 0 || enter(p, at) == unseen {
			return p, 0, wrong("piece %d was not seen to come to stage %q: use %s", in.Piece, in.At, strings.Join(seen, ", "))
		}
		return p, at, nil
	}
	// Where it jammed, or the last beam before; else where it was first seen.
	last := 0
	for _, j := range in.Jams {
		if k := slices.IndexFunc(in.Stages, func(s path.Stage) bool { return s.Name == j.Stage }); j.Piece != nil && *j.Piece == in.Piece && k > 0 {
			last = k
			break
		}
	}
	for k := last; k >= 0; k-- {
		if enter(p, k) != unseen {
			return p, k, nil
		}
	}
	return p, slices.IndexFunc(in.Stages, func(s path.Stage) bool { return s.Name == seen[0] }), nil
}

const unseen = math.MinInt64

// enter is when a pass was first seen at a stage's beam.
func enter(p schemas.Pass, stage int) int64 {
	if stage >= len(p.Stages) || p.Stages[stage].EnterS == nil {
		return unseen
	}
	return schemas.Micros(*p.Stages[stage].EnterS)
}

// film is one good pass: when it came to the stage, and until when it counts.
type film struct {
	match       *Match
	piece       int
	came, until int64
}

// read are the values of a track while the film runs: once the piece has left, what its
// stages do is of another piece.
func (f film) read(t track, grid []int64, cfg Config) schemas.Gappy {
	out := f.match.read(t, f.came, grid, cfg)
	for k, at := range grid {
		if at > f.until-f.came {
			out[k] = math.NaN()
		}
	}
	return out
}

// films are the good passes of all matches at a stage: released, and in no jam, not even a
// suspected one. The pass in question is never one of them.
func (in *Input) films(at int, cfg Config) []film {
	var out []film
	for i := range in.Earlier {
		m := &in.Earlier[i]
		if k := slices.IndexFunc(m.Stages, func(s path.Stage) bool { return s.Name == in.Stages[at].Name }); k >= 0 {
			out = append(out, m.good(k, 0, cfg)...)
		}
	}
	return append(out, in.Match.good(at, in.Piece, cfg)...)
}

// good are the good passes of one match but that of one piece.
func (m *Match) good(at, but int, cfg Config) []film {
	var out []film
	for _, p := range m.Passes {
		jammed := slices.ContainsFunc(m.Jams, func(j schemas.Jam) bool { return j.Piece != nil && *j.Piece == p.Piece })
		if p.Piece == but || jammed || p.Outcome != schemas.PassReleased || p.LeaveS == nil || enter(p, at) == unseen {
			continue
		}
		out = append(out, film{match: m, piece: p.Piece, came: enter(p, at), until: schemas.Micros(*p.LeaveS + cfg.AfterS)})
	}
	return out
}

// grid are the points, µs since the piece came: from BeforeS before until the last good pass
// and the pass in question are over; of a jam at least JamS is shown.
func (in Input) grid(p schemas.Pass, came int64, all []film, cfg Config) []int64 {
	long := schemas.Micros(cfg.AfterS)
	for _, f := range all {
		long = max(long, f.until-f.came)
	}
	stuck := false
	for _, j := range in.Jams {
		if j.Piece != nil && *j.Piece == p.Piece {
			stuck = true
			long = max(long, schemas.Micros(j.StartS+min(cfg.JamS, j.EndS-j.StartS))-came)
		}
	}
	if p.LeaveS != nil && !stuck {
		long = max(long, schemas.Micros(*p.LeaveS+cfg.AfterS)-came)
	}
	before, step := schemas.Micros(cfg.BeforeS), schemas.Micros(cfg.StepS)
	step = max(step, (before+long)/int64(cfg.Most)+1)
	var out []int64
	for t := -before / step * step; t <= long; t += step {
		out = append(out, t)
	}
	return out
}
