package sheet

import (
	"html/template"
	"slices"

	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// Paper is two pages at most. What a sheet will take on paper is estimated here from
// the heights of its pictures and the lengths of its texts, in CSS pixels of Letter, the
// shorter of the two sizes; what does not fit is folded: first findings late in the list
// shrink to one line, then the path moves to the second page, then cards there keep their
// sentence and lose their picture; what room is left on the first page takes cards of the second. Everything stays on screen and in the report.
const (
	paperHeight  = 988.0       // Letter less 9 mm at top and bottom
	paperScale   = 726.0 / 780 // width of Letter less 12 mm a side, over the middle picture
	smallFinding = 23.0        // a finding on one line
	alwaysSmall  = 10          // from this rank on findings are small
	safety       = 0.99        // of the height is planned with, for what is estimated wrong
	halfWords    = 95          // letters of small text on a line beside the figures
	fullWords    = 125         // letters of small text on a whole line
	verdictWords = 50          // letters of the verdict on a line
	foldedWide   = 110         // letters of a folded card's sentence on a line
	sentenceWide = 88          // letters of a sentence over a figure on a line
)

// lines is how many lines n letters take.
func lines(n, perLine int) float64 { return float64(max((n+perLine-1)/perLine, 1)) }

// planPaper marks the findings and cards that shrink on paper.
func (v *view) planPaper() {
	const budget = paperHeight * safety
	head := 22 + 27*lines(len(v.Text)+len(v.Word), verdictWords) + 6 + v.heights["ribbon"]*paperScale + 12 + 26
	if v.Detail != "" {
		head += 16 * lines(len(v.Detail), fullWords)
	}
	if len(v.Findings) == 0 {
		head += 26
	}
	head += v.paperMended()
	list := func(smallFrom int) float64 {
		total := 0.0
		for _, f := range v.Findings {
			if f.Rank >= smallFrom {
				total += smallFinding
				continue
			}
			total += v.paperFinding(f)
		}
		return total
	}
	const sign = 24
	path := v.paperCard("path")
	from := alwaysSmall
	if head+list(from)+path+sign > budget && path > 0 {
		// Short of room: the path goes over to the second page before findings shrink more.
		if head+list(from)+sign > budget || v.secondPage()+path <= budget {
			path = 0
			v.moveToSecond("path")
		}
	}
	for from > 1 && head+list(from)+path+sign > budget {
		from--
	}
	for i := range v.Findings {
		v.Findings[i].SmallOnPaper = v.Findings[i].Rank >= from
	}
	if v.OnePage = head+list(from)+path+v.secondPage()-22 <= 0.93*budget; v.OnePage {
		return
	}
	v.fillFirstPage(budget-(head+list(from)+path+sign), budget)
	order := []string{"motors", "moves", "autonomous", "cycles", "path", "balance", "power"}
	for _, id := range order {
		if v.secondPage() <= budget {
			break
		}
		v.fold(id, true)
	}
	// A late fold may have made room for an earlier one.
	for _, id := range slices.Backward(order) {
		if v.fold(id, false); v.secondPage() > budget {
			v.fold(id, true)
		}
	}
}

// fillFirstPage moves cards of the second page, in order, into the room that is left on the
// first, as long as the second is over its budget; one that does not fit stays.
func (v *view) fillFirstPage(room, budget float64) {
	for i := range v.Cards {
		c := &v.Cards[i]
		if c.FirstPage {
			continue
		}
		h := v.paperCard(c.ID)
		if v.secondPage() > budget && h <= room {
			c.FirstPage, room = true, room-h
		}
	}
}

// paperFinding is the height of one finding with its cautions and checks.
func (v *view) paperFinding(f finding) float64 {
	h := 7 + 16*lines(len(f.Title)+len(f.Word), 70)
	for _, c := range f.Cautions {
		h += 4 + 14*lines(len(c.Head)+len(c.Text), halfWords)
	}
	for _, c := range f.Checks {
		h += 14.5 * lines(len(c.Text), halfWords)
	}
	return max(h, 36)
}

// paperCard is the height of a card by its id, 0 when the sheet has none.
func (v *view) paperCard(id string) float64 {
	for _, c := range v.Cards {
		if c.ID != id {
			continue
		}
		if c.FoldOnPaper {
			return 3 + 16*lines(len(c.Sentence), foldedWide)
		}
		h := 10 + 19*lines(len(c.Sentence), sentenceWide)
		h += v.heights[id] * paperScale
		if n := len(c.Table.Rows); n > 0 {
			h += 17 * float64(n+1)
		}
		return h
	}
	return 0
}

// secondPage is the height of the second page as planned so far.
func (v *view) secondPage() float64 {
	h := 22.0 + 64 + 58
	h += 14*lines(v.unknownLetters(), fullWords) + 12
	for _, c := range v.OtherCards() {
		h += v.paperCard(c.ID)
	}
	return h
}

func (v *view) unknownLetters() int {
	n := 30
	for _, u := range v.Unknowns {
		n += len(u.What) + len(u.Signal) + 16
	}
	for _, f := range v.LogFacts {
		n += len(f[0]) + len(f[1]) + 3
	}
	return n
}

// fold folds a card of the second page, or unfolds it.
func (v *view) fold(id string, folded bool) {
	for i := range v.Cards {
		if v.Cards[i].ID == id && !v.Cards[i].FirstPage {
			v.Cards[i].FoldOnPaper = folded
		}
	}
}

func (v *view) moveToSecond(id string) {
	for i := range v.Cards {
		if v.Cards[i].ID == id {
			v.Cards[i].FirstPage = false
		}
	}
}

// figure is a picture of a card over the whole width; its height is kept for paper.
func (v *view) figure(card, id string, make func(width float64) (*draw.Picture, bool)) template.HTML {
	if p, ok := make(page.Middle); ok {
		v.heights[card] += p.Height
	}
	return page.Figure(id, page.Layout{File: v.in.Mode == File}, make)
}

// half is a picture that shares the width with other facts; its height on paper is with it.
func (v *view) half(id string, make func(width float64) (*draw.Picture, bool)) (template.HTML, float64) {
	height := 0.0
	if p, ok := make(page.MiddleHalf); ok {
		height = p.Height
	}
	return page.Figure(id, page.Layout{Half: true, File: v.in.Mode == File}, make), height
}
