package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/sample-logs/sim"
)

const (
	leastForCondition = 5
	worstCases        = 10
	level             = 0.95
)

// sumUp makes the result of what was played, in the order of seeds.
func sumUp(o Options, subjects []Subject, all []played) *Result {
	r := &Result{
		Score: Version, Scenario: o.Scenario, From: o.From, Seeds: o.Seeds, With: slices.Concat([]string{}, o.With),
		Failures: []Failure{}, NeverOn: []string{},
	}
	on := map[string]int{}
	var good []played
	for _, p := range all {
		for _, c := range p.conditions {
			on[c]++
		}
		if p.failure != "" {
			r.Failures = append(r.Failures, Failure{p.seed, p.failure, o.open(p.seed)[0]})
			continue
		}
		good = append(good, p)
		r.Hours += p.hours
		r.Matches = append(r.Matches, matchResult(p))
	}
	for _, c := range sim.Conditions() {
		if on[c.Name] == 0 {
			r.NeverOn = append(r.NeverOn, c.Name)
		}
	}
	for _, s := range subjects {
		r.Subjects = append(r.Subjects, o.subject(s, good))
	}
	return r
}

func matchResult(p played) MatchResult {
	out := MatchResult{Seed: p.seed, Conditions: slices.Concat([]string{}, p.conditions), Subjects: map[string]MatchSubject{}}
	for name, t := range p.tallies {
		m := MatchSubject{Lost: t.lost(), Sums: t.Sums, Medians: map[string]float64{}}
		for figure, v := range t.Values {
			m.Medians[figure] = stat.Median(sizes(v))
		}
		out.Subjects[name] = m
	}
	return out
}

func (o Options) subject(s Subject, good []played) SubjectResult {
	total, lost := sum(s.Name, good)
	out := SubjectResult{Name: s.Name, Title: s.Title, LostAMatch: lost}
	for _, f := range s.Figures {
		out.Rows = append(out.Rows, row(f, total))
	}
	out.Tables = tables(total)
	out.Calibrations = calibrations(total)
	out.Conditions = conditions(s, good)
	out.Losses = losses(s.Name, good)
	out.Worst = o.worst(s.Name, good)
	return out
}

// sum adds up one subject over matches; lost is the mean loss of a match.
func sum(subject string, all []played) (total *Tally, lost float64) {
	total = newTally()
	for _, p := range all {
		t := p.tallies[subject]
		for f, s := range t.Sums {
			total.add(f, s.K, s.N)
		}
		for f, v := range t.Values {
			total.Values[f] = append(total.Values[f], v...)
		}
		for name, cells := range t.Tables {
			for w, n := range cells {
				if total.Tables[name] == nil {
					total.Tables[name] = map[[2]string]int{}
				}
				total.Tables[name][w] += n
			}
		}
		for name, j := range t.Judged {
			total.Judged[name] = append(total.Judged[name], j...)
		}
		lost += t.lost()
	}
	return total, lost / math.Max(1, float64(len(all)))
}

// row makes the line of one figure.
func row(f Figure, t *Tally) Row {
	out := Row{Name: f.Name, Kind: f.Kind, Unit: f.Unit, Leads: f.Leads, Small: f.Small}
	if f.Nominal > 0 {
		out.Nominal = &f.Nominal
	}
	if f.Kind == Error {
		v := t.Values[f.Name]
		if out.N = float64(len(v)); len(v) > 0 {
			size := sizes(v)
			value, p90, most, bias := stat.Median(size), stat.Quantile(0.9, size), slices.Max(size), stat.Median(v)
			out.Value, out.P90, out.Max, out.Bias = &value, &p90, &most, &bias
		}
		return out
	}
	s := t.Sums[f.Name]
	out.K, out.N = s.K, s.N
	if f.Kind == Count || s.N == 0 {
		return out
	}
	value := s.K / s.N
	out.Value = &value
	switch f.Kind {
	case Rate:
		low, high := stat.Wilson(int(s.K), int(s.N), level)
		out.Low, out.High = &low, &high
	case Per:
		low, high := stat.Garwood(int(s.K), level)
		low, high = low/s.N, high/s.N
		out.Low, out.High = &low, &high
	}
	return out
}

func sizes(v []float64) []float64 {
	out := make([]float64, len(v))
	for i, x := range v {
		out[i] = math.Abs(x)
	}
	return out
}

func tables(t *Tally) []Table {
	out := []Table{}
	for _, name := range sortedKeys(t.Tables) {
		table := Table{Name: name}
		for w, n := range t.Tables[name] {
			table.Rows = append(table.Rows, TableCell{w[0], w[1], n})
		}
		slices.SortFunc(table.Rows, func(a, b TableCell) int {
			return cmp.Or(cmp.Compare(a.Truth, b.Truth), cmp.Compare(b.N, a.N), cmp.Compare(a.Found, b.Found))
		})
		out = append(out, table)
	}
	return out
}

func sortedKeys[V any](m map[string]V) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// losses are what went wrong, by kind, the heaviest first.
func losses(subject string, all []played) []LossKind {
	by := map[string]*LossKind{}
	for _, p := range all {
		for _, l := range p.tallies[subject].Losses {
			k := by[l.Kind]
			if k == nil {
				k = &LossKind{Kind: l.Kind}
				by[l.Kind] = k
			}
			k.Lost, k.N = k.Lost+l.Weight, k.N+1
			if n := len(k.Seeds); n == 0 || k.Seeds[n-1] != p.seed {
				k.Seeds = append(k.Seeds, p.seed)
			}
		}
	}
	out := []LossKind{}
	for _, name := range sortedKeys(by) {
		out = append(out, *by[name])
	}
	slices.SortStableFunc(out, func(a, b LossKind) int { return cmp.Compare(b.Lost, a.Lost) })
	return out
}

// worst are the matches in which most was lost, of those in which anything was.
func (o Options) worst(subject string, all []played) []Worst {
	out := []Worst{}
	for _, p := range all {
		t := p.tallies[subject]
		if len(t.Losses) == 0 {
			continue
		}
		losses := slices.Clone(t.Losses)
		slices.SortStableFunc(losses, func(a, b Loss) int { return cmp.Compare(b.Weight, a.Weight) })
		w := Worst{Seed: p.seed, Lost: t.lost(), Conditions: slices.Concat([]string{}, p.conditions), Open: o.open(p.seed)}
		for _, l := range losses {
			w.What = append(w.What, l.What)
		}
		out = append(out, w)
	}
	slices.SortStableFunc(out, func(a, b Worst) int { return cmp.Compare(b.Lost, a.Lost) })
	return out[:min(worstCases, len(out))]
}

// open are the commands that make a match and show its sheet.
func (o Options) open(seed uint64) []string {
	with := ""
	for i, c := range o.With {
		if i == 0 {
			with = " --with "
		} else {
			with += ","
		}
		with += c
	}
	if o.Scenario == SeasonSubject().Name {
		return []string{fmt.Sprintf("go run ./cmd/dev score season --seeds 1 --from %d", seed)}
	}
	stem := fmt.Sprintf("%s-%d", o.Scenario, seed)
	return []string{
		fmt.Sprintf("go run ./cmd/afterbell simulate --scenario %s --seed %d%s --out DIR", o.Scenario, seed, with),
		fmt.Sprintf("go run ./cmd/afterbell analyze DIR/%s.csv --profile DIR/%s.robot.yaml", stem, stem),
	}
}
