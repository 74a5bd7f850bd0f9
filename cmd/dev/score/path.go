package score

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/afterbell/afterbell/schemas"
)

// Tolerances of the path, in seconds.
const (
	nearOnset  = 0.5 // starts this near are the same jam even without overlap
	rightOnset = 0.2 // and this near are right
	lateEnd    = 1.0 // an end off by more than this counts as lost
	nearPass   = 0.5 // a piece that came in this near is the same
	farPass    = 3.0 // and this near is the same, told at another time
)

func pathFigures() []Figure {
	return []Figure{
		{Name: "jam recall", Kind: Rate, Leads: true},
		{Name: "jam precision", Kind: Rate, Leads: true},
		{Name: "jam F1", Kind: Dice},
		{Name: "false jams a clean match", Kind: Per, Unit: "match", Leads: true, Small: true},
		{Name: "false jams an hour of match", Kind: Per, Unit: "h", Small: true},
		{Name: "jams left out, undecidable", Kind: Count},
		{Name: "jams told of creeping pieces, left out", Kind: Count},
		{Name: "jam recall, suspected ones too", Kind: Rate},
		{Name: "suspected jams that were one", Kind: Rate},
		{Name: "suspected jams that double a found one", Kind: Count},
		{Name: "jam stage right", Kind: Rate},
		{Name: "jam stage the very one", Kind: Rate},
		{Name: "jam onset error", Kind: Error, Unit: "s"},
		{Name: "jam onset within 0.2 s", Kind: Rate},
		{Name: "jam onset interval holds truth", Kind: Rate, Nominal: 0.9},
		{Name: "jam onset interval width", Kind: Error, Unit: "s"},
		{Name: "jam end error", Kind: Error, Unit: "s"},
		{Name: "jam cleared right", Kind: Rate},
		{Name: "jam how right, where truth tells", Kind: Rate},
		{Name: "jam cause right, where truth tells", Kind: Rate},
		{Name: "passes counted right", Kind: Rate},
		{Name: "pass count error", Kind: Error, Unit: "passes"},
		{Name: "pass recall", Kind: Rate},
		{Name: "pass precision", Kind: Rate},
		{Name: "passes left out, undecidable", Kind: Count},
		{Name: "pass outcome right", Kind: Rate},
		{Name: "released piece that never counted, recall", Kind: Rate},
		{Name: "released piece that never counted, precision", Kind: Rate},
		{Name: "sensor fault recall", Kind: Rate},
		{Name: "sensor fault precision", Kind: Rate},
		{Name: "false sensor faults a sound match", Kind: Per, Unit: "match", Small: true},
		{Name: "sensor faults of poor sensors, not judged", Kind: Count},
		{Name: "matches not looked at by path", Kind: Count},
	}
}

// Stage is one part of the path, as far as the score must know it: whether a beam sees it.
type Stage struct {
	Name string
	Beam bool
}

func scorePath(c *Case) *Tally {
	t := newTally()
	scoreJams(t, c)
	scorePasses(t, c)
	scoreFaults(t, c)
	t.notLookedAt(c, "path")
	return t
}

// notLookedAt counts a match in which the analysis could not look; what is true of it is
// missed all the same.
func (t *Tally) notLookedAt(c *Case, analysis string) {
	for _, a := range c.Got.Analyses {
		if a.Name == analysis && !a.Ran {
			t.add("matches not looked at by "+analysis, 1, 0)
		}
	}
}

func scoreJams(t *Tally, c *Case) {
	truth, got := c.sureJams(t), byStart(c.Got.Jams)
	p := pairJams(truth, got)
	p.extra = slices.DeleteFunc(p.extra, func(i int) bool {
		crept := c.crept(got[i])
		if crept {
			t.add("jams told of creeping pieces, left out", 1, 0)
		}
		return crept
	})
	t.found("jam recall", "jam precision", "jam F1", len(p.pairs), len(p.missed), len(p.extra))
	t.add("false jams an hour of match", float64(len(p.extra)), c.hours())
	if len(truth) == 0 {
		t.add("false jams a clean match", float64(len(p.extra)), 1)
	}
	for _, x := range p.pairs {
		t.told(truth[x[0]], "found")
		scoreJam(t, c, truth[x[0]], got[x[1]])
		t.judge("jam confidence", got[x[1]].Confidence, true)
	}
	for _, i := range p.extra {
		t.judge("jam confidence", got[i].Confidence, false)
		t.lose(1, "jam that was none", "false jam in the %s at %s for %.1f s, confidence %.2f%s",
			got[i].Stage, c.at(got[i].StartS), got[i].EndS-got[i].StartS, got[i].Confidence, weighed(got[i]))
	}
	scoreSuspected(t, c, truth, p)
}

