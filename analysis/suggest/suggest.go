// Package suggest proposes a robot profile for a log: which signal is the supply voltage,
// which is the beam of which stage, and so on, each with how sure that is and why.
//
// A name is a hint; what a signal does is the evidence. A battery sags as current flows, a
// motor obeys u V = R i + K w, the parts of a current add up to the whole, pieces block beams
// one after another, a place changes in the direction the robot looks, a tilt's rate is its
// derivative, an arm comes to where it is sent. None of that depends on what anybody calls it.
//
// It goes in three steps, one file a subject:
//
//   - facts: look lays all signals on one grid and finds what each does by itself, and when the
//     robot does nothing at all
//   - finders: power, mode, motion, beams, motors, path and counters say for a part of the
//     profile which signals may fill it together, as log-odds against their doing by chance what
//     is seen of them; words adds what their names say
//   - assign: a joint assignment of all parts, in which a signal is used once. Its probabilities
//     are the sureness that is told. Two signals that do the same share it, and neither is
//     mapped.
//
// Sizes of evidence and limits are physics and common practice where they say so and else
// chosen by us; none is fitted to any log. go run ./cmd/dev score suggest says how well it does.
package suggest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// Proposal is what a log's signals may mean.
type Proposal struct {
	Mapped []Mapped            `json:"mapped"` // in the order of the profile
	Open   []Mapped            `json:"open"`   // under a half: to be looked at, not used
	Values map[string][]string `json:"mode_values"`
	Unused []string            `json:"unused"` // signals for which there is no use
	Signs  Signs               `json:"seen"`
	Ways   map[int]float64     `json:"-"` // range of a move's position, by Mapped.At
}

// Signs are what the log as a whole shows.
type Signs struct {
	Signals int     `json:"signals"`
	Seconds float64 `json:"looked_at_s"`
	QuietS  float64 `json:"quiet_s"` // in which nothing moved
}

// Mapped is one signal in one role.
type Mapped struct {
	Role   string      `json:"role"` // as in profile.NamedRef, without the index: path.stages.sensor
	Of     string      `json:"of"`   // name of the stage, branch or move
	At     int         `json:"at"`   // its place in the list, from 0
	Signal string      `json:"signal"`
	Ref    profile.Ref `json:"-"`
	How    string      `json:"how"` // unit or form it is read in, empty when as it is
	Sure   float64     `json:"sure"`
	Why    string      `json:"why"`
	Others []Other     `json:"others"` // what else may play this role
}

// Other is another signal for a role.
type Other struct {
	Signal string  `json:"signal"`
	Sure   float64 `json:"sure"`
}

// Least sureness: of what is mapped, and of what is told at all.
const (
	enough  = 0.5
	leastOf = 0.12
	most    = 0.99 // nothing that a log shows is certain
)

// Propose says what the signals of a log may mean. The log is normalized and not changed; a log
// without anything to go by gives an empty proposal.
func Propose(log *schemas.Log) Proposal {
	l := lookAt(log)
	out := Proposal{Mapped: []Mapped{}, Open: []Mapped{}, Unused: []string{}, Ways: map[int]float64{}, Values: map[string][]string{}, Signs: Signs{Signals: len(log.Signals), Seconds: float64(l.n) * stepS, QuietS: float64(l.quietN) * stepS}}
	if l.n < int(2*perSec) {
		for _, s := range log.Signals {
			out.Unused = append(out.Unused, s.Name)
		}
		return out
	}
	slots, stages, values := l.slots()
	p := solve(slots, len(l.signals))
	found := claims(slots, p)
	l.write(&out, found, stages)
	for _, m := range slices.Concat(out.Mapped, out.Open) {
		if m.Role == "mode.signal" {
			for s, meaning := range values {
				if s.name == m.Signal {
					out.Values = meaning
				}
			}
			break
		}
	}
	return out
}

