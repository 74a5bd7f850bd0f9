package score

import (
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/stat/distuv"
)

// Change is a leading figure in two runs over the same seeds.
type Change struct {
	Subject, Figure string
	Kind            Kind
	Small           bool
	Before, After   float64
	Low, High       float64 // 95 % interval of after less before, paired by match
	Better, Worse   int     // matches
	P               float64 // two-sided sign test of better against worse
}

// Changes compares the leading figures of two results, over the seeds that both scored. The
// error says why the two cannot be compared.
func Changes(before, after *Result) ([]Change, int, error) {
	switch {
	case before.Score != after.Score:
		return nil, 0, fmt.Errorf("the other score is of version %d, this one of %d: make it again", before.Score, after.Score)
	case before.Scenario != after.Scenario || fmt.Sprint(before.With) != fmt.Sprint(after.With):
		return nil, 0, fmt.Errorf("the other score is of scenario %s with %v, this one of %s with %v", before.Scenario, before.With, after.Scenario, after.With)
	}
	old := map[uint64]MatchResult{}
	for _, m := range before.Matches {
		old[m.Seed] = m
	}
	var pairs [][2]MatchResult
	for _, m := range after.Matches {
		if o, ok := old[m.Seed]; ok {
			pairs = append(pairs, [2]MatchResult{o, m})
		}
	}
	if len(pairs) == 0 {
		return nil, 0, fmt.Errorf("the two scores have no seed in common")
	}
	var out []Change
	for _, s := range after.Subjects {
		out = append(out, lossChange(s.Name, pairs))
		for _, f := range s.Rows {
			if f.Leads {
				out = append(out, figureChange(s.Name, f, pairs))
			}
		}
	}
	return out, len(pairs), nil
}

// lossChange compares what was lost a match.
func lossChange(subject string, pairs [][2]MatchResult) Change {
	c := Change{Subject: subject, Figure: "lost a match", Kind: Per, Small: true}
	var d []float64
	for _, p := range pairs {
		a, b := p[0].Subjects[subject].Lost, p[1].Subjects[subject].Lost
		c.Before, c.After = c.Before+a, c.After+b
		d = append(d, b-a)
		c.count(a - b)
	}
	n := float64(len(pairs))
	c.Before, c.After = c.Before/n, c.After/n
	c.interval(d)
	return c
}

// figureChange compares K of N. Its interval takes each match as one draw (a ratio of means:
// Cochran, "Sampling Techniques", 3rd ed. 1977, 6.4), so that events of one match may be as
// alike as they like.
func figureChange(subject string, f Row, pairs [][2]MatchResult) Change {
	c := Change{Subject: subject, Figure: f.Name, Kind: f.Kind, Small: f.Small}
	var total [2]Sum
	for _, p := range pairs {
		for i := range 2 {
			s := p[i].Subjects[subject].Sums[f.Name]
			total[i] = Sum{total[i].K + s.K, total[i].N + s.N}
		}
	}
	c.Before, c.After = total[0].K/total[0].N, total[1].K/total[1].N
	n := float64(len(pairs))
	var d []float64
	for _, p := range pairs {
		a, b := p[0].Subjects[subject].Sums[f.Name], p[1].Subjects[subject].Sums[f.Name]
		d = append(d, (b.K-c.After*b.N)*n/total[1].N-(a.K-c.Before*a.N)*n/total[0].N)
		wrong := func(s Sum) float64 {
			if f.Small {
				return s.K
			}
			return s.N - s.K
		}
		c.count(wrong(a) - wrong(b))
	}
	c.interval(d)
	return c
}

// count takes one match: better when less went wrong.
func (c *Change) count(less float64) {
	switch {
	case less > 1e-9:
		c.Better++
	case less < -1e-9:
		c.Worse++
	}
}

// interval is that of the mean of d, shifted to the difference itself, and the sign test.
func (c *Change) interval(d []float64) {
	mean, square := 0.0, 0.0
	for _, v := range d {
		mean += v / float64(len(d))
	}
	for _, v := range d {
		square += (v - mean) * (v - mean)
	}
	half := math.Inf(1)
	if n := float64(len(d)); n > 1 {
		half = distuv.StudentsT{Nu: n - 1, Sigma: 1}.Quantile(0.5+level/2) * math.Sqrt(square/n/(n-1))
	}
	c.Low, c.High = c.After-c.Before-half, c.After-c.Before+half
	c.P = signTest(c.Better, c.Worse)
}

// signTest is the two-sided chance of a split of a + b as uneven as this when both ways are
// as likely; 1 for none.
func signTest(a, b int) float64 {
	if a+b == 0 {
		return 1
	}
	coin := distuv.Binomial{N: float64(a + b), P: 0.5}
	return math.Min(1, 2*coin.CDF(float64(min(a, b))))
}

// ChangesText writes the comparison for people to read.
func ChangesText(w io.Writer, changes []Change, seeds int) error {
	p := &printer{w: w}
	p.title(fmt.Sprintf("against the other score, %d seeds in common", seeds))
	p.line("%-10s %-40s %9s %9s   %-22s %s", "", "", "before", "after", "change, 95 %", "matches better, worse, sign test")
	for _, c := range changes {
		value, unit := func(v float64) string { return fmt.Sprintf("%.3f", v) }, 1.0
		if c.Kind == Rate {
			value, unit = percent, 100
		}
		if math.IsNaN(c.Before) || math.IsNaN(c.After) {
			p.line("%-10s %-40s no case in one of the two", c.Subject, c.Figure)
			continue
		}
		mark := ""
		if c.Low > 0 || c.High < 0 {
			mark = " better"
			if (c.After < c.Before) != c.Small {
				mark = " worse"
			}
		}
		p.line("%-10s %-40s %9s %9s   %-22s %d, %d, p %.3f%s", c.Subject, c.Figure, value(c.Before), value(c.After),
			fmt.Sprintf("%+.3g to %+.3g", unit*c.Low, unit*c.High), c.Better, c.Worse, c.P, mark)
	}
	return p.err
}
