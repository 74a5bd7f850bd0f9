package score

import (
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/analysis/suggest"
	"github.com/afterbell/afterbell/sample-logs/sim"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/units"
)

// Suggested is the profile that was proposed for the log of a match under other names.
type Suggested struct {
	Way      string // one of suggestWays
	Log      *schemas.Log
	Means    []sim.Meaning // under those names
	Stages   []string
	Profile  *profile.Profile  // the true one, under the names of the match
	Was      map[string]string // a signal's own name
	Gone     map[string]string // its unit, where that was taken away
	Proposal suggest.Proposal
}

// suggestWays are what becomes of the names and units of a log before a profile is proposed.
func suggestWays() []string {
	return []string{"own names", "random names", "random names, units kept", "foreign names", "random names, with strangers"}
}

func suggestFigures() []Figure {
	var out []Figure
	for _, way := range suggestWays() {
		out = append(
			out,
			Figure{Name: way + ": roles right", Kind: Rate, Leads: true},
			Figure{Name: way + ": mapped signals wrong", Kind: Rate, Leads: true, Small: true},
			Figure{Name: way + ": roles left open", Kind: Rate, Small: true},
			Figure{Name: way + ": ... the right signal among the alternatives", Kind: Rate},
			Figure{Name: way + ": converted as the true profile does, where right", Kind: Rate},
			Figure{Name: way + ": neighbouring stages in their order", Kind: Rate},
			Figure{Name: way + ": values of the mode right", Kind: Rate},
		)
	}
	return out
}

// suggestAll proposes a profile for a match under each way of names.
func suggestAll(m *sim.Match, seed uint64) ([]Suggested, error) {
	p, err := profile.Parse("robot.yaml", m.Profile)
	if err != nil {
		return nil, err
	}
	var out []Suggested
	for _, way := range suggestWays() {
		log, to, gone := renamed(m, way, seed)
		s := Suggested{Way: way, Log: log, Stages: m.Stages, Profile: p, Was: map[string]string{}, Gone: gone}
		for was, is := range to {
			s.Was[is] = was
		}
		for _, one := range m.Means {
			s.Means = append(s.Means, sim.Meaning{Signal: to[one.Signal], Role: one.Role, Of: one.Of})
		}
		s.Proposal = suggest.Propose(log)
		out = append(out, s)
	}
	return out, nil
}

// scoreSuggest compares what was proposed with what the signals are.
func scoreSuggest(c *Case) *Tally {
	t := newTally()
	for i := range c.Suggested {
		scoreWay(t, &c.Suggested[i])
	}
	return t
}

func scoreWay(t *Tally, s *Suggested) {
	part := s.parts()
	right := map[string]bool{}
	taken := map[string]bool{}
	for _, m := range s.Proposal.Mapped {
		ok := s.right(m, part)
		t.hit(s.Way+": mapped signals wrong", !ok)
		t.judge(s.Way, m.Sure, ok)
		taken[m.Signal] = true
		if ok {
			right[m.Role+"\n"+m.Signal] = true
			s.scoreConversion(t, m)
			continue
		}
		really := "stranger"
		if k := s.meaning(m.Signal); k != nil {
			really = k.Role
		}
		t.table("wrong, "+s.Way, really, m.Role)
		t.lose(1, s.Way+": wrong signal", "%s for %s of %s, which is %s; said with %.2f", s.was(m.Signal), m.Role, m.Of, really, m.Sure)
	}
	for _, m := range s.Proposal.Open {
		t.judge(s.Way, m.Sure, s.right(m, part))
	}
	for _, k := range s.Means {
		found := right[k.Role+"\n"+k.Signal] || s.standIn(k, right)
		t.hit(s.Way+": roles right", found)
		t.hit(s.Way+": roles left open", !found && !taken[k.Signal])
		if !found && !taken[k.Signal] {
			t.hit(s.Way+": ... the right signal among the alternatives", slices.ContainsFunc(s.Proposal.Open, func(m suggest.Mapped) bool { return m.Signal == k.Signal && m.Role == k.Role }))
		}
		if !found {
			t.table("not found, "+s.Way, k.Role, "")
		}
	}
	s.scoreOrder(t, part)
	s.scoreMode(t)
}

// standIn is whether a signal with just the same values was mapped in place of this one.
func (s *Suggested) standIn(k sim.Meaning, right map[string]bool) bool {
	for _, o := range s.Means {
		if o.Role == k.Role && o.Signal != k.Signal && right[k.Role+"\n"+o.Signal] && s.same(o.Signal, k.Signal) {
			return true
		}
	}
	return false
}

func (s *Suggested) was(name string) string {
	if was, ok := s.Was[name]; ok {
		return was
	}
	return name
}

func (s *Suggested) meaning(signal string) *sim.Meaning {
	for i := range s.Means {
		if s.Means[i].Signal == signal {
			return &s.Means[i]
		}
	}
	return nil
}

// part is a stage or move of the proposal.
type part struct {
	list string
	at   int
}

func partOf(m suggest.Mapped) part {
	list, _, _ := strings.Cut(m.Role, ".")
	return part{list, m.At}
}

