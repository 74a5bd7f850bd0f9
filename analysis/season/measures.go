package season

import (
	"maps"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/stat"
)

// Match is what of one match, or session of practice, counts for the season. Nil is not known.
type Match struct {
	Event            string
	Practice         bool
	DriverS, RunS    float64  // of the driver period, and of both periods
	CycleS           *float64 // median of complete scoring cycles of the driver period
	Cycles           []stat.Lasted
	Stages           []Stage // along the path
	Mechanisms       []Mechanism
	Battery          string  // empty: not known
	Resistance       Reading // ohm
	OpenV            Reading // V without load
	LowestV          *float64
	BalanceSettleS   *float64 // median of the attempts that came level
	Attempts, Level  int      // balance attempts, and those that came level
	AutonomousPieces *int
}

// Reading is a value with its 95 % interval, as far as they are known.
type Reading struct{ Value, Low, High *float64 }

// Stage is a stage of the path in one match: pieces that entered it, and jams in it.
type Stage struct {
	Name                    string
	Passes, Jams, Reversals int
	TransitS                *float64 // median of the passes that nothing disturbed
	FreeA                   *float64 // current of its motor running lightly
}

// Mechanism is an arm or a lift in one match.
type Mechanism struct {
	Name    string
	SettleS *float64 // median of the moves that settled
}

// Measures are the series of a robot's matches, in order of time. The stages of the path come
// in the order they have in the newest match, batteries and mechanisms by name. What depends on
// how a match is played (cycles, lowest voltage, balance, autonomous) is of matches alone where
// there are any: practice is a kind of its own.
func Measures(matches []Match) []Series {
	g := &gathering{matches: matches, mixed: mixed(matches)}
	g.played("cycle_s", func(m *Match) *float64 { return m.CycleS })
	stages := stageNames(matches)
	for _, stage := range stages {
		g.shares("jam_rate/"+stage, func(m *Match) (events, tries int) {
			s := m.stage(stage)
			return s.Jams, s.Passes
		})
	}
	batteries := namesOf(matches, func(m *Match) []string { return []string{m.Battery} })
	for _, b := range batteries {
		g.readings("resistance_ohm/"+b, func(m *Match) Reading { return m.of(b, m.Resistance) })
	}
	g.besideOthers()
	g.played("lowest_v", func(m *Match) *float64 { return m.LowestV })
	g.played("balance_settle_s", func(m *Match) *float64 { return m.BalanceSettleS })
	g.shares("balance_level_rate", func(m *Match) (events, tries int) {
		if g.mixed && m.Practice {
			return 0, 0
		}
		return m.Level, m.Attempts
	})
	g.played("autonomous_score", func(m *Match) *float64 { return number64(m.AutonomousPieces) })
	g.wear(stages, batteries)
	return g.all
}

// wear gathers what changes before something fails, and practice.
func (g *gathering) wear(stages, batteries []string) {
	for i, stage := range stages {
		if i < len(stages)-1 { // in the last one pieces wait
			g.readings("transit_s/"+stage, func(m *Match) Reading { return Reading{Value: m.stage(stage).TransitS} })
		}
		g.readings("free_current_a/"+stage, func(m *Match) Reading { return Reading{Value: m.stage(stage).FreeA} })
		reversed := slices.ContainsFunc(g.matches, func(m Match) bool { return m.stage(stage).Reversals > 0 })
		if reversed { // never: nothing to follow
			g.shares("reversal_rate/"+stage, func(m *Match) (events, tries int) {
				s := m.stage(stage)
				return s.Reversals, s.Passes
			})
		}
	}
	for _, name := range namesOf(g.matches, func(m *Match) []string {
		var out []string
		for _, a := range m.Mechanisms {
			out = append(out, a.Name)
		}
		return out
	}) {
		g.readings("move_settle_s/"+name, func(m *Match) Reading {
			for _, a := range m.Mechanisms {
				if a.Name == name {
					return Reading{Value: a.SettleS}
				}
			}
			return Reading{}
		})
	}
	for _, b := range batteries {
		g.readings("open_circuit_v/"+b, func(m *Match) Reading { return m.of(b, m.OpenV) })
	}
	g.allBatteries(batteries)
	if g.mixed {
		g.readings("practice_cycle_s", func(m *Match) Reading {
			if !m.Practice {
				return Reading{}
			}
			return Reading{Value: m.CycleS}
		})
	}
}

