package score

import "fmt"

// Kind says how the sums or values of a figure are read.
type Kind string

// Kinds of figures.
const (
	Rate  Kind = "rate"  // K of N, with its Wilson interval
	Dice  Kind = "f1"    // K of N where K counts both sides of a pair: no proportion, no interval
	Per   Kind = "per"   // K events in N of something (matches, hours), with its Garwood interval
	Count Kind = "count" // K events
	Error Kind = "error" // values with a sign: median and 90 % of the size, largest, median with sign
)

// Figure is one line of a subject's table.
type Figure struct {
	Name    string
	Kind    Kind
	Unit    string
	Nominal float64 // what a rate should be when an interval or a chance is honest; 0: as near to 1 as can be
	Leads   bool    // stands in the table by condition and in the comparison of two runs
	Small   bool    // less is better (a rate of misses, events a match)
}

// Subject is one part of the score: what is printed of it and how one match adds to it.
type Subject struct {
	Name    string
	Title   string
	Figures []Figure
	Score   func(*Case) *Tally
}

// Subjects lists them in the order they are printed.
func Subjects() []Subject {
	return []Subject{
		{"path", "jams, passes, beams", pathFigures(), scorePath},
		{"power", "brownouts and battery", powerFigures(), scorePower},
		{"cycles", "cycles and which were slow", cycleFigures(), scoreCycles},
		{"balance", "balance attempts", balanceFigures(), scoreBalance},
		{"moves", "arms and lifts", moveFigures(), scoreMoves},
		{"motors", "motors of the path", motorFigures(), scoreMotors},
		{"findings", "what the sheet says, by kind", findingFigures(), scoreFindings},
		{"suggest", "profiles proposed for a log", suggestFigures(), scoreSuggest},
	}
}

// Sum is K of N; N need not be whole (hours).
type Sum struct {
	K float64 `json:"k"`
	N float64 `json:"n"`
}

// Judged is one thing said with a confidence, and whether it was true.
type Judged struct {
	Confidence float64
	True       bool
}

// Loss is one thing that went wrong in a match.
type Loss struct {
	Weight float64
	Kind   string
	What   string
}

// Tally is what one match adds to one subject. All of it is additive, so that matches may
// be summed in any order and kept when their logs are gone.
type Tally struct {
	Sums   map[string]Sum
	Values map[string][]float64
	Tables map[string]map[[2]string]int // true and found word
	Judged map[string][]Judged
	Losses []Loss
}

func newTally() *Tally {
	return &Tally{
		Sums: map[string]Sum{}, Values: map[string][]float64{},
		Tables: map[string]map[[2]string]int{}, Judged: map[string][]Judged{},
	}
}

// hit counts one case of a rate.
func (t *Tally) hit(figure string, ok bool) {
	k := 0.0
	if ok {
		k = 1
	}
	t.add(figure, k, 1)
}

func (t *Tally) add(figure string, k, n float64) {
	s := t.Sums[figure]
	t.Sums[figure] = Sum{s.K + k, s.N + n}
}

func (t *Tally) value(figure string, v float64) {
	t.Values[figure] = append(t.Values[figure], v)
}

// table counts one pair of words; an empty one is "not told".
func (t *Tally) table(name, truth, found string) {
	if t.Tables[name] == nil {
		t.Tables[name] = map[[2]string]int{}
	}
	t.Tables[name][[2]string{said(truth), said(found)}]++
}

func said(word string) string {
	if word == "" {
		return "not told"
	}
	return word
}

func (t *Tally) judge(name string, confidence float64, right bool) {
	t.Judged[name] = append(t.Judged[name], Judged{confidence, right})
}

// lose writes down what went wrong: of which kind, for the count over all matches, and what
// it was in this one.
func (t *Tally) lose(weight float64, kind, format string, a ...any) {
	t.Losses = append(t.Losses, Loss{weight, kind, fmt.Sprintf(format, a...)})
}

// lost is the weighted sum of what went wrong.
func (t *Tally) lost() float64 {
	sum := 0.0
	for _, l := range t.Losses {
		sum += l.Weight
	}
	return sum
}

// found counts recall, precision and F1 of one kind of event at once.
func (t *Tally) found(recall, precision, f1 string, both, missed, extra int) {
	b, m, e := float64(both), float64(missed), float64(extra)
	t.add(recall, b, b+m)
	t.add(precision, b, b+e)
	if f1 != "" {
		t.add(f1, 2*b, 2*b+m+e)
	}
}

// both is the case of a value that truth and report may each leave open: it counts who said
// something under name, and hands both on when both did.
func (t *Tally) both(name string, truth, got *float64, compare func(truth, got float64)) {
	t.table(name+" told", toldOrNot(truth), toldOrNot(got))
	if truth != nil && got != nil {
		compare(*truth, *got)
	}
}

func toldOrNot(v *float64) string {
	if v == nil {
		return ""
	}
	return "told"
}
