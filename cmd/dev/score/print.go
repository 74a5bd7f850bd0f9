package score

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
)

// What is written out of a worst case, and of the seeds of a kind of loss; the rest is counted.
const (
	mostLosses = 6
	mostSeeds  = 12
)

// Text writes the score for people to read.
func Text(w io.Writer, r *Result) error {
	p := &printer{w: w}
	with := ""
	if len(r.With) > 0 {
		with = " with " + strings.Join(r.With, ", ")
	}
	p.line("%d matches of scenario %s%s, seeds %d to %d, %.1f h of match. Intervals are 95 %%: Wilson for shares, Garwood for events.",
		r.Seeds, r.Scenario, with, r.From, r.From+uint64(r.Seeds)-1, r.Hours)
	if len(r.Failures) > 0 {
		p.line("%d of them could not be scored and are in no figure below; they are listed at the end.", len(r.Failures))
	}
	for _, s := range r.Subjects {
		p.subject(s)
	}
	p.title("conditions never on in these seeds")
	if len(r.NeverOn) == 0 {
		p.line("none: each was on at least once")
	} else {
		p.line("%s", strings.Join(r.NeverOn, ", "))
	}
	if len(r.Failures) > 0 {
		p.title("matches that could not be scored")
		for _, f := range r.Failures {
			p.line("seed %d: %s", f.Seed, f.Why)
			p.line("    %s", f.Open)
		}
	}
	return p.err
}

// printer writes lines until one fails.
type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, a ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", a...)
	}
}

func (p *printer) title(s string) {
	p.line("")
	p.line("== %s", s)
}

func (p *printer) subject(s SubjectResult) {
	p.title(s.Name + ": " + s.Title)
	wide := 0
	for _, r := range s.Rows {
		if r.N > 0 || r.K > 0 {
			wide = max(wide, len(r.Name))
		}
	}
	for _, r := range s.Rows {
		if r.N > 0 || r.K > 0 {
			p.line("%s", strings.TrimRight(fmt.Sprintf("%-*s  %9s  %-14s  %s", wide, r.Name, r.text(), r.interval(), r.counts()), " "))
		}
	}
	if never := noCase(s.Rows); len(never) > 0 {
		p.line("no case of: %s", strings.Join(never, "; "))
	}
	for _, t := range s.Tables {
		p.table(t)
	}
	for _, c := range s.Calibrations {
		p.calibration(c)
	}
	p.conditions(s)
	p.losses(s.Losses)
	p.worst(s.Worst)
}

// losses prints what went wrong by kind, with the seeds to look at first.
func (p *printer) losses(all []LossKind) {
	if len(all) == 0 {
		return
	}
	p.line("")
	p.line("%-48s %5s %7s %8s  %s", "what went wrong, heaviest first", "count", "weight", "matches", "in seeds")
	for _, k := range all {
		var seeds []string
		for i, s := range k.Seeds {
			if i == mostSeeds {
				seeds = append(seeds, "...")
				break
			}
			seeds = append(seeds, strconv.FormatUint(s, 10))
		}
		p.line("%-48s %5d %7.2f %8d  %s", k.Kind, k.N, k.Lost, len(k.Seeds), strings.Join(seeds, " "))
	}
}

// text is the value of a row with its unit.
func (r Row) text() string {
	switch {
	case r.Kind == Count:
		return fmt.Sprintf("%.0f", r.K)
	case r.Value == nil:
		return "-"
	case r.Kind == Rate || r.Kind == Dice:
		return percent(*r.Value)
	case r.Kind == Per:
		return fmt.Sprintf("%.3f", *r.Value)
	}
	return strings.TrimSpace(short(*r.Value) + " " + r.Unit)
}

func (r Row) interval() string {
	switch {
	case r.Low == nil || r.High == nil:
		return ""
	case r.Kind == Rate:
		return fmt.Sprintf("%.1f to %.1f", 100**r.Low, 100**r.High)
	}
	return fmt.Sprintf("%.3f to %.3f", *r.Low, *r.High)
}

func (r Row) counts() string {
	switch r.Kind {
	case Rate, Dice:
		text := fmt.Sprintf("%.0f of %.0f", r.K, r.N)
		if r.Nominal != nil {
			text += fmt.Sprintf(" (should be %.0f %%)", 100**r.Nominal)
		} else if r.Small {
			text += " (less is better)"
		}
		return text
	case Per:
		if r.Unit == "h" {
			return fmt.Sprintf("%.0f in %.1f h", r.K, r.N)
		}
		return fmt.Sprintf("%.0f in %.0f", r.K, r.N)
	case Error:
		return fmt.Sprintf("90 %% %s, most %s, middle with sign %s, of %.0f", short(*r.P90), short(*r.Max), short(*r.Bias), r.N)
	}
	return ""
}

func noCase(rows []Row) []string {
	var out []string
	for _, r := range rows {
		if r.N == 0 && r.K == 0 && r.Kind != Count {
			out = append(out, r.Name)
		}
	}
	return out
}