// parts says which real stage or move each of the proposal's is: that of its beam or position,
// else the one most of its signals are of.
func (s *Suggested) parts() map[part]string {
	out := map[part]string{}
	votes := map[part]map[string]int{}
	for _, m := range s.Proposal.Mapped {
		k := s.meaning(m.Signal)
		if k == nil || k.Of == "" || m.Role != k.Role {
			continue
		}
		weight := 1
		if m.Role == "path.stages.sensor" || m.Role == "moves.position" {
			weight = 10
		}
		if votes[partOf(m)] == nil {
			votes[partOf(m)] = map[string]int{}
		}
		votes[partOf(m)][k.Of] += weight
	}
	for p, v := range votes {
		for _, of := range sortedKeys(v) {
			if out[p] == "" || v[of] > v[out[p]] {
				out[p] = of
			}
		}
	}
	return out
}

// right is whether a signal is what it is mapped as. A signal with just the values of the right
// one is as good.
func (s *Suggested) right(m suggest.Mapped, parts map[part]string) bool {
	for _, k := range s.Means {
		if k.Role != m.Role || k.Signal != m.Signal && !s.same(k.Signal, m.Signal) {
			continue
		}
		// A branch is one of a sum, whichever; a stage's or move's signals belong together.
		if k.Of == "" || k.Role == "power.branches.current" || parts[partOf(m)] == k.Of || parts[partOf(m)] == "" {
			return true
		}
	}
	return false
}

func (s *Suggested) same(a, b string) bool {
	x, y := s.Log.Find(a), s.Log.Find(b)
	if x == nil || y == nil || x.Kind != y.Kind || !slices.Equal(x.Time, y.Time) {
		return false
	}
	for i := range x.Time {
		if u, v := x.Number(i), y.Number(i); u != v && !(math.IsNaN(u) && math.IsNaN(v)) {
			return false
		}
	}
	return true
}

// scoreConversion compares the readings with those by the true profile, where that names the
// signal.
func (s *Suggested) scoreConversion(t *Tally, m suggest.Mapped) {
	was := s.was(m.Signal)
	for _, r := range s.Profile.Refs() {
		if r.Ref.Signal != was || withoutIndex(r.Role) != m.Role {
			continue
		}
		truth := *r.Ref
		truth.Signal = m.Signal
		if truth.Unit == "" && truth.Scale == nil { // the unit that rode on the signal may be gone
			truth.Unit = s.Gone[m.Signal]
		}
		switch r.Want {
		case profile.WantBool:
			a, errA := truth.Bool(s.Log)
			b, errB := m.Ref.Bool(s.Log)
			if errA != nil || errB != nil || a == nil || b == nil {
				return
			}
			same := 0
			for i := range a.V {
				if i < len(b.V) && a.V[i] == b.V[i] {
					same++
				}
			}
			t.hit(s.Way+": converted as the true profile does, where right", same > len(a.V)*97/100)
		case profile.WantNumber:
			read := func(ref *profile.Ref) (float64, bool) {
				f, err := ref.FloatIn(s.Log, r.Unit)
				if r.Unit == (units.Unit{}) {
					f, err = ref.Float(s.Log)
				}
				if err != nil || f == nil || len(f.V) == 0 {
					return 0, false
				}
				sum := 0.0
				for _, v := range f.V {
					sum += v * v
				}
				return math.Sqrt(sum / float64(len(f.V))), true
			}
			a, okA := read(&truth)
			b, okB := read(&m.Ref)
			if okA && okB && a > 0 {
				ok := math.Abs(b/a-1) < 0.02
				t.hit(s.Way+": converted as the true profile does, where right", ok)
				if !ok {
					t.table("converted otherwise, "+s.Way, m.Role, m.How)
				}
			}
		}
		return
	}
}

// withoutIndex is path.stages.sensor for path.stages[2].sensor.
func withoutIndex(role string) string {
	open, end := strings.IndexByte(role, '['), strings.IndexByte(role, ']')
	if open < 0 || end < open {
		return role
	}
	return role[:open] + role[end+1:]
}

func (s *Suggested) scoreOrder(t *Tally, parts map[part]string) {
	var at []int
	for p := range parts {
		if p.list == "path" {
			at = append(at, p.at)
		}
	}
	slices.Sort(at)
	for i := 1; i < len(at); i++ {
		a, b := slices.Index(s.Stages, parts[part{"path", at[i-1]}]), slices.Index(s.Stages, parts[part{"path", at[i]}])
		t.hit(s.Way+": neighbouring stages in their order", a < b)
		if a >= b {
			t.lose(0.5, s.Way+": stages in another order", "%s before %s", s.Stages[a], s.Stages[b])
		}
	}
}

func (s *Suggested) scoreMode(t *Tally) {
	if s.Profile.Mode == nil || s.Profile.Mode.Signal == nil {
		return
	}
	for _, m := range s.Proposal.Mapped {
		if m.Role != "mode.signal" || s.was(m.Signal) != s.Profile.Mode.Signal.Signal {
			continue
		}
		text, err := m.Ref.Text(s.Log)
		if err != nil || text == nil {
			return
		}
		got := profile.Mode{Values: s.Proposal.Values}
		seen := map[string]bool{}
		ok := true
		for _, v := range text.V {
			if seen[v] {
				continue
			}
			seen[v] = true
			a, _ := s.Profile.Mode.Of(v)
			b, known := got.Of(v)
			if !known {
				b = schemas.ModeDisabled // what is not listed counts as that
			}
			ok = ok && (a == b || a == "" && b == schemas.ModeDisabled)
		}
		t.hit(s.Way+": values of the mode right", ok)
		if !ok {
			t.lose(0.5, s.Way+": mode values wrong", "%v", s.Proposal.Values)
		}
	}
}
