// Package cost reckons what each jam cost in seconds of scoring, and in points.
//
// A jam costs what the robot would have done in that time. The cycle it fell into says it
// best: the seconds over the usual cycle, which also hold the way back for a piece that had
// to be fetched again. Where a cycle ended late for more reasons than the jam, the jam is
// charged with no more than it stood; where the cycle never ended, with the time it stood.
// A piece that stayed to the end costs the rest of the match. Time outside the periods costs
// nothing, and jams that stood at the same time share it.
package cost

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// Input is what the cost is reckoned from; times are log time in seconds.
type Input struct {
	Jams    []schemas.Jam
	Cycles  []schemas.Cycle // as judged, scoring cycles and hand-overs
	Usual   schemas.Usual
	Periods []schemas.Period
	Points  map[string]float64 // what the profile says a piece is worth: PERIOD_piece
}

// Lost is what one jam cost. Low and high are nil where nothing says how far off it may be;
// points are nil without a usual cycle or points for a piece of that period.
type Lost struct {
	Seconds, LowS, HighS            float64
	Known                           bool // LowS and HighS are
	Points, PointsLow, PointsHigh   *float64
	How                             string
	stoodOnly, capped, whole, rests bool
}

// Of reckons the cost of every jam, in the order given.
func Of(in Input) []Lost {
	out := make([]Lost, len(in.Jams))
	inPeriod := make([][]span, len(in.Jams)) // by jam and period
	for i := range in.Jams {
		inPeriod[i] = make([]span, len(in.Periods))
		out[i].Known = true
	}
	for k, p := range in.Periods {
		for i, j := range in.Jams {
			if !j.Cleared {
				inPeriod[i][k] = in.rest(i, p)
				out[i].rests = true
			}
		}
		for _, c := range in.cyclesOf(p) {
			in.charge(c, p, k, inPeriod, out)
		}
	}
	for i := range out {
		in.sum(&out[i], inPeriod[i])
	}
	return out
}

// span is a number of seconds with its ends.
type span struct{ value, low, high float64 }

func (s *span) add(o span) { s.value, s.low, s.high = s.value+o.value, s.low+o.low, s.high+o.high }

// rest is what a jam that stayed costs of a period: all of it from the onset on, less the
// cycles that the path still made.
func (in Input) rest(i int, p schemas.Period) span {
	j := in.Jams[i]
	made := 0.0
	for _, c := range in.Cycles {
		if c.Kind == "score" && c.Complete && c.StartS >= j.StartS && p.StartS <= c.StartS && c.StartS < p.EndS {
			made += c.DurationS - excess(c)
		}
	}
	from := func(onset float64) float64 {
		j.StartS = onset
		return math.Max(0, in.standing(i, j, p.StartS, p.EndS)-made)
	}
	s := span{value: from(in.Jams[i].StartS)}
	s.low, s.high = s.value, s.value
	if in.Jams[i].OnsetHighS != nil && in.Jams[i].OnsetLowS != nil {
		s.low, s.high = from(*in.Jams[i].OnsetHighS), from(*in.Jams[i].OnsetLowS)
	}
	return s
}

// charge gives the cleared jams that lie in a cycle their parts of what it lost.
func (in Input) charge(c schemas.Cycle, p schemas.Period, k int, inPeriod [][]span, out []Lost) {
	stood, together := make([]float64, len(in.Jams)), 0.0
	for i, j := range in.Jams {
		if j.Cleared {
			stood[i] = in.standing(i, j, math.Max(c.StartS, p.StartS), math.Min(c.EndS, p.EndS))
			together += stood[i]
		}
	}
	if together == 0 {
		return
	}
	lost, known := span{together, together, together}, false
	mine := c.Why != nil && *c.Why == "jam"
	if c.Complete && c.ExcessS != nil {
		lost, known = in.over(c)
		if !mine {
			lost = span{math.Min(lost.value, together), math.Min(lost.low, together), math.Min(lost.high, together)}
		}
	}
	for i, s := range stood {
		if s == 0 {
			continue
		}
		share := s / together
		inPeriod[i][k].add(span{share * lost.value, share * lost.low, share * lost.high})
		out[i].Known = out[i].Known && known
		switch {
		case mine:
			out[i].whole = true
		case c.Complete && c.ExcessS != nil:
			out[i].capped = true
		default:
			out[i].stoodOnly = true
		}
	}
}