func percent(v float64) string { return fmt.Sprintf("%.1f %%", 100*v) }

// short is a number with three figures that matter.
func short(v float64) string {
	switch a := math.Abs(v); {
	case a < 5e-4:
		return "0"
	case a < 10:
		return fmt.Sprintf("%.3f", v)
	default:
		return fmt.Sprintf("%.1f", v)
	}
}

// table prints the words of the truth as lines, unless truth and report agree in silence.
func (p *printer) table(t Table) {
	by := map[string][]string{}
	var order []string
	for _, c := range t.Rows {
		if by[c.Truth] == nil {
			order = append(order, c.Truth)
		}
		by[c.Truth] = append(by[c.Truth], fmt.Sprintf("%s %d", c.Found, c.N))
	}
	if len(order) == 1 && order[0] == "not told" {
		p.line("%s: the truth tells none of %s", t.Name, strings.Join(by[order[0]], ", "))
		return
	}
	var parts []string
	for _, truth := range order {
		parts = append(parts, fmt.Sprintf("%s → %s", truth, strings.Join(by[truth], ", ")))
	}
	p.line("%s, true → found: %s", t.Name, strings.Join(parts, " | "))
}

func (p *printer) calibration(c Calibration) {
	var parts []string
	for _, b := range c.Bins {
		parts = append(parts, fmt.Sprintf("%.2f: %.2f (%d)", b.Said, b.True, b.N))
	}
	p.line("%s, said: true (count): %s | off by %.3f, of %d", c.Name, strings.Join(parts, ", "), c.Error, c.N)
}

// conditions prints the leading figures by condition: those that cost more than the mean of
// all matches, or change a figure by more than chance; the others are named.
func (p *printer) conditions(s SubjectResult) {
	p.line("")
	if len(s.Conditions) == 0 {
		p.line("by condition: none was on in %d matches", leastForCondition)
		return
	}
	head := fmt.Sprintf("%-26s %7s %6s ", "by condition, worst first", "matches", "lost")
	all := fmt.Sprintf("%-26s %7s %6.2f ", "all matches", "", s.LostAMatch)
	for _, f := range s.Conditions[0].Figures {
		head += fmt.Sprintf("  %-28s", clipped(f.Name, 28))
		all += fmt.Sprintf("  %-28s", Row{Kind: f.With.Kind, Value: f.All}.text())
	}
	p.line("%s", strings.TrimRight(head, " "))
	p.line("%s", strings.TrimRight(all, " "))
	var rest []string
	for _, c := range s.Conditions {
		changes := slices.ContainsFunc(c.Figures, func(f Compare) bool { return !f.Chance })
		if c.Lost <= s.LostAMatch && !changes {
			rest = append(rest, fmt.Sprintf("%s (%d)", c.Name, c.Matches))
			continue
		}
		mark := " "
		if c.Costs {
			mark = "!"
		}
		line := fmt.Sprintf("%-26s %7d %6.2f%s", c.Name, c.Matches, c.Lost, mark)
		for _, f := range c.Figures {
			line += fmt.Sprintf("  %-28s", f.cell())
		}
		p.line("%s", strings.TrimRight(line, " "))
	}
	if len(rest) > 0 {
		p.line("no worse than all matches: %s", strings.Join(rest, ", "))
	}
	p.line("lost: weight of what went wrong, a match; ! is more than without the condition (rank-sum test, one in ten marks may be for nothing).")
	p.line("figures: ! worse and + better than without the condition, by more than chance (95 %%, one look at each).")
}

// cell is a figure with the condition on, in the table by condition.
func (c Compare) cell() string {
	if c.With.Value == nil {
		return "-"
	}
	mark := " "
	switch {
	case c.Chance:
	case (*c.With.Value > *c.All) == c.With.Small:
		mark = "!"
	default:
		mark = "+"
	}
	of := fmt.Sprintf("%.0f of %.0f", c.With.K, c.With.N)
	if c.With.Kind == Per {
		of = fmt.Sprintf("%.0f in %.0f", c.With.K, c.With.N)
	}
	return fmt.Sprintf("%s %s (%s)", c.With.text(), mark, of)
}

func clipped(s string, n int) string {
	r := []rune(s)
	if len(r) <= n {
		return s
	}
	return string(r[:n-1]) + "…"
}

func (p *printer) worst(all []Worst) {
	if len(all) == 0 {
		return
	}
	p.line("")
	p.line("worst cases (times are match time, as on the sheet)")
	for _, w := range all {
		on := "no condition on"
		if len(w.Conditions) > 0 {
			on = strings.Join(w.Conditions, ", ")
		}
		p.line("seed %d, lost %.2f, %s", w.Seed, w.Lost, on)
		for i, what := range w.What {
			if i == mostLosses {
				p.line("    and %d more", len(w.What)-mostLosses)
				break
			}
			p.line("    %s", what)
		}
		for _, command := range w.Open {
			p.line("  %s", command)
		}
	}
}
