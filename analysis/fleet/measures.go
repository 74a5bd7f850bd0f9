package fleet

import (
	"cmp"
	"maps"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// numbers rates robots by a number of each match.
func numbers(s scale, of func(*Match) *float64) func([]Robot) []rating {
	return func(robots []Robot) []rating {
		out := make([]rating, len(robots))
		for i := range robots {
			var x []float64
			for k := range robots[i].Matches {
				if v, ok := s.reading(of(&robots[i].Matches[k])); ok {
					x = append(x, v)
				}
			}
			out[i] = rated(s, len(x), stat.MeanOf(x))
		}
		return out
	}
}

// reading is a value on the scale; ok is false where it has none.
func (s scale) reading(v *float64) (on float64, ok bool) {
	if v == nil {
		return 0, false
	}
	on = s.to(*v)
	return on, !math.IsNaN(on) && !math.IsInf(on, 0)
}

// rated is a robot with n readings. Where they are all alike, as coarse readings of few matches
// can be, their spread says nothing.
func rated(s scale, n int, m stat.Mean) rating {
	return rating{matches: n, scale: s, mean: m, few: n < fewest || m.Freedom < fewest-1 || !(m.SE > 0)}
}

// resistances rates robots by the resistance of their batteries as they were used.
func resistances(robots []Robot) []rating {
	out := make([]rating, len(robots))
	for i := range robots {
		by := map[string][]float64{}
		for k := range robots[i].Matches {
			m := &robots[i].Matches[k]
			if v, ok := logarithm.reading(m.ResistanceOhm); ok {
				by[m.Battery] = append(by[m.Battery], v)
			}
		}
		mean, parts := batteries(by)
		n := 0
		for _, p := range parts {
			n += p.matches
		}
		out[i] = rated(logarithm, n, mean)
		delete(by, "")
		if len(by) > 1 && len(by) == len(parts) {
			out[i].weakest = weakest(slices.Sorted(maps.Keys(by)), parts)
		}
	}
	return out
}

// batteries are the mean over all readings and that of each battery, in order of their names. What
// differs between batteries is no chance: the spread is that within a battery, the same for all.
// Where hardly any battery was in twice, the spread of all readings stands in its place, which
// is wider.
func batteries(by map[string][]float64) (all stat.Mean, each []rating) {
	var pool []float64
	squares, freedom := 0.0, 0.0
	for _, name := range slices.Sorted(maps.Keys(by)) {
		m := stat.MeanOf(by[name])
		for _, v := range by[name] {
			squares += (v - m.Value) * (v - m.Value)
		}
		freedom += m.Freedom
		pool = append(pool, by[name]...)
		each = append(each, rating{matches: len(by[name]), scale: logarithm, mean: m})
	}
	all = stat.MeanOf(pool)
	few := freedom < fewest-1 || !(squares > 0)
	if !few {
		all.SE, all.Freedom = math.Sqrt(squares/freedom/float64(len(pool))), freedom
	}
	for i := range each {
		each[i].few = few
		each[i].mean.SE, each[i].mean.Freedom = math.Sqrt(squares/freedom/float64(each[i].matches)), freedom
	}
	return all, each
}

// tally are events and tries of each match.
type tally struct{ k, n []float64 }

// add counts a match; one without tries is no reading. More events than tries, such as two
// jams of one piece, count as all.
func (t *tally) add(events, tries int) {
	if tries > 0 {
		t.k, t.n = append(t.k, float64(max(0, min(events, tries)))), append(t.n, float64(tries))
	}
}

func (t *tally) rating() rating {
	r := rating{matches: len(t.n), share: true, few: len(t.n) < fewest}
	for i := range t.n {
		r.raw.K, r.raw.N = r.raw.K+t.k[i], r.raw.N+t.n[i]
	}
	return r
}

// bunched is by how much events come in bunches, told from all tallies together; at least 1.
func bunched(all []tally) float64 {
	sum, weight := 0.0, 0.0
	for _, t := range all {
		if d := stat.DesignEffect(t.k, t.n); !math.IsNaN(d) {
			w := float64(len(t.n) - 1)
			sum, weight = sum+w*d, weight+w
		}
	}
	if weight == 0 {
		return 1
	}
	return max(1, sum/weight)
}

// shares rates tallies. Those of one match are alike: they are thinned by how much they come in
// bunches, in the tally itself or in all, for that of few events is hardly known.
func shares(all []tally, together float64) []rating {
	out := make([]rating, len(all))
	for i := range all {
		out[i] = all[i].rating()
		d := together
		if own := stat.DesignEffect(all[i].k, all[i].n); own > d {
			d = own
		}
		out[i].events = out[i].raw.Thinned(d)
	}
	return out
}

func levels(robots []Robot) []rating {
	all := make([]tally, len(robots))
	for i, r := range robots {
		for _, m := range r.Matches {
			all[i].add(m.Level, m.Attempts)
		}
	}
	return shares(all, bunched(all))
}

// jams rates robots by the jams of pieces on their way through, and finds the worst stage of each.
func jams(robots []Robot) []rating {
	all := make([]tally, len(robots))
	stages := make([][]tally, len(robots))
	names := make([][]string, len(robots))
	for i, r := range robots {
		for _, m := range r.Matches {
			all[i].add(m.Jams, m.Passes)
			for _, s := range m.Stages {
				at := slices.Index(names[i], s.Name)
				if at < 0 {
					at = len(names[i])
					names[i], stages[i] = append(names[i], s.Name), append(stages[i], tally{})
				}
				stages[i][at].add(s.Jams, s.Passes)
			}
		}
	}
	together := bunched(slices.Concat(stages...))
	out := shares(all, bunched(all))
	for i := range out {
		if out[i].raw.K > 0 && !out[i].few {
			out[i].weakest = weakest(names[i], shares(stages[i], together))
		}
	}
	return out
}

// weakest is the part with the largest value. Its interval is that of the largest, whichever
// part it is: all parts together lie in theirs, so the largest lies between the largest of their lower
// and the largest of their upper ends.
func weakest(names []string, parts []rating) *schemas.FleetWeakest {
	var order []int
	for i, p := range parts {
		if p.matches > 0 {
			order = append(order, i)
		}
	}
	if len(order) == 0 {
		return nil
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(parts[b].value(), parts[a].value()) })
	worst := order[0]
	out := &schemas.FleetWeakest{Name: names[worst], Value: parts[worst].value(), NotFrom: []string{}}
	out.Events, out.Of = parts[worst].counts()
	level := 1 - (1-sureness)/float64(len(order))
	whole := true
	for _, i := range order {
		low, high := parts[i].interval(level)
		if low == nil || high == nil { // it may be anything
			whole = false
			break
		}
		if out.Low == nil || *low > *out.Low {
			out.Low = low
		}
		if out.High == nil || *high > *out.High {
			out.High = high
		}
	}
	if !whole {
		out.Low, out.High = nil, nil
	}
	_, surely := stat.Places(len(order), func(i, j int) float64 { return parts[order[i]].above(parts[order[j]]) }, sureness)
	for k, i := range order[1:] {
		if !surely[0][k+1] {
			out.NotFrom = append(out.NotFrom, names[i])
		}
	}
	return out
}