// over is the seconds a cycle took over the usual, with the ends that 8 in 10 of the usual
// cycles give: those of the earlier matches, or of this match the ones without a jam that
// were not slow. Known is false where they are too few to tell.
func (in Input) over(c schemas.Cycle) (s span, known bool) {
	s = span{excess(c), excess(c), excess(c)}
	fast, slow := math.NaN(), math.NaN()
	if u := in.Usual; u.Source == "matches" && c.Period == schemas.PeriodDriver && u.CycleS != nil && u.LowS != nil && u.HighS != nil {
		fast, slow = *u.LowS-*u.CycleS, *u.HighS-*u.CycleS
	} else if others := in.undisturbed(c.Period); len(others) >= fewest {
		fast, slow = stat.Quantile(0.1, others), stat.Quantile(0.9, others)
	}
	if math.IsNaN(fast) {
		return s, false
	}
	return span{s.value, math.Max(0, math.Min(s.value, *c.ExcessS-slow)), math.Max(s.value, *c.ExcessS-fast)}, true
}

// fewest is how many cycles a spread is taken from at least. Chosen by us.
const fewest = 5

// undisturbed are the seconds over the usual of the cycles of this match that no jam fell
// into and that were not slow.
func (in Input) undisturbed(period string) []float64 {
	var out []float64
	for _, c := range in.Cycles {
		if c.Kind != "score" || c.Period != period || !c.Complete || c.Slow || c.ExcessS == nil {
			continue
		}
		if !slices.ContainsFunc(in.Jams, func(j schemas.Jam) bool { return j.StartS < c.EndS && c.StartS < j.EndS }) {
			out = append(out, *c.ExcessS)
		}
	}
	return out
}

// excess is what a cycle took over the usual, never negative; 0 when not known.
func excess(c schemas.Cycle) float64 {
	if c.ExcessS == nil {
		return 0
	}
	return math.Max(0, *c.ExcessS)
}

// cyclesOf are the scoring cycles of a period; the period itself as one that never ended
// when it has none.
func (in Input) cyclesOf(p schemas.Period) []schemas.Cycle {
	var out []schemas.Cycle
	for _, c := range in.Cycles {
		if c.Kind == "score" && p.StartS <= c.StartS && c.StartS < p.EndS {
			out = append(out, c)
		}
	}
	if len(out) == 0 {
		out = append(out, schemas.Cycle{Kind: "score", Period: p.Name, StartS: p.StartS, EndS: p.EndS})
	}
	return out
}

// standing is how many seconds from a to b are charged to jam i, taken as it is in j: each
// moment is shared by the jams that stand in it.
func (in Input) standing(i int, j schemas.Jam, a, b float64) float64 {
	a, b = math.Max(a, j.StartS), math.Min(b, j.EndS)
	if a >= b {
		return 0
	}
	cuts := []float64{a, b}
	for n, o := range in.Jams {
		if n != i {
			cuts = append(cuts, math.Min(math.Max(o.StartS, a), b), math.Min(math.Max(o.EndS, a), b))
		}
	}
	return shared(cuts, func(at float64) int {
		n := 1
		for k, o := range in.Jams {
			if k != i && o.StartS <= at && at < o.EndS {
				n++
			}
		}
		return n
	})
}

// sum adds up the periods and turns seconds into points.
func (in Input) sum(l *Lost, periods []span) {
	var all, points span
	worth := true
	for k, s := range periods {
		all.add(s)
		if s.high == 0 {
			continue
		}
		each, ok := in.Worth(in.Periods[k].Name)
		if !ok {
			worth = false
			continue
		}
		points.add(span{s.value * each, s.low * each, s.high * each})
	}
	l.Seconds, l.LowS, l.HighS = all.value, all.low, all.high
	if worth && len(in.Points) > 0 {
		l.Points = schemas.Some(points.value)
		if l.Known {
			l.PointsLow, l.PointsHigh = schemas.Some(points.low), schemas.Some(points.high)
		}
	}
	switch {
	case l.rests:
		l.How = "from its onset to the end of the match"
	case l.stoodOnly && (l.whole || l.capped):
		l.How = "the seconds over the usual cycle, and where its cycle did not end those it stood"
	case l.stoodOnly:
		l.How = "the seconds it stood, as what its cycle lost is not known"
	case l.capped:
		l.How = "the seconds over the usual cycle, no more than it stood"
	case l.whole:
		l.How = "the seconds its cycle took over the usual"
	default:
		l.How = "it fell into no period"
	}
}

// Worth is what a second of scoring is worth in a kind of period, in points: a piece in every
// usual cycle. Not ok without either.
func (in Input) Worth(period string) (points float64, ok bool) {
	each, ok := in.Points[period+"_piece"]
	usual := in.usual(period)
	return each / usual, ok && usual > 0
}

// usual is the usual cycle of a kind of period in seconds, by which its cycles were judged;
// that of the driver period where the other has none, NaN without either.
func (in Input) usual(period string) float64 {
	if period != schemas.PeriodDriver {
		for _, c := range in.Cycles {
			if c.Kind == "score" && c.Period == period && c.Complete && c.ExcessS != nil {
				return c.DurationS - *c.ExcessS
			}
		}
	}
	if in.Usual.CycleS == nil {
		return math.NaN()
	}
	return *in.Usual.CycleS
}