// sureJams are the true jams, in order, without those that may be none: a call is paired with
// what it may be right about.
func (c *Case) sureJams(t *Tally) []schemas.Jam {
	var out []schemas.Jam
	for i, j := range c.Truth.Jams {
		if c.unsure("jams", i) {
			t.add("jams left out, undecidable", 1, 0)
			continue
		}
		out = append(out, j)
	}
	return byStart(out)
}

// crept says whether a piece crept for most of what was told as a jam: then it stood or moved by
// what one calls standing.
func (c *Case) crept(j schemas.Jam) bool {
	most := func(k schemas.Jam) bool {
		return min(j.EndS, k.EndS)-max(j.StartS, k.StartS) > (j.EndS-j.StartS)/2
	}
	for i, k := range c.Truth.Jams {
		if c.unsure("jams", i) && most(k) {
			return true
		}
	}
	return slices.ContainsFunc(c.Creeps, most)
}

// told counts what became of a true jam by what kind of jam it was.
func (t *Tally) told(j schemas.Jam, how string) {
	t.table("jams by cause", j.Cause, how)
	t.table("jams by how they ended", j.How, how)
	stood := "3 s and up"
	for _, edge := range []float64{3, 1.5, 0.75, 0.5} {
		if j.EndS-j.StartS < edge {
			stood = fmt.Sprintf("under %g s", edge)
		}
	}
	t.table("jams by how long they stood", stood, how)
}

// scoreSuspected pairs what is only suspected with the jams that were not found.
func scoreSuspected(t *Tally, c *Case, truth []schemas.Jam, found pairing) {
	var open []schemas.Jam
	for _, i := range found.missed {
		open = append(open, truth[i])
	}
	suspected := byStart(c.Got.SuspectedJams)
	p := pairJams(open, suspected)
	t.add("jam recall, suspected ones too", float64(len(found.pairs)+len(p.pairs)), float64(len(found.pairs)+len(found.missed)))
	for i := range p.pairs {
		s := suspected[p.pairs[i][1]]
		t.hit("suspected jams that were one", true)
		t.judge("jam confidence", s.Confidence, true)
	}
	for _, i := range p.extra {
		s := suspected[i]
		if c.crept(s) {
			continue
		}
		if slices.ContainsFunc(truth, func(j schemas.Jam) bool { return sameJam(j, s) }) {
			t.add("suspected jams that double a found one", 1, 0)
		}
		t.hit("suspected jams that were one", false)
		t.judge("jam confidence", s.Confidence, false)
		t.lose(0.1, "suspected jam that was none", "suspected a jam in the %s at %s, confidence %.2f%s", s.Stage, c.at(s.StartS), s.Confidence, weighed(s))
	}
	for k, j := range open {
		only, kind, weight := "missed", "jam missed", 1.0
		for _, x := range p.pairs {
			if x[0] == k {
				only, kind, weight = fmt.Sprintf("only suspected (%.2f)", suspected[x[1]].Confidence), "jam only suspected", 0.7
			}
		}
		t.told(j, strings.TrimPrefix(kind, "jam "))
		t.lose(weight, kind, "%s: jam in the %s at %s for %.1f s%s", only, j.Stage, c.at(j.StartS), j.EndS-j.StartS, words(j.How, j.Cause))
	}
}

