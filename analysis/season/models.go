package season

import (
	"cmp"
	"math"
	"slices"

	gonum "gonum.org/v1/gonum/stat"
	"gonum.org/v1/gonum/stat/distuv"

	"github.com/afterbell/afterbell/analysis/stat"
)

// A model is one way in which a measure may have gone: levels with steps at cuts, on a drift
// that goes from one place to another. Its criterion is BIC, the lower the better.
type model struct {
	cuts        []int
	drifts      bool
	from, until int
	slope       float64
	criterion   float64
}

// explain chooses what it is and how much.
func explain(s *Series, f *Facts) {
	var models []model
	if s.share() {
		models = shareModels(s)
	} else {
		models = levelModels(s)
	}
	m := choose(s, models)
	if m.drifts {
		f.Drift = drift(s, m)
		if f.Drift.P > local && len(m.cuts) > 0 {
			f.Drift = nil // the step explains it
		}
	}
	rest := s
	if f.Drift != nil {
		rest = flattened(s, f.Drift)
	}
	f.Changes = changes(rest, m.cuts)
}

// choose is the model of the smallest criterion whose parts hold by themselves: its steps, where there
// are several, and a drift that ended.
func choose(s *Series, models []model) model {
	slices.SortStableFunc(models, func(a, b model) int { return cmp.Compare(a.criterion, b.criterion) })
	for _, m := range models {
		if m.drifts && gradual(s, m) || !m.drifts && (len(m.cuts) < 2 || sound(s, m.cuts)) {
			return m
		}
	}
	return model{}
}

// clearly is the chance of an order as clear at which a drift that ended is kept beside a step: steps are
// what crews make, so a drift must be plain to be told instead. Chosen by us.
const clearly = 0.001

// gradual is whether a drift that ended is one, and not a single step between readings that scatter: in
// its own stretch they rise one after another, and nearer to a line than to two levels.
func gradual(s *Series, m model) bool {
	if m.until == len(s.Value)-1 {
		return true
	}
	x := places(s)
	y := calmed(x, s.Value)[m.from : m.until+1]
	_, loss := line(x[m.from:m.until+1], y)
	step := stat.Segmentations(len(y), 1, 1, stat.SquaredError(y))[1].Cost
	return loss < step && stat.MannKendall(s.Value[m.from:m.until+1]).P <= clearly
}

// sound is whether each of several cuts holds by itself against the two levels it parts.
func sound(s *Series, cuts []int) bool {
	bounds := append(append([]int{0}, cuts...), len(s.Value))
	for i := range cuts {
		if stepChance(s, bounds[i], bounds[i+2]) > local {
			return false
		}
	}
	return true
}

// Parameters of the models, for the criterion. A place that was searched for is no parameter like
// others: the first of a step is weighed so that a clear step and a clear drift are mistaken for
// one another equally rarely, further ones as Zhang and Siegmund, Biometrics 63 (2007), reckon.
const (
	ofDrift = 2.0
	ofStep  = 3.0
	ofNext  = 3.0 // each further step
	ofHinge = 4.0 // a drift that begins, or ends, on the way
	ofRamp  = 6.0 // one that begins and ends
	ofBoth  = 5.5 // a step on a drift can stand for a good many shapes
)

func ofSteps(k int) float64 { return ofStep + float64(k-1)*ofNext }

// levelModels are fitted by least squares, with the Bayesian information criterion. Odd matches are
// brought to their neighbours before, or one could make a model of its own.
func levelModels(s *Series) []model {
	x := places(s)
	y := calmed(x, s.Value)
	n := float64(len(y))
	spread := slices.Max(y) - slices.Min(y)
	bic := func(loss, parameters float64) float64 {
		return n*math.Log(math.Max(loss, 1e-9*spread*spread)/n) + parameters*math.Log(n)
	}
	cost := stat.SquaredError(y)
	var models []model
	for k, g := range stat.Segmentations(len(y), mostSteps, shortest, cost) {
		if k > 0 {
			models = append(models, model{cuts: g.At, criterion: bic(g.Cost, ofSteps(k))})
		}
	}
	for _, m := range drifts(len(y)) {
		drifting := make([]float64, len(y))
		for i := range x {
			drifting[i] = math.Max(0, x[min(i, m.until)]-x[m.from])
		}
		var loss float64
		m.slope, loss = line(drifting, y)
		m.criterion = bic(loss, m.parameters(len(y)))
		models = append(models, m)
	}
	for cut := shortest; cut+shortest <= len(y); cut++ {
		m := model{drifts: true, cuts: []int{cut}, until: len(y) - 1}
		var loss float64
		m.slope, loss = stepOnDrift(x, y, cut)
		m.criterion = bic(loss, ofBoth)
		models = append(models, m)
	}
	return models
}

// finelyUpTo is of how many readings every beginning and end of a drift is looked at.
const finelyUpTo = 60

