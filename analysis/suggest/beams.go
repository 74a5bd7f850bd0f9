package suggest

import (
	"cmp"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
	"github.com/afterbell/afterbell/schemas/units"
)

// beam is a signal that may tell that a piece blocks a beam: for short stretches, now and
// then.
type beam struct {
	s     *signal
	ref   profile.Ref
	runs  []interval // blocked, µs
	share float64    // of the time blocked
	odds  float64    // of being one of the path, by its passes with others
	order float64    // share of the passes that came in the order proposed
}

// Limits of what a piece does to a beam, common practice: it passes in some hundredths of a
// second at least, and waits for some ten seconds at most.
const (
	leastPasses, mostPasses = 1, 150
	fewPasses               = 3
	mendS                   = 0.05 // two blocked stretches nearer than that are one
)

// mayBeBeams are the states, and bimodal analogue signals, that are blocked now and then, of
// those that are not something else.
func (l *look) mayBeBeams(not map[*signal]bool) []beam {
	var out []beam
	for _, s := range l.signals {
		if not[s] {
			continue
		}
		b, ok := s.asBeam()
		if !ok {
			continue
		}
		state, err := b.ref.Bool(&schemas.Log{Signals: []*schemas.Signal{s.asLogged()}})
		if err != nil || state == nil || len(state.T) < 2 {
			continue
		}
		b.runs = mended(state.Runs(state.T[len(state.T)-1]))
		b.ref.Signal = ""
		if n := len(b.runs); n < leastPasses || n > mostPasses {
			continue
		}
		on := int64(0)
		for _, r := range b.runs {
			on += r.Len()
		}
		b.share = float64(on) / float64(state.T[len(state.T)-1]-state.T[0])
		if b.share > 0.5 {
			continue
		}
		out = append(out, b)
	}
	return out
}

// asLogged is the signal as a log holds it, already in base units.
func (s *signal) asLogged() *schemas.Signal {
	return &schemas.Signal{Name: s.name, Kind: schemas.Float64, Time: s.num.T, Float: s.num.V}
}

func mended(runs []interval) []interval {
	var out []interval
	for _, r := range runs {
		if n := len(out); n > 0 && r.Start-out[n-1].End < mendS*1e6 {
			out[n-1].End = r.End
			continue
		}
		out = append(out, r)
	}
	return out
}

// asBeam says how a signal would be read as a beam: turned round when it is true most of the
// time, by a threshold when it is a distance with two levels.
func (s *signal) asBeam() (beam, bool) {
	b := beam{s: s, ref: profile.Ref{Signal: s.name}}
	switch {
	case s.num == nil:
		return b, false
	case s.twoValued():
		on := 0
		for _, v := range s.v {
			if v == 1 {
				on++
			}
		}
		b.ref.Invert = 2*on > len(s.v)
		return b, true
	case s.steady() && (s.is(units.Length) || s.is(units.Voltage)):
		return b, s.bimodal(&b.ref)
	}
	return b, false
}

// bimodal finds the threshold of a signal that is near one of two levels nearly always.
func (s *signal) bimodal(ref *profile.Ref) bool {
	lo, hi := s.q01, s.q99
	if hi <= lo || lo <= 0.03*hi || s.rest < (lo+hi)/2 && lo < 0.3*hi {
		return false // a distance is never nothing, and far while nothing happens
	}
	below, above, between := 0, 0, 0
	for _, v := range s.v {
		switch p := (v - lo) / (hi - lo); {
		case p < 0.3:
			below++
		case p > 0.7:
			above++
		default:
			between++
		}
	}
	if between > len(s.v)/20 || min(below, above) < len(s.v)/200 {
		return false
	}
	round := func(v float64) float64 {
		unit := math.Pow(10, math.Floor(math.Log10((hi-lo)/20)))
		return math.Round(v/unit) * unit
	}
	middle, width := round((lo+hi)/2), round((hi-lo)/5)
	ref.Hysteresis = width
	if below < above {
		ref.Below = &middle
	} else {
		ref.Above = &middle
	}
	return true
}

// follow is how the passes of beam b come behind those of a.
type follow struct {
	share float64 // of a's passes that one of b's follows before a's next
	lag   float64 // s, median
	even  float64 // share of the followed passes whose lag is about that
}

func followed(a, b []interval) follow {
	var lags []float64
	j := 0
	for i, r := range a {
		next := int64(math.MaxInt64)
		if i+1 < len(a) {
			next = a[i+1].Start
		}
		for j < len(b) && b[j].Start <= r.Start {
			j++
		}
		if j < len(b) && b[j].Start < next {
			lags = append(lags, float64(b[j].Start-r.Start)/1e6)
		}
	}
	if len(lags) == 0 {
		return follow{}
	}
	f := follow{share: float64(len(lags)) / float64(len(a)), lag: stat.Median(lags)}
	for _, lag := range lags {
		if math.Abs(lag-f.lag) < math.Max(0.15, 0.35*f.lag) {
			f.even++
		}
	}
	f.even /= float64(len(lags))
	return f
}

