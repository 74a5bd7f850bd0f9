package viewer

import (
	"fmt"
	"html/template"
	"math"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

// newest is the match on top of the board.
type newest struct {
	row
	Ribbon  template.HTML
	Detail  string
	Battery string
	Top     []topFinding
	More    string // what the list leaves out, in words
}

// topFinding is one of the first findings in short; its caution stands above its check.
type topFinding struct {
	Mark     template.HTML
	Severity string
	Word     string
	Title    string
	Caution  []caution
	Check    string
	Line     string
	Href     string
}

// caution is a warning with the words before its colon set off.
type caution struct{ Head, Text string }

// shownOnTop is how many findings of the newest match the board shows.
const shownOnTop = 3

func (s *Server) newest(r row) (*newest, error) {
	m, err := s.loadForRibbon(r.id)
	if err != nil {
		return nil, err
	}
	scene := draw.NewScene(m.report, m.profile, m.log)
	link := func(rank int) string { return fmt.Sprintf("%s#finding-%d", r.Href, rank) }
	out := &newest{row: r, Detail: m.report.Verdict.Detail, Battery: m.report.Battery.ID}
	out.Ribbon = page.Figure("ribbon", page.Layout{}, func(width float64) (*draw.Picture, bool) {
		return draw.Ribbon(scene, draw.RibbonOptions{Width: width, Link: link}), true
	})
	top, rest := m.report.Findings, []schemas.Finding(nil)
	if len(top) > shownOnTop {
		top, rest = top[:shownOnTop], top[shownOnTop:]
	}
	for i, f := range top {
		out.Top = append(out.Top, topOf(f, i+1, link(i+1)))
	}
	out.More = leftOut(rest)
	return out, nil
}

func topOf(f schemas.Finding, rank int, href string) topFinding {
	t := topFinding{
		Mark: page.Small(draw.SeverityMark(f.Severity, rank, 11), "", ""), Severity: f.Severity, Word: draw.SeverityWord(f.Severity),
		Title: f.Title, Href: href, Line: fmt.Sprintf("sure %.2f", math.Floor(f.Confidence*100+1e-9)/100),
	}
	if f.CostS != nil {
		t.Line = fmt.Sprintf("%.1f s lost, %s", *f.CostS, t.Line)
	}
	for _, c := range f.Caution {
		head, text, ok := strings.Cut(c, ":")
		if !ok || len(head) > 40 {
			head, text = "", c
		} else {
			head += ":"
		}
		t.Caution = append(t.Caution, caution{head, text})
	}
	if len(f.Check) > 0 {
		t.Check = f.Check[0]
	}
	return t
}

// leftOut says what further findings are: by title while they are few.
func leftOut(rest []schemas.Finding) string {
	if len(rest) == 0 {
		return ""
	}
	text := fmt.Sprintf("and %d more", len(rest))
	if len(rest) > 2 {
		return text + "."
	}
	for i, f := range rest {
		text += []string{": ", " "}[i] + f.Title
	}
	return text
}
