package viewer

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"os"
	"path/filepath"
	"slices"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

//go:embed board.css
var boardCSS string

//go:embed board.tmpl
var boardText string

var boardTemplate = template.Must(template.New("board").Parse(boardText))

// row is one match on the board.
type row struct {
	Match, Robot, Event, When string
	Href                      string
	Severity                  string
	Mark                      template.HTML
	Word, Text                string
	Small                     template.HTML
	Jams, Lowest, Cycle       cell
	Balance                   cell
	Trouble                   string // why the match cannot be shown; the rest is empty then

	order string
	id    schemas.MatchID
}

// cell is a figure of a row; Unknown says why there is none.
type cell struct{ Value, Unknown string }

// ribbonWidth is the width of a row's ribbon.
const ribbonWidth = 336

// board lists every match, the newest first and in full.
func (s *Server) board(w http.ResponseWriter, _ *http.Request) {
	rows, err := s.allRows()
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The data folder cannot be read.", err.Error())
		return
	}
	data := struct {
		Rows   []row
		Newest *newest
	}{Rows: rows}
	if len(rows) > 0 && rows[0].Trouble == "" {
		if n, err := s.newest(rows[0]); err == nil {
			data.Newest, data.Rows = n, rows[1:]
		} else {
			rows[0].Trouble = err.Error()
		}
	}
	var body, b bytes.Buffer
	if err = boardTemplate.Execute(&body, data); err == nil {
		err = page.Write(&b, page.Frame{
			Title: "Pit board, afterbell", Class: "board",
			Nav:     []page.Link{{Text: "Pit board", Href: "/", Current: true}},
			Body:    template.HTML(body.String()), //nolint:gosec // made by html/template above
			Scripts: s.scripts,
		})
	}
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The board cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

// allRows are the rows of all matches, newest first by wall clock where it is known, else
// by when they were stored.
func (s *Server) allRows() ([]row, error) {
	ids, err := s.home.List()
	if err != nil {
		return nil, err
	}
	rows := make([]row, 0, len(ids))
	for _, id := range ids {
		rows = append(rows, s.rowOf(id))
	}
	slices.SortStableFunc(rows, func(a, b row) int {
		return cmp.Or(cmp.Compare(b.order, a.order), cmp.Compare(b.Match, a.Match))
	})
	return rows, nil
}

// rowOf is the row of one match, from the cache when its report did not change.
func (s *Server) rowOf(id schemas.MatchID) row {
	info, err := os.Stat(filepath.Join(s.home.Dir(id), "report.json"))
	if err != nil {
		return s.troubled(id, err)
	}
	if r, ok := s.rows.get(id, info); ok {
		return r
	}
	m, err := s.loadForRibbon(id)
	if err != nil {
		return s.troubled(id, err)
	}
	r := s.newRow(id, m)
	s.rows.put(id, info, r)
	return r
}

func (s *Server) troubled(id schemas.MatchID, err error) row {
	s.options.Log.Error("board", "match", id.String(), "err", err)
	return row{Match: id.Match, Robot: id.Robot, Event: id.Event, Href: address(id), Trouble: err.Error(), id: id}
}

// loadForRibbon reads of the samples only the supply voltage.
func (s *Server) loadForRibbon(id schemas.MatchID) (*stored, error) {
	r, err := s.readReport(id)
	if err != nil {
		return nil, err
	}
	p, err := s.readProfile(id)
	if err != nil {
		return nil, err
	}
	names := map[string]bool{}
	if p.Power != nil && p.Power.Voltage != nil {
		names[p.Power.Voltage.Signal] = true
	}
	log, err := s.readSignals(id, names)
	return &stored{r, p, log}, err
}

