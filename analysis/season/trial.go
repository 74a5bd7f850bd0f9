package season

import (
	"fmt"
	"math"
	"slices"
	"strings"

	gonum "gonum.org/v1/gonum/stat"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// Limits of a trial.
const (
	leastRuns  = 3 // of each version, before a measure is compared
	leastTurns = 3 // changes from one version to the other, so that a drift is no difference
	mostRuns   = 1000
)

// Compare answers whether two versions of something differ, which a robot had in turns: each match
// or session has the version whose entry in the parts log is the newest before it. The entries are
// named by their words, or a part of them that no other entry has. The last turn counts for as many runs as
// the longest before, since what stays in after a trial is no turn.
//
// Readings are compared by least squares with a line over the runs besides, so that a driver who
// learns meanwhile is no difference; shares by the events of each turn. All that is said holds
// however often one looks: one may stop when it is settled.
func Compare(robot, a, b string, names []schemas.SeasonMatch, matches []Match, changed []Changed) (schemas.Trial, error) {
	out := schemas.Trial{Trial: schemas.SeasonVersion, Robot: robot, Measures: []schemas.TrialMeasure{}, Notes: []string{}}
	entries, err := versions(a, b, changed)
	if err != nil {
		return out, err
	}
	out.A.Text, out.B.Text = entries[0].text, entries[1].text
	runs := ofOneKind(runsOf(entries, len(matches)), matches)
	t := &trial{}
	var held []Match
	for i, r := range runs {
		m := matches[r.match]
		held = append(held, m)
		t.ofB = append(t.ofB, r.b)
		side := &out.A
		if r.b {
			side = &out.B
		}
		name := names[r.match]
		name.Practice = m.Practice
		side.Runs, side.Places = append(side.Runs, name), append(side.Places, i)
		if i > 0 && runs[i-1].b != r.b {
			out.Turns++
		}
	}
	for _, side := range []*schemas.TrialSide{&out.A, &out.B} {
		if side.Runs == nil {
			side.Runs, side.Places = []schemas.SeasonMatch{}, []int{}
		}
	}
	all := Measures(held)
	all = slices.DeleteFunc(all, func(s Series) bool {
		n := t.count(&s)
		return min(n[0], n[1]) < leastRuns
	})
	for i := range all {
		out.Measures = append(out.Measures, t.measure(&all[i], len(all), out.Turns))
	}
	switch {
	case out.Turns == 0:
		out.Notes = append(out.Notes, "one of the two has no run: nothing can be compared")
	case out.Turns < leastTurns:
		out.Notes = append(out.Notes, fmt.Sprintf("the two were not run in turns (%d changes from one to the other; %d are the least): whatever else changed meanwhile is in the difference too", out.Turns, leastTurns))
	case len(all) == 0:
		out.Notes = append(out.Notes, fmt.Sprintf("too few to say: a measure is compared from %d runs of each on", leastRuns))
	}
	out.Headline = trialHeadline(&out)
	return out, nil
}

// version is an entry of the parts log that puts one of the two in.
type version struct {
	index int
	text  string
	b     bool
}

// versions are the entries of both in order; the first two are one of each.
func versions(a, b string, changed []Changed) ([]version, error) {
	texts := [2]string{}
	for i, asked := range []string{a, b} {
		var found []string
		for _, c := range changed {
			if strings.EqualFold(c.Text, asked) {
				found = []string{c.Text}
				break
			}
			if strings.Contains(strings.ToLower(c.Text), strings.ToLower(asked)) && !slices.Contains(found, c.Text) {
				found = append(found, c.Text)
			}
		}
		switch len(found) {
		case 0:
			return nil, fmt.Errorf("the parts log has no entry %q: add one for each turn, before its first run", asked)
		case 1:
			texts[i] = found[0]
		default:
			return nil, fmt.Errorf("%q fits several entries of the parts log: %s", asked, strings.Join(found, "; "))
		}
	}
	if texts[0] == texts[1] {
		return nil, fmt.Errorf("%q and %q are the same entry of the parts log: %s", a, b, texts[0])
	}
	out := []version{{text: texts[0], index: -1}, {text: texts[1], index: -1, b: true}}
	for _, c := range changed {
		if c.Text == texts[0] || c.Text == texts[1] {
			out = append(out, version{c.Index, c.Text, c.Text == texts[1]})
		}
	}
	return out, nil
}

// run is a match or session of the trial.
type run struct {
	match int
	b     bool
}

func runsOf(entries []version, matches int) []run {
	var turns [][]run
	for i := range matches {
		in := -1
		for k, e := range entries[2:] {
			if e.index <= i {
				in = k + 2
			}
		}
		if in < 0 {
			continue
		}
		r := run{i, entries[in].b}
		if n := len(turns); n > 0 && turns[n-1][0].b == r.b {
			turns[n-1] = append(turns[n-1], r)
		} else {
			turns = append(turns, []run{r})
		}
	}
	if n := len(turns); n > 1 {
		longest := 0
		for _, t := range turns[:n-1] {
			longest = max(longest, len(t))
		}
		turns[n-1] = turns[n-1][:min(len(turns[n-1]), longest)]
	}
	return slices.Concat(turns...)
}

// ofOneKind keeps matches or sessions of practice, of whichever there are more: the one is no turn of
// the other.
func ofOneKind(runs []run, matches []Match) []run {
	practice := 0
	for _, r := range runs {
		if matches[r.match].Practice {
			practice++
		}
	}
	return slices.DeleteFunc(runs, func(r run) bool { return matches[r.match].Practice != (2*practice > len(runs)) })
}

// trial has which runs had the second version.
type trial struct{ ofB []bool }

// count is how many readings each version has.
func (t *trial) count(s *Series) (n [2]int) {
	for _, i := range s.Index {
		if t.ofB[i] {
			n[1]++
		} else {
			n[0]++
		}
	}
	return n
}

func (t *trial) measure(s *Series, measures, turns int) schemas.TrialMeasure {
	k, _ := kindOf(s.Name)
	m := schemas.TrialMeasure{Name: s.Name, Title: k.title, Unit: s.Unit, Points: []schemas.TrialPoint{}}
	for i, at := range s.Index {
		p := schemas.TrialPoint{Place: at, Value: s.Value[i]}
		if s.share() {
			p.Events, p.Of = whole(s.Events[i]), whole(s.Tries[i])
		}
		m.Points = append(m.Points, p)
	}
	parts := t.split(s)
	m.A, m.B = side(&parts[0], level(&parts[0], 0, len(parts[0].Value))), side(&parts[1], level(&parts[1], 0, len(parts[1].Value)))
	limit := float64(measures) / family
	var evidence float64
	if s.share() {
		evidence = t.shares(s, &m, limit)
	} else {
		evidence = t.readings(s, &m, limit, turns >= leastTurns)
	}
	m.P = math.Min(1, 1/evidence)
	m.Settled = evidence >= limit && (m.Low != nil && *m.Low > 0 || m.High != nil && *m.High < 0)
	if m.Settled {
		m.MoreRuns = nil
	}
	m.Note = trialNote(s, &m)
	return m
}

// split are the readings of each version.
func (t *trial) split(s *Series) (out [2]Series) {
	for i, at := range s.Index {
		p := &out[0]
		if t.ofB[at] {
			p = &out[1]
		}
		p.Name, p.Unit = s.Name, s.Unit
		p.Index, p.Value, p.Hours = append(p.Index, at), append(p.Value, s.Value[i]), append(p.Hours, s.Hours[i])
		if s.share() {
			p.Events, p.Tries = append(p.Events, s.Events[i]), append(p.Tries, s.Tries[i])
		}
	}
	return out
}

// readings compares by least squares: a level, what b has more, and a line over the runs where there
// were turns enough to tell it from a difference.
func (t *trial) readings(s *Series, m *schemas.TrialMeasure, limit float64, line bool) (evidence float64) {
	n := len(s.Value)
	y, z := slices.Clone(s.Value), make([]float64, n)
	for i, at := range s.Index {
		if t.ofB[at] {
			z[i] = 1
		}
	}
	others := 1.0 // coefficients besides the difference
	centre(y)
	centre(z)
	if x := places(s); line && n > 5 {
		centre(x)
		without(y, x)
		without(z, x)
		others = 2
	}
	var information, both, loss float64
	for i := range z {
		information, both = information+z[i]*z[i], both+z[i]*y[i]
	}
	difference := both / information
	for i := range y {
		r := y[i] - difference*z[i]
		loss += r * r
	}
	freedom := float64(n) - others - 1
	sigma := math.Sqrt(loss / freedom)
	m.Difference = difference
	reach := stat.Always(freedom, information, 1-sureness) * sigma / math.Sqrt(information)
	m.Low, m.High = known(difference-reach), known(difference+reach)
	if !(freedom > 0) || !(sigma > 0) {
		return 1
	}
	at := func(runs float64, difference float64) float64 {
		grown := information * runs / float64(n)
		return stat.Evidence(difference*math.Sqrt(grown)/sigma, runs-others-1, grown)
	}
	for more := 1; more <= mostRuns; more++ {
		if at(float64(n+more), difference) >= limit {
			m.MoreRuns = &more
			break
		}
	}
	if again := stat.Always(2*float64(n)-others-1, 2*information, 1/limit) * sigma / math.Sqrt(2*information); !math.IsInf(again, 0) {
		m.Shows = &again
	}
	return at(float64(n), difference)
}

func centre(v []float64) {
	mean := gonum.Mean(v, nil)
	for i := range v {
		v[i] -= mean
	}
}

// without takes out of y what a line over x explains of it. Both are centred.
func without(y, x []float64) {
	var own, both float64
	for i := range x {
		own, both = own+x[i]*x[i], both+x[i]*y[i]
	}
	for i := range x {
		y[i] -= both / own * x[i]
	}
}

// shares compares events of tries, turn by turn.
func (t *trial) shares(s *Series, m *schemas.TrialMeasure, limit float64) (evidence float64) {
	var turns []stat.Turn
	last := true
	for i, at := range s.Index {
		if b := t.ofB[at]; len(turns) == 0 || last && !b { // a turn is one of a, then one of b
			turns = append(turns, stat.Turn{})
		}
		last = t.ofB[at]
		now := &turns[len(turns)-1]
		if last {
			now.B, now.OfB = now.B+int(s.Events[i]), now.OfB+int(s.Tries[i])
		} else {
			now.A, now.OfA = now.A+int(s.Events[i]), now.OfA+int(s.Tries[i])
		}
	}
	m.Difference = m.B.Value - m.A.Value
	low, high := stat.AlwaysDifference(*m.B.Events, *m.B.Of, *m.A.Events, *m.A.Of, sureness)
	m.Low, m.High = &low, &high
	evidence = stat.EvidenceOfShares(turns)
	// What another run adds on average, if the shares are as they look.
	pa, pb := (float64(*m.A.Events)+0.5)/(float64(*m.A.Of)+1), (float64(*m.B.Events)+0.5)/(float64(*m.B.Of)+1)
	na, nb := float64(*m.A.Of)/float64(len(s.Value)), float64(*m.B.Of)/float64(len(s.Value))
	p := (na*pa + nb*pb) / (na + nb)
	gain := na*apart(pa, p) + nb*apart(pb, p)
	if more := int(math.Ceil((math.Log(limit) - math.Log(evidence)) / gain)); gain > 0 && more > 0 && more <= mostRuns {
		m.MoreRuns = &more
	}
	return evidence
}

// apart is Kullback and Leibler's divergence of two chances.
func apart(p, q float64) float64 { return p*math.Log(p/q) + (1-p)*math.Log((1-p)/(1-q)) }

func trialNote(s *Series, m *schemas.TrialMeasure) string {
	a, b := sideWords(s, m.A), sideWords(s, m.B)
	if !s.share() {
		a, b = apartly(s, m.A.Value, m.B.Value)
	}
	said := fmt.Sprintf("%s and %s: %s (%s)", a, b, signed(s, m.Difference), between(s, orInf(m.Low, -1), orInf(m.High, 1)))
	switch {
	case m.Settled:
		return said + "; settled"
	case m.MoreRuns != nil && *m.MoreRuns == 1:
		said += "; not settled: about 1 more run, if it stays so"
	case m.MoreRuns != nil:
		said += fmt.Sprintf("; not settled: about %d more runs, if it stays so", *m.MoreRuns)
	default:
		said += "; not settled, nor by any number of runs like these"
	}
	if m.Shows != nil {
		said += fmt.Sprintf("; as many again would show %s", amount(s, *m.Shows))
	}
	return said
}

func trialHeadline(t *schemas.Trial) string {
	var settled []string
	best := -1
	for i, m := range t.Measures {
		if m.Settled {
			s := Series{Name: m.Name, Unit: m.Unit}
			if m.A.Of != nil {
				s.Tries = []float64{}
			}
			settled = append(settled, fmt.Sprintf("%s: %s with “%s”.", m.Title, signed(&s, m.Difference), t.B.Text))
		} else if m.MoreRuns != nil && (best < 0 || *m.MoreRuns < *t.Measures[best].MoreRuns) {
			best = i
		}
	}
	switch {
	case len(t.Measures) == 0:
		return "Nothing can be compared yet."
	case len(settled) > 0:
		return strings.Join(settled[:min(3, len(settled))], " ")
	case best >= 0:
		return fmt.Sprintf("Nothing is settled. Nearest is %s: about %d more runs.", strings.ToLower(t.Measures[best].Title[:1])+t.Measures[best].Title[1:], *t.Measures[best].MoreRuns)
	}
	return "Nothing is settled, and nothing looks as if it could be."
}
