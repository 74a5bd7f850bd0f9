package suggest

import (
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/schemas/profile"
)

// stage is one stage of the proposed path: a beam, a motor, or both.
type stage struct {
	beam   *beam
	motor  *motor
	sure   float64 // that the motor belongs here
	rivals []rival // motors that may belong here instead
}

type rival struct {
	motor *motor
	sure  float64
}

// site is a place along the path: at a beam, or between two.
type site struct {
	beam    int // of the chain; -1 between
	windows []interval
	moves   []int64 // when a piece must be driven on from here
}

// sites are the places along a chain of beams, in order of passing: before the first, at it,
// between it and the next ...
func sites(chain []beam) []site {
	var out []site
	for k, b := range chain {
		between := site{beam: -1}
		if k == 0 {
			for _, r := range b.runs {
				between.windows = append(between.windows, interval{Start: r.Start - 6e5, End: r.Start})
				between.moves = append(between.moves, r.Start)
			}
		} else {
			between.windows, between.moves = gaps(chain[k-1].runs, b.runs)
		}
		at := site{beam: k, windows: b.runs}
		for _, r := range b.runs {
			at.moves = append(at.moves, r.End-2e4)
		}
		out = append(out, between, at)
	}
	return out
}

// gaps are the stretches from leaving one beam to reaching the next, at most 6 s long.
func gaps(a, b []interval) (out []interval, reached []int64) {
	for _, r := range b {
		for i := len(a) - 1; i >= 0; i-- {
			if a[i].Start < r.Start {
				if a[i].End < r.Start && r.Start-a[i].End < 6e6 {
					out = append(out, interval{Start: a[i].End, End: r.Start})
				}
				reached = append(reached, r.Start)
				break
			}
		}
	}
	return out, reached
}

// driven says how much likelier the times at which pieces moved on are if this motor moved
// them: it runs then, while another one runs only as often as it does in the second around.
func (m *motor) driven(l *look, moves []int64) float64 {
	if len(moves) == 0 || m.running == nil {
		return 0
	}
	u := m.command.v
	at := func(t int64) int { return min(max(int(float64(t-l.start)/1e6*perSec), 0), l.n-1) }
	ran := 0
	for _, t := range moves {
		if on := u[at(t)]; !math.IsNaN(on) && on != 0 {
			ran++
		}
	}
	all := 0
	for _, v := range u {
		if !math.IsNaN(v) && v != 0 {
			all++
		}
	}
	base := math.Min(0.95, math.Max(0.02, float64(all)/float64(l.n)))
	yes, no := float64(ran), float64(len(moves)-ran)
	// Half of the weight: pieces are pulled by their neighbours too.
	odds := 0.5 * (yes*math.Log(0.9/(0.3+0.7*base)) + no*math.Log(0.1/(1-base)))
	return math.Max(-5, math.Min(2.5, odds))
}

// ofPath puts motors to places along the chain of beams. Most stages have a beam (common
// practice: without one nobody knows where a piece is).
func (l *look) ofPath(all []beam, motors []motor) []stage {
	var chain, doubtful []beam
	for _, b := range all {
		if b.odds > 0 {
			chain = append(chain, b)
		} else {
			doubtful = append(doubtful, b)
		}
	}
	out := l.alongBeams(chain, motors)
	for i := range doubtful {
		out = append(out, stage{beam: &doubtful[i]})
	}
	return out
}

func (l *look) alongBeams(chain []beam, motors []motor) []stage {
	if len(chain) == 0 {
		return nil
	}
	places := sites(chain)
	// One slot for each motor; the beams are what is used once.
	taken := make([]*signal, len(chain))
	for k := range chain {
		taken[k] = &signal{at: k}
	}
	slots := make([]slot, len(motors))
	for j := range motors {
		m := &motors[j]
		var corr []float64
		for _, p := range places {
			corr = append(corr, l.loadedBy(m, p.windows))
		}
		for i, p := range places {
			odds := -2.5 + 10*corr[i] + m.driven(l, p.moves)
			o := option{odds: odds}
			if p.beam >= 0 {
				o.uses = []use{{s: taken[p.beam], sure: 1}}
				o.odds += 2.5 + l.ofOnePart(m, chain[p.beam].s)
			}
			slots[j].options = append(slots[j].options, o)
		}
	}
	p := solve(slots, len(chain))
	return stagesOf(chain, motors, places, p)
}

// ofOnePart says how much names speak for a motor and a beam being of one stage.
func (l *look) ofOnePart(m *motor, b *signal) float64 {
	most := 0.0
	for _, s := range []*signal{m.command, m.current, m.speed} {
		if s != nil {
			most = math.Max(most, l.kinship(s, b))
		}
	}
	return 1.5 * most
}

func stagesOf(chain []beam, motors []motor, places []site, p [][]float64) []stage {
	var out []stage
	for i, where := range places {
		if where.beam >= 0 {
			st := stage{beam: &chain[where.beam]}
			for j := range motors {
				switch {
				case p[j][i] >= 0.5:
					st.motor, st.sure = &motors[j], p[j][i]
				case p[j][i] >= 0.1:
					st.rivals = append(st.rivals, rival{&motors[j], p[j][i]})
				}
			}
			out = append(out, st)
			continue
		}
		for j := range motors {
			if p[j][i] >= 0.5 {
				out = append(out, stage{motor: &motors[j], sure: p[j][i]})
			}
		}
	}
	return out
}

