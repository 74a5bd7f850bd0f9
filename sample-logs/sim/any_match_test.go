package sim

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"slices"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// A wider look than every run needs: go test ./sample-logs/sim -run AnyMatch -args -matches 100
var matches = flag.Uint64("matches", 20, "how many drawn matches, and as many of the exam, are held to what must hold for any")

// slack is half a step of the truth's rounding, twice, s.
const slack = 2e-6

// outside is one match seen from outside: what everybody gets of it.
type outside struct {
	*Match
	t           *testing.T
	where       string
	profile     *profile.Profile
	first, last float64 // s, of the log
}

// What must hold for any match in any combination of conditions: by the definitions of what
// is measured, from nothing but log, profile and truth; and the truth is what watchers tell
// who saw every step and share no code with it.
func TestAnyMatch(t *testing.T) {
	t.Parallel()
	schema := reportSchema(t)
	power, jams := powerAgreed{causes: map[string]int{}}, jamsAgreed{causes: map[string]int{}}
	released := map[string]int{}
	for seed := uint64(501); seed <= 500+*matches; seed++ {
		for _, scenario := range []string{Drawn, Exam} {
			o := Options{Scenario: scenario, Seed: seed}
			w, o, err := worldOf(o)
			require.NoError(t, err)
			where := fmt.Sprint(scenario, " ", seed, " ", w.scenario.with)
			run, see := watchPower(w), newOnlooker()
			for last := int(w.until / step); w.steps < last; w.steps++ {
				run.advance()
				see.look(w)
			}
			run.finish()
			run.agrees(t, where, &power)
			see.agrees(t, w, where, &jams)
			released[scenario] += gripped(t, w, where)

			m := from(t, w.match(o), where)
			whole(t, m.Match)
			m.validBy(schema)
			m.allIsNamed()
			m.periods()
			m.passes()
			m.jams()
			m.brownouts()
			m.cycles()
			m.balances()
			m.moves()
			m.gaps()
		}
	}
	t.Logf("%+v, %+v", power, jams)
	assert.Greater(t, power.dips, 20)
	assert.Greater(t, power.causes["weak_battery"], 3)
	assert.Greater(t, power.lines, 15)
	assert.Greater(t, power.rests, 12)
	assert.Greater(t, jams.jams, 25)
	assert.Positive(t, jams.stayed)
	assert.Positive(t, jams.causes["locked"])
	assert.Positive(t, jams.causes["slipping"])
	assert.Greater(t, released[Drawn], 25)
	assert.Greater(t, released[Exam], 25)
}

func from(t *testing.T, m *Match, where string) *outside {
	t.Helper()
	p, err := profile.Parse("robot.yaml", m.Profile)
	require.NoError(t, err, "%s\n%s", where, m.Profile)
	first, last, ok := m.Log.Bounds()
	require.True(t, ok)
	return &outside{Match: m, t: t, profile: p, first: schemas.Seconds(first), last: schemas.Seconds(last), where: where}
}

func reportSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	text, err := os.ReadFile("../../schemas/report.schema.json")
	require.NoError(t, err)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(t, err)
	c := jsonschema.NewCompiler()
	require.NoError(t, c.AddResource("report.schema.json", doc))
	schema, err := c.Compile("report.schema.json")
	require.NoError(t, err)
	return schema
}

func (m *outside) validBy(schema *jsonschema.Schema) {
	text, err := json.Marshal(m.Truth)
	require.NoError(m.t, err, m.where)
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	require.NoError(m.t, err, m.where)
	assert.NoError(m.t, schema.Validate(doc), m.where)
}

// allIsNamed: each signal the profile names is in the log or listed as missing.
func (m *outside) allIsNamed() {
	for _, r := range m.profile.Refs() {
		missing := slices.Contains(m.Truth.Quality.Missing, r.Ref.Signal)
		assert.Equal(m.t, missing, m.Log.Find(r.Ref.Signal) == nil, "%s: %s", m.where, r.Ref.Signal)
	}
}

// inside says whether a stretch is one, and in the log.
func (m *outside) inside(start, end float64, what string, n int) {
	assert.True(m.t, m.first-slack <= start && start <= end+slack && end <= m.last+slack, "%s: %s %d from %g to %g in a log from %g to %g", m.where, what, n, start, end, m.first, m.last)
}

func (m *outside) periods() {
	all := m.Truth.Match.Periods
	for i, p := range all {
		m.inside(p.StartS, p.EndS, "period", i)
		if i > 0 {
			assert.GreaterOrEqual(m.t, p.StartS, all[i-1].EndS-slack, m.where)
		}
	}
	if len(all) > 0 {
		assert.Equal(m.t, all[0].StartS, m.Truth.Match.StartS, m.where)
		assert.Equal(m.t, all[len(all)-1].EndS, m.Truth.Match.EndS, m.where)
	}
}

// stage is a stage's place in the path, -1 for none of that name.
func (m *outside) stage(name string) int {
	if m.profile.Path == nil {
		return -1
	}
	return slices.IndexFunc(m.profile.Path.Stages, func(s profile.Stage) bool { return s.Name == name })
}