func (s *Server) newRow(id schemas.MatchID, m *stored) row {
	r := m.report
	scene := draw.NewScene(r, m.profile, m.log)
	out := row{
		Match: id.Match, Robot: id.Robot, Event: id.Event, Href: address(id), id: id,
		Severity: r.Verdict.Severity,
		Mark:     page.Small(draw.SeverityMark(r.Verdict.Severity, 0, 7), "", "mark-small"),
		Word:     draw.SeverityWord(r.Verdict.Severity), Text: r.Verdict.Text,
		Small: page.Small(draw.Ribbon(scene, draw.RibbonOptions{Width: ribbonWidth, Small: true}), "r-"+id.Event+"-"+id.Match+"-"+id.Robot, "small"),
		order: r.From.StoredAt,
	}
	if at, err := time.Parse(time.RFC3339Nano, cmp.Or(deref(r.Match.At), r.From.StoredAt)); err == nil {
		out.order = at.UTC().Format("2006-01-02T15:04:05.000000000")
		if r.Match.At != nil {
			out.When = at.Format("15:04")
		}
	}
	out.Jams = cell{Unknown: "no path"}
	if ran(r, "path") {
		out.Jams = cell{Value: fmt.Sprint(len(r.Jams))}
	}
	out.Lowest = figure(r.Battery.LowestV, "%.2f V", "no voltage")
	out.Cycle = figure(medianCycle(r), "%.1f s", "no score")
	out.Balance = balanceCell(r)
	return out
}

func deref(s *string) string {
	if s == nil {
		return ""
	}
	return *s
}

func figure(v *float64, format, unknown string) cell {
	if v == nil {
		return cell{Unknown: unknown}
	}
	return cell{Value: fmt.Sprintf(format, *v)}
}

func ran(r *schemas.Report, analysis string) bool {
	return slices.ContainsFunc(r.Analyses, func(a schemas.Analysis) bool { return a.Name == analysis && a.Ran })
}

// medianCycle is the median of the complete scoring cycles of the driver period.
func medianCycle(r *schemas.Report) *float64 {
	var all []float64
	for _, c := range r.Cycles {
		if c.Kind == "score" && c.Complete && c.Period == schemas.PeriodDriver {
			all = append(all, c.DurationS)
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.Sort(all)
	return schemas.Some((all[len(all)/2] + all[(len(all)-1)/2]) / 2)
}

func balanceCell(r *schemas.Report) cell {
	switch n := len(r.Balances); {
	case !ran(r, "balance"):
		return cell{Unknown: "no tilt"}
	case n == 0:
		return cell{Value: "not tried"}
	default:
		b := r.Balances[n-1]
		switch {
		case b.Outcome == schemas.BalanceLevel && b.SettleS != nil:
			return cell{Value: fmt.Sprintf("level, %.1f s", *b.SettleS)}
		case b.Outcome == schemas.BalanceLeft:
			return cell{Value: fmt.Sprintf("left at %.0f s", b.EndS-r.Match.StartS)}
		}
		return cell{Value: "not level"}
	}
}

// newest is the match on top of the board.
type newest struct {
	row
	Ribbon  template.HTML
	Detail  string
	Battery string
	Top     []topFinding
	More    int
}

// topFinding is one of the first three findings in short; its caution stands above its check.
type topFinding struct {
	Mark    template.HTML
	Word    string
	Title   string
	Caution []string
	Check   string
	Line    string
	Href    string
}

func (s *Server) newest(r row) (*newest, error) {
	m, err := s.loadForRibbon(r.id)
	if err != nil {
		return nil, err
	}
	scene := draw.NewScene(m.report, m.profile, m.log)
	link := func(rank int) string { return fmt.Sprintf("%s#finding-%d", r.Href, rank) }
	out := &newest{row: r, Detail: m.report.Verdict.Detail, Battery: m.report.Battery.ID}
	out.Ribbon = page.Figure("ribbon", false, func(width float64) (*draw.Picture, bool) {
		return draw.Ribbon(scene, draw.RibbonOptions{Width: width, Link: link}), true
	})
	for i, f := range m.report.Findings {
		if i == 3 {
			out.More = len(m.report.Findings) - 3
			break
		}
		t := topFinding{
			Mark: page.Small(draw.SeverityMark(f.Severity, i+1, 11), "", "mark-large"), Word: draw.SeverityWord(f.Severity),
			Title: f.Title, Caution: f.Caution, Href: link(i + 1), Line: fmt.Sprintf("sure %.2f", f.Confidence),
		}
		if f.CostS != nil {
			t.Line = fmt.Sprintf("%.1f s lost, %s", *f.CostS, t.Line)
		}
		if len(f.Check) > 0 {
			t.Check = f.Check[0]
		}
		out.Top = append(out.Top, t)
	}
	return out, nil
}

func problemBody(what, detail string) template.HTML {
	e := template.HTMLEscapeString
	return template.HTML(`<main class="trouble"><h1 class="sentence">` + e(what) + `</h1><p>` + e(detail) + `</p></main>`)
}