// mixed is whether there are matches and sessions of practice.
func mixed(matches []Match) bool {
	practice := slices.ContainsFunc(matches, func(m Match) bool { return m.Practice })
	return practice && slices.ContainsFunc(matches, func(m Match) bool { return !m.Practice })
}

// stage is the stage of that name; without passes where the match has none.
func (m *Match) stage(name string) Stage {
	for _, s := range m.Stages {
		if s.Name == name {
			return s
		}
	}
	return Stage{}
}

// of is a reading of a battery, none when another was in.
func (m *Match) of(battery string, r Reading) Reading {
	if m.Battery != battery {
		return Reading{}
	}
	return r
}

// namesOf are those the matches have, sorted, without the empty one.
func namesOf(matches []Match, of func(*Match) []string) []string {
	seen := map[string]bool{}
	for i := range matches {
		for _, name := range of(&matches[i]) {
			seen[name] = name != ""
		}
	}
	delete(seen, "")
	return slices.Sorted(maps.Keys(seen))
}

// gathering makes series of matches, those that are empty left out.
type gathering struct {
	matches []Match
	mixed   bool
	all     []Series
}

// played is a reading that depends on how a match is played.
func (g *gathering) played(name string, of func(*Match) *float64) {
	g.readings(name, func(m *Match) Reading {
		if g.mixed && m.Practice {
			return Reading{}
		}
		return Reading{Value: of(m)}
	})
}

func (g *gathering) readings(name string, of func(*Match) Reading) {
	s := Series{Name: name, Unit: unitOf(name)}
	for i := range g.matches {
		m := &g.matches[i]
		if r := of(m); r.Value != nil {
			s.add(i, *r.Value, orNaN(r.Low), orNaN(r.High), m)
		}
	}
	g.keep(s)
}

func (g *gathering) shares(name string, of func(*Match) (events, tries int)) {
	s := Series{Name: name}
	for i := range g.matches {
		events, tries := of(&g.matches[i])
		s.addShare(i, events, tries, &g.matches[i])
	}
	g.keep(s)
}

func (g *gathering) keep(s Series) {
	if len(s.Index) > 0 {
		g.all = append(g.all, s)
	}
}

func number64(v *int) *float64 {
	if v == nil {
		return nil
	}
	f := float64(*v)
	return &f
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// add is a reading of a match; one that is no number is none.
func (s *Series) add(index int, value, low, high float64, m *Match) {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return
	}
	_, of, _ := strings.Cut(s.Name, "/")
	s.Passes, s.Hours = append(s.Passes, m.stage(of).Passes), append(s.Hours, m.RunS/3600)
	s.Index, s.Value = append(s.Index, index), append(s.Value, value)
	s.Low, s.High = append(s.Low, low), append(s.High, high)
}

// addShare is events of tries in a match; without tries there is no reading. More events than
// tries, such as two jams of one piece, count as all.
func (s *Series) addShare(index, events, tries int, m *Match) {
	if tries <= 0 {
		return
	}
	events = max(0, min(events, tries))
	low, high := stat.Wilson(events, tries, sureness)
	s.add(index, float64(events)/float64(tries), low, high, m)
	s.Events, s.Tries = append(s.Events, float64(events)), append(s.Tries, float64(tries))
}

// stageNames are the stages of the newest match that has any, then those of earlier ones.
func stageNames(matches []Match) []string {
	var out []string
	for i := len(matches) - 1; i >= 0; i-- {
		for _, g := range matches[i].Stages {
			if !slices.Contains(out, g.Name) {
				out = append(out, g.Name)
			}
		}
	}
	return out
}