// passes: a piece meets the stages in their order, and leaves each after it came.
func (m *outside) passes() {
	for i, p := range m.Truth.Passes {
		if i > 0 {
			assert.Greater(m.t, p.Piece, m.Truth.Passes[i-1].Piece, m.where)
		}
		if p.EnterS != nil && p.LeaveS != nil {
			m.inside(*p.EnterS, *p.LeaveS, "pass", i)
		}
		place, came := -1, math.Inf(-1)
		for _, s := range p.Stages {
			assert.Greater(m.t, m.stage(s.Stage), place, "%s: piece %d, %s", m.where, p.Piece, s.Stage)
			place = m.stage(s.Stage)
			seen := s.EnterS != nil || s.LeaveS != nil
			assert.False(m.t, seen && (s.EnterEstS != nil || s.LeaveEstS != nil), "%s: piece %d at %s is seen or reckoned, not both", m.where, p.Piece, s.Stage)
			enter, leave := s.EnterS, s.LeaveS
			if !seen {
				enter, leave = s.EnterEstS, s.LeaveEstS
			}
			if enter != nil && leave != nil {
				assert.LessOrEqual(m.t, *enter, *leave, "%s: piece %d at %s", m.where, p.Piece, s.Stage)
			}
			if enter != nil {
				// A beam that is slow, or seldom read, may show the piece later than the next.
				assert.Greater(m.t, *enter, came-0.25, "%s: piece %d at %s", m.where, p.Piece, s.Stage)
				came = *enter
			}
		}
		switch p.Outcome {
		case schemas.PassJammed:
			assert.Nil(m.t, p.LeaveS, "%s: piece %d", m.where, p.Piece)
			assert.True(m.t, slices.ContainsFunc(m.Truth.Jams, func(j schemas.Jam) bool { return *j.Piece == p.Piece && !j.Cleared }), "%s: piece %d", m.where, p.Piece)
		case schemas.PassHeld:
			assert.Nil(m.t, p.LeaveS, "%s: piece %d", m.where, p.Piece)
		}
	}
}

// jams: each is 0.3 s long, or cut by an end of the log; lies inside the pass of its piece;
// none of a piece overlaps another; its stage or a neighbour is driven meanwhile.
func (m *outside) jams() {
	ends := map[int]float64{}
	for i, j := range m.Truth.Jams {
		m.inside(j.StartS, j.EndS, "jam", i)
		if j.StartS > m.first+slack && j.EndS < m.last-slack {
			assert.GreaterOrEqual(m.t, j.EndS-j.StartS, 0.3-0.005, "%s: jam %d", m.where, i)
		}
		assert.Equal(m.t, j.Cleared, j.How != "", "%s: jam %d", m.where, i)
		if !j.Cleared {
			assert.InDelta(m.t, m.last, j.EndS, slack, "%s: jam %d", m.where, i)
		}
		if end, ok := ends[*j.Piece]; ok {
			assert.GreaterOrEqual(m.t, j.StartS, end, "%s: jam %d", m.where, i)
		}
		ends[*j.Piece] = j.EndS
		k := slices.IndexFunc(m.Truth.Passes, func(p schemas.Pass) bool { return p.Piece == *j.Piece })
		if len(m.Truth.Passes) > 0 && assert.GreaterOrEqual(m.t, k, 0, "%s: jam %d of no pass", m.where, i) {
			p := m.Truth.Passes[k]
			const seen = 0.25 // s, the slowest and most seldom read beam
			assert.True(m.t, p.EnterS == nil || *p.EnterS-seen <= j.StartS, "%s: jam %d before its piece came", m.where, i)
			assert.True(m.t, p.LeaveS == nil || p.Outcome != schemas.PassReleased || *p.LeaveS+seen >= j.EndS, "%s: jam %d after its piece left", m.where, i)
		}
		m.driven(i, j)
	}
	for _, i := range m.Unsure["jams"] {
		require.Less(m.t, i, len(m.Truth.Jams), m.where)
		j := m.Truth.Jams[i]
		assert.True(m.t, slices.ContainsFunc(m.Creeps, func(k schemas.Jam) bool {
			return *k.Piece == *j.Piece && k.StartS < j.EndS && j.StartS < k.EndS
		}), "%s: jam %d", m.where, i)
	}
}

func (m *outside) driven(i int, j schemas.Jam) {
	at := m.stage(j.Stage)
	require.GreaterOrEqual(m.t, at, 0, "%s: jam %d in %s", m.where, i, j.Stage)
	known, most := true, 0.0
	for k := max(0, at-1); k <= min(at+1, len(m.profile.Path.Stages)-1); k++ {
		ref := m.profile.Path.Stages[k].Command
		if ref == nil || m.Log.Find(ref.Signal) == nil {
			known = false
			continue
		}
		u, err := ref.Command(m.Log)
		require.NoError(m.t, err, m.where)
		for n, t := range u.T {
			if s := schemas.Seconds(t); s <= j.EndS && (s >= j.StartS || n+1 == len(u.T) || schemas.Seconds(u.T[n+1]) > j.StartS) && !math.IsNaN(u.V[n]) {
				most = max(most, u.V[n])
			}
		}
	}
	if known && !slices.ContainsFunc(m.Truth.Quality.Faults, func(f schemas.Fault) bool { return f.StartS < j.EndS && j.StartS < f.EndS }) {
		assert.Greater(m.t, most, 0.04, "%s: jam %d, nothing drives it", m.where, i)
	}
}