// drifts are the places between which a level may drift: over no fewer readings than are tested at all,
// with none before or a level of its own, and the same behind.
func drifts(n int) (out []model) {
	step := (n + finelyUpTo - 1) / finelyUpTo
	for from := 0; from+fewest <= n; from++ {
		if from > 0 && from < shortest {
			continue
		}
		out = append(out, model{drifts: true, from: from, until: n - 1})
		if from%step > 0 {
			continue
		}
		for until := from + fewest - 1; until+shortest < n; until += step {
			out = append(out, model{drifts: true, from: from, until: until})
		}
	}
	return out
}

// parameters are those of a drift among n readings.
func (m *model) parameters(n int) float64 {
	switch begins, ends := m.from > 0, m.until < n-1; {
	case begins && ends:
		return ofRamp
	case begins || ends:
		return ofHinge
	}
	return ofDrift
}

// neighbours is over how many matches a reading is compared, itself among them; chosen by us.
const neighbours = 7

// calmed are the readings, those far from their neighbours put there: far from both the median of
// them and the line through them, since a drift leaves the one and a step the other.
//
// After Hampel's filter: Davies and Gather, J. American Statistical Association 88 (1993).
func calmed(x, y []float64) []float64 {
	n := len(y)
	away, there := make([]float64, n), make([]float64, n)
	for i := range y {
		from := max(0, min(i-neighbours/2, n-neighbours))
		to := min(n, from+neighbours)
		slope, _, _ := stat.TheilSen(x[from:to], y[from:to], sureness)
		rest := make([]float64, 0, neighbours)
		for k := from; k < to; k++ {
			rest = append(rest, y[k]-slope*(x[k]-x[i]))
		}
		there[i] = stat.Median(rest)
		away[i] = math.Abs(y[i] - there[i])
		if middle := stat.Median(y[from:to]); math.Abs(y[i]-middle) < away[i] {
			there[i], away[i] = middle, math.Abs(y[i]-middle)
		}
	}
	limit := 4 * 1.4826 * stat.Median(away)
	out := slices.Clone(y)
	for i := range y {
		if limit > 0 && away[i] > limit {
			out[i] = there[i]
		}
	}
	return out
}

// line fits y = a + b x by least squares: b, and the sum of squared errors.
func line(x, y []float64) (slope, loss float64) {
	a, b := gonum.LinearRegression(x, y, nil, false)
	for i := range x {
		r := y[i] - a - b*x[i]
		loss += r * r
	}
	return b, loss
}

// stepOnDrift fits a step at cut on a drift that goes on: the slope, and the sum of squared errors.
func stepOnDrift(x, y []float64, cut int) (slope, loss float64) {
	centred := func(v []float64) []float64 {
		out := slices.Clone(v)
		for _, part := range [][]float64{out[:cut], out[cut:]} {
			mean := gonum.Mean(part, nil)
			for i := range part {
				part[i] -= mean
			}
		}
		return out
	}
	return line(centred(x), centred(y))
}

// places are the matches of the series.
func places(s *Series) []float64 {
	x := make([]float64, len(s.Index))
	for i, at := range s.Index {
		x[i] = float64(at)
	}
	return x
}

// shareModels are the same for events of tries: steps of their chance, or a drift of it.
func shareModels(s *Series) []model {
	n := len(s.Value)
	penalty := math.Log(float64(n))
	var models []model
	for k, g := range stat.Segmentations(n, mostSteps, shortest, stat.Binomial(s.Events, s.Tries)) {
		if k > 0 {
			models = append(models, model{cuts: g.At, criterion: g.Cost + ofSteps(k)*penalty})
		}
	}
	slope, loss := steady(s)
	models = append(models, model{drifts: true, until: n - 1, slope: slope, criterion: loss + ofDrift*penalty})
	return models
}

// steady fits a chance that changes by as much from each match to the next: by how much, and
// twice the negative log-likelihood on the scale of stat.Binomial.
func steady(s *Series) (perMatch, loss float64) {
	x := places(s)
	last := len(x) - 1
	length := x[last] - x[0]
	of := func(first, end float64) float64 {
		sum := 0.0
		for i := range x {
			q := first + (end-first)*(x[i]-x[0])/length
			if s.Events[i] > 0 {
				sum -= 2 * s.Events[i] * math.Log(q)
			}
			if s.Tries[i] > s.Events[i] {
				sum -= 2 * (s.Tries[i] - s.Events[i]) * math.Log(1-q)
			}
		}
		return sum
	}
	// The likelihood is concave in both ends, so that looking closer and closer finds its top.
	const tiny = 1e-6
	first, end, width := 0.5, 0.5, 0.5
	loss = of(first, end)
	for width > 1e-5 {
		a, b := first, end
		for _, da := range []float64{-1, 0, 1} {
			for _, db := range []float64{-1, 0, 1} {
				p, q := min(max(first+da*width, tiny), 1-tiny), min(max(end+db*width, tiny), 1-tiny)
				if l := of(p, q); l < loss {
					loss, a, b = l, p, q
				}
			}
		}
		if a == first && b == end {
			width /= 2
		}
		first, end = a, b
	}
	return (end - first) / length, loss
}