// slots asks all finders, in an order in which each has what it needs of the ones before.
func (l *look) slots() ([]slot, []stage, map[*signal]map[string][]string) {
	currents := l.currents()
	mode, values := l.modes()
	supply := l.supply(currents)
	var volts, whole *signal
	voltScale := 1.0
	if o := likeliest(supply); o != nil {
		volts = o.uses[0].s
		if o.uses[0].ref.Unit == "mV" {
			voltScale = 1e-3
		}
		if len(o.uses) > 1 {
			whole = o.uses[1].s
		}
	}
	motors := l.motors(volts, voltScale)
	pose, ways := l.poses()
	not := map[*signal]bool{volts: true, whole: true}
	for _, m := range motors {
		not[m.current], not[m.speed] = true, true
	}
	if o := likeliest(mode); o != nil {
		for _, u := range o.uses {
			not[u.s] = true
		}
	}
	beams := chain(l.mayBeBeams(not))
	counters := l.counters()
	counting := l.counting(counters, lastRuns(beams))
	scored := scoredAt(counting, counters)
	tilt := l.tilts()

	out := []slot{mode, supply, pose, tilt, counting, l.aims(scored), l.assists(scored), l.batteryName(), l.drives(likeliestWay(ways, pose))}
	branches := l.branches(currents, whole, volts)
	out = append(out, branches...)
	out = append(out, l.moves(currents, branches)...)
	for i := range motors {
		motors[i].shared(branches)
	}
	stages := l.ofPath(beams, motors)
	for k := range stages {
		out = append(out, stages[k].slots(k)...)
	}
	return out, stages, values
}

// likeliest is the option of a slot with the best odds, nil when none is likelier than not.
func likeliest(s slot) *option {
	var best *option
	for i := range s.options {
		if o := &s.options[i]; o.odds > 0 && (best == nil || o.odds > best.odds) {
			best = o
		}
	}
	return best
}

func likeliestWay(ways []planar, pose slot) *planar {
	best := -1
	for i := range pose.options { // they are in the same order
		if pose.options[i].odds > 0 && (best < 0 || pose.options[i].odds > pose.options[best].odds) {
			best = i
		}
	}
	if best < 0 {
		return nil
	}
	return &ways[best]
}

// lastRuns is when the last beam that is likely one is blocked.
func lastRuns(beams []beam) []interval {
	for i := len(beams) - 1; i >= 0; i-- {
		if beams[i].odds > 0 {
			return beams[i].runs
		}
	}
	return nil
}

// scoredAt is when the signal that most likely counts scores rose.
func scoredAt(s slot, all []counter) []int64 {
	o := likeliest(s)
	if o == nil {
		return nil
	}
	for _, role := range []string{"cycles.score", "path.release"} {
		for _, u := range o.uses {
			for _, c := range all {
				if u.role == role && c.s == u.s {
					return c.rises
				}
			}
		}
	}
	return nil
}

// write turns claims into the proposal.
func (l *look) write(out *Proposal, found map[place][]claim, stages []stage) {
	names := l.partNames(found, len(stages))
	var places []place
	for at := range found {
		places = append(places, at)
	}
	slices.SortFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(rank(a.role), rank(b.role)), cmp.Compare(a.of, b.of), strings.Compare(a.role, b.role))
	})
	used := map[string]bool{}
	for _, at := range places {
		for i, c := range found[at] {
			if c.p < leastOf || i > 2 {
				break
			}
			m := Mapped{
				Role: at.role, Of: names[group(at)], At: at.of, Signal: c.s.name, Ref: c.ref, How: how(c.ref),
				Sure: math.Round(100*math.Min(most, c.p)) / 100, Why: c.why, Others: []Other{},
			}
			m.Ref.Signal = c.s.name
			if at.role == "moves.position" && i == 0 {
				out.Ways[at.of] = c.s.q99 - c.s.q01
			}
			for j, o := range found[at] {
				if j != i && o.p >= leastOf/2 && o.s != c.s {
					m.Others = append(m.Others, Other{o.s.name, math.Round(100*o.p) / 100})
				}
			}
			m.Others = append(m.Others, l.twins(c.s, m.Others)...)
			// Of two that are nearly as likely none is taken, whatever the one has by chance.
			ahead := i == 0 && (len(found[at]) < 2 || found[at][1].s == c.s || c.p-found[at][1].p > 0.1)
			if m.Sure > enough && ahead {
				out.Mapped = append(out.Mapped, m)
				used[m.Signal] = true
			} else if !(at.role == "power.branches.current") {
				out.Open = append(out.Open, m)
			}
		}
	}
	for _, s := range l.signals {
		if !used[s.name] {
			out.Unused = append(out.Unused, s.name)
		}
	}
	out.Unused = append(out.Unused, l.silent...)
}

