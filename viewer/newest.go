package viewer

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/index"
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

// latest is the newest match as a page that is open asks for it.
type latest struct {
	Token string `json:"token"` // changes when another match is the newest, or was stored anew
	Match string `json:"match"`
	Href  string `json:"href"`
}

// newestIn is the newest match that can be shown.
func (s *Server) newestIn(table *index.Snapshot) latest {
	for _, e := range table.Entries {
		if !e.Whole {
			continue
		}
		if r := s.rowOfEntry(e); r.Trouble == "" {
			return latest{r.id.String() + " " + r.order.UTC().Format(time.RFC3339Nano), r.Match + " " + r.Robot, r.Href}
		}
	}
	return latest{Token: "none"}
}

// known is what a sheet that is opened knows of the newest match. It is empty before the
// first board: looking through a whole archive for the sake of one sheet would take long,
// and a sheet that knows nothing does not ask.
func (s *Server) known() string {
	if l := s.latest.Load(); l != nil {
		return l.Token
	}
	return ""
}

// newestKnown tells a page that is open which match is the newest now.
func (s *Server) newestKnown(w http.ResponseWriter, _ *http.Request) {
	var now latest // of none, when the folder cannot be read: the page stays as it is
	if table, err := s.index.Now(); err == nil {
		now = s.newestIn(table)
		s.latest.Store(&now)
	}
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(now); err != nil {
		s.options.Log.Debug("newest not delivered", "err", err)
	}
}

// shownOnTop is how many findings of the newest match the board shows.
const shownOnTop = 3

// keptTop is the match on top as it was drawn last.
type keptTop struct {
	id     schemas.MatchID
	href   string
	report time.Time
	size   int64
	newest newest
}

// newest is a match in full, drawn anew when its report changed.
func (s *Server) newest(r row) (*newest, error) {
	info, err := os.Stat(filepath.Join(s.home.Dir(r.id), schemas.ReportFile))
	if err != nil {
		return nil, rebuild(r.id, err)
	}
	if k := s.top.Load(); k != nil && k.id == r.id && k.href == r.Href && k.report.Equal(info.ModTime()) && k.size == info.Size() {
		n := k.newest
		n.row = r // its notes may be others
		return &n, nil
	}
	n, err := s.drawNewest(r)
	if err == nil {
		s.top.Store(&keptTop{r.id, r.Href, info.ModTime(), info.Size(), *n})
	}
	return n, err
}

func (s *Server) drawNewest(r row) (*newest, error) {
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