func scoreJam(t *Tally, c *Case, truth, got schemas.Jam) {
	right := slices.Contains(rightStages(c.Stages, c.Truth.Passes, truth), got.Stage)
	t.hit("jam stage right", right)
	t.hit("jam stage the very one", got.Stage == truth.Stage)
	if !right {
		t.lose(0.5, "jam in wrong stage", "jam at %s told in the %s, was in the %s", c.at(truth.StartS), got.Stage, truth.Stage)
	}
	off := got.StartS - truth.StartS
	t.value("jam onset error", off)
	t.hit("jam onset within 0.2 s", math.Abs(off) <= rightOnset)
	if math.Abs(off) > nearOnset {
		t.lose(0.25, "jam onset off by over 0.5 s", "jam in the %s told at %s, began at %s", truth.Stage, c.at(got.StartS), c.at(truth.StartS))
	}
	if got.OnsetLowS != nil && got.OnsetHighS != nil {
		t.hit("jam onset interval holds truth", *got.OnsetLowS <= truth.StartS && truth.StartS <= *got.OnsetHighS)
		t.value("jam onset interval width", *got.OnsetHighS-*got.OnsetLowS)
	}
	t.value("jam end error", got.EndS-truth.EndS)
	t.hit("jam cleared right", got.Cleared == truth.Cleared)
	switch {
	case got.Cleared != truth.Cleared:
		t.lose(0.5, "jam cleared wrong", "jam in the %s at %s: cleared %v, was %v", truth.Stage, c.at(truth.StartS), got.Cleared, truth.Cleared)
	case math.Abs(got.EndS-truth.EndS) > lateEnd:
		t.lose(0.25, "jam end off by over 1 s", "jam in the %s told to end at %s, ended at %s", truth.Stage, c.at(got.EndS), c.at(truth.EndS))
	}
	t.table("jam how", truth.How, got.How)
	if truth.How != "" {
		t.hit("jam how right, where truth tells", got.How == truth.How)
	}
	t.table("jam cause", truth.Cause, got.Cause)
	if truth.Cause != "" {
		t.hit("jam cause right, where truth tells", got.Cause == truth.Cause)
	}
}

func pairJams(truth, got []schemas.Jam) pairing {
	return inOrder(len(truth), len(got), func(i, j int) (float64, bool) {
		return math.Abs(truth[i].StartS - got[j].StartS), sameJam(truth[i], got[j])
	})
}

func sameJam(truth, got schemas.Jam) bool {
	_, ok := overlapOrNear(truth.StartS, truth.EndS, got.StartS, got.EndS, nearOnset)
	return ok
}

// rightStages are the stages in which a jam may rightly be told: its own, and, when its
// piece stood in no beam, every stage from the beam before it to the beam behind it.
func rightStages(stages []Stage, passes []schemas.Pass, j schemas.Jam) []string {
	out := []string{j.Stage}
	at := slices.IndexFunc(stages, func(s Stage) bool { return s.Name == j.Stage })
	if at < 0 || stages[at].Beam && inBeam(passes, j) {
		return out
	}
	for i := at - 1; i >= 0; i-- {
		out = append(out, stages[i].Name)
		if stages[i].Beam {
			break
		}
	}
	for i := at + 1; i < len(stages); i++ {
		out = append(out, stages[i].Name)
		if stages[i].Beam {
			break
		}
	}
	return out
}

// inBeam says whether the piece of the jam blocked the beam of its stage when it stopped.
// When the truth does not tell, it did: that allows less.
func inBeam(passes []schemas.Pass, j schemas.Jam) bool {
	for _, p := range passes {
		if j.Piece == nil || p.Piece != *j.Piece {
			continue
		}
		for _, s := range p.Stages {
			if s.Stage == j.Stage {
				return s.EnterS != nil && *s.EnterS <= j.StartS && (s.LeaveS == nil || j.StartS < *s.LeaveS)
			}
		}
	}
	return true
}

func byStart(jams []schemas.Jam) []schemas.Jam {
	out := slices.Clone(jams)
	slices.SortStableFunc(out, func(a, b schemas.Jam) int { return cmp.Compare(a.StartS, b.StartS) })
	return out
}

// weighed are the two heaviest pieces of a jam's evidence.
func weighed(j schemas.Jam) string {
	all := slices.Clone(j.Weighed)
	slices.SortStableFunc(all, func(a, b schemas.Weighed) int { return cmp.Compare(math.Abs(b.LogOdds), math.Abs(a.LogOdds)) })
	var parts []string
	for _, w := range all[:min(2, len(all))] {
		parts = append(parts, fmt.Sprintf("%s %+.1f", w.What, w.LogOdds))
	}
	return words(parts...)
}

// words in brackets, empty ones left out.
func words(all ...string) string {
	all = slices.DeleteFunc(slices.Clone(all), func(s string) bool { return s == "" })
	if len(all) == 0 {
		return ""
	}
	return " (" + strings.Join(all, ", ") + ")"
}