// twins are signals that carry the same values all log long: either does.
func (l *look) twins(s *signal, told []Other) []Other {
	var out []Other
	for _, o := range l.signals {
		if o == s || o.num == nil || s.num == nil || o.kind != s.kind || slices.ContainsFunc(told, func(t Other) bool { return t.Signal == o.name }) {
			continue
		}
		if o.changes > 0 && slices.Equal(o.num.T, s.num.T) && slices.Equal(o.num.V, s.num.V) {
			out = append(out, Other{o.name, 0})
		}
	}
	return out
}

func how(r profile.Ref) string {
	switch {
	case r.Below != nil:
		return fmt.Sprintf("below %g", *r.Below)
	case r.Above != nil:
		return fmt.Sprintf("above %g", *r.Above)
	case r.Invert:
		return "inverted"
	case r.Unit != "":
		return "in " + r.Unit
	}
	return ""
}

// The order of the profile.
var order = []string{
	"mode.signal", "mode.enabled", "mode.autonomous", "power.voltage", "power.current", "power.battery", "power.branches",
	"path.stages", "path.release", "cycles.score", "cycles.handover", "cycles.align.error", "cycles.align.assist",
	"cycles.pose.x", "cycles.pose.y", "cycles.pose.heading", "balance.tilt", "balance.rate", "balance.drive", "moves",
}

func rank(role string) int {
	return slices.IndexFunc(order, func(o string) bool { return role == o || strings.HasPrefix(role, o+".") })
}

// group is the stage, branch or move a place belongs to; the zero place where there is one of
// its kind.
func group(at place) place {
	for _, list := range []string{"path.stages", "power.branches", "moves"} {
		if strings.HasPrefix(at.role, list+".") {
			return place{list, at.of}
		}
	}
	return place{}
}

// partNames names stages, branches and moves by the words of their signals.
func (l *look) partNames(found map[place][]claim, _ int) map[place]string {
	members := map[place][]*signal{}
	var groups []place
	for at, all := range found {
		g := group(at)
		if g.role == "" {
			continue
		}
		if members[g] == nil {
			groups = append(groups, g)
			members[g] = []*signal{}
		}
		if all[0].p >= enough {
			members[g] = append(members[g], all[0].s)
		}
	}
	slices.SortFunc(groups, func(a, b place) int { return cmp.Or(strings.Compare(a.role, b.role), cmp.Compare(a.of, b.of)) })
	out := map[place]string{}
	used := map[string][]string{}
	number := map[string]int{}
	for _, g := range groups {
		if len(members[g]) == 0 {
			continue
		}
		slices.SortFunc(members[g], func(a, b *signal) int { return cmp.Compare(a.at, b.at) })
		number[g.role]++
		kind := map[string]string{"path.stages": "stage", "power.branches": "branch", "moves": "move"}[g.role]
		otherwise := fmt.Sprint(kind, " ", number[g.role])
		if last := members[g][0].digits(); g.role == "power.branches" && last != "" && !has(used[g.role], kind+" "+last) {
			otherwise = kind + " " + last
		}
		name := nameOf(members[g], l.names, otherwise, used[g.role])
		used[g.role] = append(used[g.role], name)
		out[g] = name
	}
	return out
}
