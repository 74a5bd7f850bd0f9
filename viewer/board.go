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

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
	"github.com/afterbell/afterbell/viewer/sheet"
)

//go:embed board.css
var boardCSS string

//go:embed board.tmpl
var boardText string

var boardTemplate = template.Must(template.New("board").Funcs(template.FuncMap{"glue": sheet.Glue}).Parse(boardText))

// group is rows of one event and day; Head names it, and is empty while that is the event
// and day of the newest match.
type group struct {
	Head string
	Rows []row
}

// board lists every match, the newest that can be shown on top and in full.
func (s *Server) board(w http.ResponseWriter, _ *http.Request) {
	rows, err := s.allRows()
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The data folder cannot be read.", err.Error())
		return
	}
	var data struct {
		Live   template.HTML
		Newest *newest
		Groups []group
		Agreed []string // how often the crew agreed, a sentence a robot
	}
	data.Agreed = agreed(rows)
	data.Live = s.liveRows()
	latest := newestOf(rows)
	s.latest.Store(&latest)
	var on *row
	for i := range rows {
		if rows[i].Trouble != "" {
			continue
		}
		n, err := s.newest(rows[i])
		if err == nil {
			on, data.Newest = &n.row, n
			rows = slices.Delete(rows, i, i+1)
			break
		}
		rows[i].Trouble = err.Error() // replaced or damaged since its row was made
	}
	data.Groups = groups(rows, on)
	var body, b bytes.Buffer
	if err = boardTemplate.Execute(&body, data); err == nil {
		err = page.Write(&b, page.Frame{
			Title: "Pit board, afterbell", Class: "board",
			Nav:     []page.Link{{Text: "Pit board", Href: "/", Current: true}},
			Body:    template.HTML(body.String()), // made by html/template above
			Scripts: s.scripts, Newest: latest.Token,
		})
	}
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The board cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

// groups parts rows where event or day changes; on is the last row above them, if any. A
// row without a day stays with the rows of its event.
func groups(rows []row, on *row) []group {
	var out []group
	for i, r := range rows {
		switch {
		case on == nil || !r.sameDay(*on):
			out = append(out, group{Head: r.day()})
		case len(out) == 0:
			out = append(out, group{})
		}
		if on == nil || r.Date != "" || !r.sameDay(*on) {
			on = &rows[i]
		}
		last := &out[len(out)-1]
		last.Rows = append(last.Rows, r)
	}
	return out
}

// allRows are the rows of all matches, newest first by wall clock where it is known, else
// by when they were stored.
func (s *Server) allRows() ([]row, error) {
	ids, err := s.home.List()
	if err != nil {
		return nil, err
	}
	short := map[string]int{} // how many matches have this address without a season
	for _, id := range ids {
		short[address(id)]++
	}
	rows := make([]row, 0, len(ids))
	for _, id := range ids {
		if s.outsideMatches(id) {
			continue
		}
		r := s.rowOf(id)
		r.tally, r.Notes = s.saidOn(id, r)
		r.Href = address(id)
		if short[r.Href] > 1 {
			r.Href = longAddress(id)
		}
		rows = append(rows, r)
	}
	slices.SortStableFunc(rows, func(a, b row) int {
		return cmp.Or(b.order.Compare(a.order), cmp.Compare(b.id.String(), a.id.String()))
	})
	return rows, nil
}

// rowOf is the row of one match, from the cache when its report did not change.
func (s *Server) rowOf(id schemas.MatchID) row {
	info, err := os.Stat(filepath.Join(s.home.Dir(id), "report.json"))
	if err != nil && s.samplesOnly(id) {
		return s.troubled(id, fmt.Errorf("stored without a profile, so not analyzed; give one: `afterbell analyze %s --profile robot.yaml`", id))
	}
	if err != nil {
		return s.troubled(id, rebuild(id, err))
	}
	if r, ok := s.rows.get(id, info); ok {
		return r
	}
	m, err := s.loadForRibbon(id)
	if err != nil {
		return s.troubled(id, err)
	}
	r := newRow(id, m)
	s.rows.put(id, info, r)
	return r
}

// troubled is the row of a match that cannot be shown. It stands where its folder was last
// written, which is the best that is known of its time.
func (s *Server) troubled(id schemas.MatchID, err error) row {
	s.options.Log.Error("board", "match", id.String(), "err", err)
	r := row{id: id, Match: id.Match, Robot: id.Robot, Trouble: err.Error()}
	if info, err := os.Stat(s.home.Dir(id)); err == nil {
		r.order = info.ModTime()
	}
	return r
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
	if err != nil {
		return nil, err
	}
	return &stored{r, p, log}, nil
}

// ribbonWidth is the width of a row's ribbon.
const ribbonWidth = 336

func smallRibbon(m *stored) *draw.Picture {
	return draw.Ribbon(draw.NewScene(m.report, m.profile, m.log), draw.RibbonOptions{Width: ribbonWidth, Small: true})
}