// chain is the beams that pieces pass one after another, in that order, and what speaks for
// each. Two beams of a path alternate; that of the two which is blocked first is the one from
// whose blocking to the other's it is shorter, since a piece crosses the robot in a second or
// two and the next one comes much later.
func chain(all []beam) []beam {
	f := followsOf(all)
	var kept []int
	for i := range all {
		all[i].odds = f.belongs(all, i)
		if all[i].odds > leastOdds {
			kept = append(kept, i)
		}
	}
	var ordered []beam
	for at, i := range f.sorted(kept) {
		b := all[i]
		b.order = 1
		if at > 0 {
			b.order = f.inOrder(kept[at-1], i)
			b.odds -= 5 * math.Max(0, 0.8-b.order)
		}
		ordered = append(ordered, b)
	}
	return ordered
}

// leastOdds are the log-odds of being one of the path below which a beam is not put in its order.
const leastOdds = -1.5

// follows is how the passes of beam j come behind those of beam i, at [i][j].
type follows [][]follow

func followsOf(all []beam) follows {
	f := make(follows, len(all))
	for i := range f {
		f[i] = make([]follow, len(all))
		for j := range f[i] {
			if i != j {
				f[i][j] = followed(all[i].runs, all[j].runs)
			}
		}
	}
	return f
}

// belongs is the log-odds of beam i being one of the path, by the beam it is tied to best, how
// often it was passed, and its name.
func (f follows) belongs(all []beam, i int) float64 {
	best := 0.0
	for j := range all {
		if j != i {
			best = max(best, f.tie(all, i, j))
		}
	}
	odds := 12 * (best - 0.6)
	if len(all) == 1 {
		odds = -0.5
	}
	if len(all[i].runs) < fewPasses {
		odds = math.Min(odds, 0) - 1 // two things can happen one after another by chance
	}
	return odds + 0.8*all[i].s.named("beam")
}

// tie is how well two beams belong to one path, from 0 to 1: passes of the one follow those of the
// other at an even distance.
func (f follows) tie(all []beam, i, j int) float64 {
	const longest = 6 // s from beam to beam
	if f[i][j].lag > f[j][i].lag {
		i, j = j, i
	}
	if f[i][j].lag > longest {
		return 0
	}
	return min(f[i][j].share, float64(len(all[i].runs))/float64(len(all[j].runs))+0.2) * f[i][j].even
}

// sorted puts beams in their order: first that from which all others are reached soonest, then
// the others as they are reached from it. The slice is changed.
func (f follows) sorted(kept []int) []int {
	if len(kept) == 0 {
		return nil
	}
	reach := func(i int) float64 {
		sum := 0.0
		for _, j := range kept {
			if j != i {
				sum += f[i][j].lag + 10*(1-f[i][j].share)
			}
		}
		return sum
	}
	start := slices.MinFunc(kept, func(a, b int) int { return cmp.Compare(reach(a), reach(b)) })
	lag := func(i int) float64 {
		if i == start {
			return 0
		}
		return f[start][i].lag + 1e-6
	}
	slices.SortStableFunc(kept, func(a, b int) int { return cmp.Compare(lag(a), lag(b)) })
	return kept
}

// inOrder is the share of the passes of a beam that were followed by those of the next.
func (f follows) inOrder(before, next int) float64 {
	there, back := f[before][next], f[next][before]
	if back.lag < there.lag && back.share > 0 {
		return 0.4 * there.share // the other way round is nearer
	}
	return there.share
}

// PassingOrder is the order in which pieces pass beams, by the stretches in which each was
// blocked: indices into runs, the first beam first, and for each how sure its place behind the
// one before is (the share of that one's passes it follows; 1 for the first). Beams that do
// not belong to one path are left out. Fewer than fewPasses passes tell nothing.
func PassingOrder(runs [][]series.Interval) (order []int, sure []float64) {
	var all []beam
	at := map[*signal]int{}
	for i, r := range runs {
		if len(r) < fewPasses {
			continue
		}
		b := beam{s: &signal{at: i}, runs: mended(r)}
		at[b.s] = i
		all = append(all, b)
	}
	for _, b := range chain(all) {
		if b.order >= 0.5 {
			order, sure = append(order, at[b.s]), append(sure, b.order)
		}
	}
	return order, sure
}