// stepChance is the chance of a step as clear among the readings from place i up to j.
func stepChance(s *Series, i, j int) float64 {
	if s.share() {
		return stat.SharpestRateStep(s.Events[i:j], s.Tries[i:j], shortest).P
	}
	return stat.SharpestStep(clipped(s.Value[i:j]), shortest).P
}

func drift(s *Series, m model) *Drift {
	d := &Drift{From: m.from, Until: m.until}
	if s.share() {
		d.PerMatch = m.slope
		d.Low, d.High = shareSlope(s)
		_, d.P = stat.RateTrend(places(s), s.Events, s.Tries)
		return d
	}
	x, y := places(s), slices.Clone(s.Value)
	bounds := append(append([]int{0}, m.cuts...), len(y))
	d.P = pooledKendall(y, bounds)
	for i, cut := range m.cuts { // without its step, for the slope
		rest := make([]float64, len(y))
		for k := range y {
			rest[k] = y[k] - m.slope*x[k]
		}
		by := stat.Median(rest[cut:bounds[i+2]]) - stat.Median(rest[bounds[i]:cut])
		for k := cut; k < len(y); k++ {
			y[k] -= by
		}
	}
	d.PerMatch, d.Low, d.High = stat.TheilSen(x[m.from:m.until+1], y[m.from:m.until+1], sureness)
	return d
}

// by is how far a level has drifted at place i.
func (d *Drift) by(s *Series, i int) float64 {
	return d.PerMatch * math.Max(0, float64(s.Index[min(i, d.Until)]-s.Index[d.From]))
}

// pooledKendall is the chance of a drift as clear in all stretches together, each compared with
// itself only, as months are in the seasonal test of Hirsch, Slack and Smith, Water Resources
// Research 18 (1982).
func pooledKendall(y []float64, bounds []int) float64 {
	var s, variance float64
	for i := 1; i < len(bounds); i++ {
		m := stat.MannKendall(y[bounds[i-1]:bounds[i]])
		s, variance = s+m.S, variance+m.Var
	}
	if variance == 0 {
		return 1
	}
	return 2 * distuv.UnitNormal.Survival(math.Max(0, math.Abs(s)-1)/math.Sqrt(variance))
}

// shareSlope is an interval of the mean change of a chance per match: weighted least squares with
// errors from the residuals themselves, so that bunches of events widen it.
func shareSlope(s *Series) (low, high float64) {
	x := places(s)
	var w, wx, wy float64
	for i := range x {
		w, wx, wy = w+s.Tries[i], wx+s.Tries[i]*x[i], wy+s.Events[i]
	}
	mx, my := wx/w, wy/w
	var sxx, sxy float64
	for i := range x {
		sxx += s.Tries[i] * (x[i] - mx) * (x[i] - mx)
		sxy += (x[i] - mx) * (s.Events[i] - s.Tries[i]*my)
	}
	slope := sxy / sxx
	var meat float64
	for i := range x {
		r := (x[i] - mx) * (s.Events[i] - s.Tries[i]*(my+slope*(x[i]-mx)))
		meat += r * r
	}
	n := float64(len(x))
	half := 1.959964 * math.Sqrt(meat*n/(n-2)) / sxx
	return slope - half, slope + half
}

// flattened is the series without its drift.
func flattened(s *Series, d *Drift) *Series {
	out := *s
	out.Value = slices.Clone(s.Value)
	for i := range out.Value {
		out.Value[i] -= d.by(s, i)
	}
	return &out
}

func changes(s *Series, cuts []int) []Change {
	var out []Change
	bounds := append(append([]int{0}, cuts...), len(s.Value))
	for i, at := range cuts {
		from, to := bounds[i], bounds[i+2]
		c := Change{At: at, MatchesBefore: at - from, Since: to - at}
		c.Earliest, c.Latest = reach(s, from, at, to)
		before, after := level(s, from, at), level(s, at, to)
		c.Before, c.After = before.Centre, after.Centre
		if s.share() {
			c.Less, c.More = stat.NewcombeDifference(sum(s.Events[at:to]), sum(s.Tries[at:to]), sum(s.Events[from:at]), sum(s.Tries[from:at]), sureness)
		} else {
			_, c.Less, c.More = stat.HodgesLehmann(s.Value[at:to], s.Value[from:at], sureness)
		}
		out = append(out, c)
	}
	return out
}

// reach is where a step found at place at of a stretch may have been.
func reach(s *Series, from, at, to int) (earliest, latest int) {
	least := min(shortest, at-from, to-at)
	var chance []float64
	if s.share() {
		chance = stat.ShareStepPlaces(s.Events[from:to], s.Tries[from:to], least)
	} else {
		chance = stat.StepPlaces(calmed(places(s), s.Value)[from:to], least)
	}
	first, last := stat.Likeliest(chance, sureness)
	return min(at, from+first), max(at, from+last)
}