// uses are the signals of the stages as roles, k the place in the order.
func (st *stage) uses(k int) []use {
	var out []use
	if b := st.beam; b != nil {
		out = append(out, use{
			role: "path.stages.sensor", of: k, s: b.s, ref: b.ref, sure: 1 / (1 + math.Exp(-b.odds)),
			why: fmt.Sprintf("%d passes, in order with the beam before in %.0f %%", len(b.runs), 100*b.order),
		})
	}
	add := func(m *motor, sure float64) {
		command := profile.Ref{}
		if m.commandScale != 1 && m.command.quantity == nil {
			command.Unit = "%"
		}
		where := "runs when pieces move here"
		out = append(out, use{role: "path.stages.command", of: k, s: m.command, ref: command, sure: sure * m.sureCommand, why: where})
		if m.current != nil {
			out = append(out, use{
				role: "path.stages.current", of: k, s: m.current, ref: scaled(m.current, m.currentScale, "mA"), sure: sure * m.sureCurrent,
				why: fmt.Sprintf("with the speed it is what command and supply ask for (%.1f %%)", 100*m.fit),
			})
		}
		if m.speed != nil {
			speed := profile.Ref{}
			if m.speed.quantity == nil && m.speed.q99 > 200 {
				speed.Unit = "rpm" // behind its gears no roller turns at 200 rad/s (common practice)
			}
			out = append(out, use{
				role: "path.stages.speed", of: k, s: m.speed, ref: speed, sure: sure * m.sureSpeed,
				why: fmt.Sprintf("follows the command (%.1f %%)", 100*m.fit),
			})
		}
	}
	if st.motor != nil {
		add(st.motor, st.sure)
	}
	for _, r := range st.rivals {
		add(r.motor, r.sure)
	}
	return out
}

// nameOf is what the names of a stage's signals have in common and those of other stages have
// not.
func nameOf(signals []*signal, counts map[string]int, otherwise string, used []string) string {
	type vote struct {
		word string
		n    int
	}
	var votes []vote
	for _, s := range signals {
		for i, w := range s.words {
			if has(s.words[:i], w) || general(w) || len(w) < 2 {
				continue
			}
			k := slices.IndexFunc(votes, func(v vote) bool { return v.word == w })
			if k < 0 {
				votes = append(votes, vote{w, 0})
				k = len(votes) - 1
			}
			votes[k].n++
		}
	}
	best, points := otherwise, 0.0
	for _, v := range votes {
		// A word that all of these have and few others.
		score := float64(v.n*v.n) / float64(max(1, counts[v.word]))
		if score > points && score >= 0.9 && !has(used, v.word) {
			best, points = v.word, score
		}
	}
	return best
}

// slots are the parts of the profile a stage has: its beam, and the motor that may be its own.
func (st *stage) slots(k int) []slot {
	var out []slot
	for _, u := range st.uses(k) {
		odds := 4.0
		switch {
		case u.role == "path.stages.sensor":
			odds, u.sure = st.beam.odds, 1
		case st.motorOf(u) == nil:
		default:
			odds = st.motorOf(u).odds()
		}
		name := fmt.Sprint("stage ", k, " ", u.role)
		i := slices.IndexFunc(out, func(s slot) bool { return s.name == name })
		if i < 0 {
			out = append(out, slot{name: name})
			i = len(out) - 1
		}
		// Several motors may be told for one stage: their parts of the sureness are odds here.
		o := option{odds: odds + math.Log(math.Max(u.sure, 1e-3)/math.Max(1-u.sure, 1e-2)), uses: []use{u}, shares: u.role == "path.stages.current"}
		if u.role == "path.stages.sensor" {
			o.odds = odds
		} else {
			o.odds = logit(sigmoid(odds) * u.sure)
		}
		o.uses[0].sure = 1
		out[i].options = append(out[i].options, o)
	}
	return out
}

func sigmoid(x float64) float64 { return 1 / (1 + math.Exp(-x)) }

func logit(p float64) float64 {
	p = math.Min(0.999, math.Max(1e-4, p))
	return math.Log(p / (1 - p))
}

func (st *stage) motorOf(u use) *motor {
	if m := st.motor; m != nil && (m.command == u.s || m.current == u.s || m.speed == u.s) {
		return m
	}
	for _, r := range st.rivals {
		if m := r.motor; m.command == u.s || m.current == u.s || m.speed == u.s {
			return m
		}
	}
	return nil
}

// odds says how much the signals of a motor are that of one.
func (m *motor) odds() float64 {
	odds := -0.5 + m.command.named("command")
	switch {
	case m.current != nil && m.speed != nil:
		odds += 30 * (m.fit - 0.88)
	case m.speed != nil:
		odds += 15 * (m.fit - 0.8)
	}
	return math.Min(odds, 6)
}

// oneOfSeveral is how sure it can be at most that a branch's current is that of one motor: what
// a breaker feeds may be this motor alone, or several.
const oneOfSeveral = 0.45

// shared makes less of a motor's current that is a branch's already.
func (m *motor) shared(branches []slot) {
	if inSum(m.current, branches) {
		m.sureCurrent *= oneOfSeveral
	}
}

func inSum(s *signal, branches []slot) bool {
	return slices.ContainsFunc(branches, func(b slot) bool { return b.options[0].odds > 0 && b.options[0].uses[0].s == s })
}
