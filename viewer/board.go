package viewer

import (
	"bytes"
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/index"
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
	Day  string // the same, always
	Href string // of the robots of the event side by side, where they are compared
	Rows []row
}

// shownRows are the matches of one page of the board, besides the newest.
const shownRows = 25

// patience is how long somebody waits for a board before it says how far it is.
const patience = 1500 * time.Millisecond

// boardView is the board as its template needs it.
type boardView struct {
	Live   template.HTML
	Newest *newest
	Fleet  string // address of the robots of its event side by side; empty where they are not compared
	Groups []group
	Agreed []string // how often the crew agreed, a sentence a robot
	Empty  bool     // nothing is stored

	Bring template.HTML // the form by which logs come in, on top of the board

	Find     *find
	Filtered bool
	Older    bool // this is not the top of the board
	Total    int  // matches that fit
	Shown    int
	Next     string // address of older matches, empty for none
	All      string // address without any of this
}

// find is the form that narrows the board.
type find struct {
	index.Filter
	Facets []facet
}

// facet is one choice of the form.
type facet struct {
	Name, Label, Any, Value string
	Values                  []string
	Words                   map[string]string // of a value, where it has others
}

// board lists the matches that fit the address, the newest of all that can be shown on top and
// in full.
func (s *Server) board(w http.ResponseWriter, r *http.Request) {
	filter, err := index.ParseFilter(r.URL.Query())
	after, err2 := index.ParsePlace(r.URL.Query().Get("after"))
	if err := cmp.Or(err, err2); err != nil {
		s.problem(w, http.StatusBadRequest, "The address is not understood.", err.Error(), page.Link{Text: "All matches", Href: "/"})
		return
	}
	table, err := s.index.Soon(patience)
	switch {
	case err != nil:
		s.problem(w, http.StatusInternalServerError, "The data folder cannot be read.", err.Error())
		return
	case table == nil:
		s.reading(w)
		return
	}
	latest := s.newestIn(table)
	s.latest.Store(&latest)
	top := filter.Empty() && after == index.Place{}
	found := table.Page(filter, after, shownRows+1)
	data := boardView{
		Live: s.liveRows(), Empty: len(table.Entries) == 0, Filtered: !filter.Empty(), Older: after != index.Place{},
		Total: found.Total, All: "/", Find: findOf(filter, table.Facets),
	}
	entries := found.Entries
	if !top && len(entries) > shownRows { // the top has one more: that in full
		entries = entries[:shownRows]
		found.Next = index.PlaceOf(entries[shownRows-1])
	}
	if found.Next != (index.Place{}) {
		q := filter.Query()
		q.Set("after", found.Next.String())
		data.Next = "/?" + q.Encode()
	}
	rows := s.rowsOf(entries)
	data.Shown = len(rows)
	var on *row
	if top {
		data.Agreed = agreed(table.Entries)
		if !readOnly(r) {
			data.Bring = s.bringForm()
		}
		on, data.Newest, rows = s.onTop(rows)
	}
	data.Groups = groups(rows, on)
	for i := range data.Groups {
		id := data.Groups[i].Rows[0].id
		data.Groups[i].Href = s.fleetHref(id.Season, id.Event)
	}
	if data.Newest != nil {
		data.Fleet = s.fleetHref(data.Newest.id.Season, data.Newest.id.Event)
	}
	s.writeBoard(w, r, data, latest)
}

// onTop takes the newest match that can be shown out of the rows.
func (s *Server) onTop(rows []row) (*row, *newest, []row) {
	for i := range rows {
		if rows[i].Trouble != "" {
			continue
		}
		n, err := s.newest(rows[i])
		if err == nil {
			return &n.row, n, slices.Delete(rows, i, i+1)
		}
		rows[i].Trouble = err.Error() // replaced or damaged since its row was made
	}
	return nil, nil, rows
}

func (s *Server) writeBoard(w http.ResponseWriter, r *http.Request, data boardView, latest latest) {
	var body, b bytes.Buffer
	err := boardTemplate.Execute(&body, data)
	if err == nil {
		err = page.Write(&b, page.Frame{
			Title: "Pit board, afterbell", Class: "board",
			Nav:     s.boardNav(r, data),
			Aside:   robotLinks(data.Find),
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

// boardNav leads from the board to the pages of the match on top of it, in the order that their
// own pages name them.
func (s *Server) boardNav(r *http.Request, data boardView) []page.Link {
	out := s.nav(r, "/")
	var first *row
	switch {
	case data.Newest != nil:
		first = &data.Newest.row
	case len(data.Groups) > 0 && len(data.Groups[0].Rows) > 0:
		first = &data.Groups[0].Rows[0]
	}
	if first == nil || first.Trouble != "" {
		return out
	}
	links := []page.Link{{Text: "Match sheet", Href: first.Href}, {Text: "Trace bench", Href: "/t" + strings.TrimPrefix(first.Href, "/m")}}
	if s.options.Season != nil {
		links = append(links, s.seasonLink(first.id))
	}
	return slices.Insert(out, 1, links...)
}

// mostRobots have a link of their own; more are chosen in the form.
const mostRobots = 6

// robotLinks show the matches of one robot, where there are a few.
func robotLinks(f *find) []page.Link {
	for _, c := range f.Facets {
		if c.Name != "robot" || len(c.Values) < 2 || len(c.Values) > mostRobots {
			continue
		}
		out := []page.Link{{Text: "All robots", Href: "/", Current: c.Value == ""}}
		for _, name := range c.Values {
			out = append(out, page.Link{Text: name, Href: "/?" + url.Values{"robot": {name}}.Encode(), Current: c.Value == name})
		}
		return out
	}
	return nil
}

// reading is the board while a large folder is read for the first time: it says how far that
// is, and the browser asks again by itself.
func (s *Server) reading(w http.ResponseWriter) {
	read, all := s.index.Progress()
	w.Header().Set("Refresh", "1")
	var b bytes.Buffer
	err := page.Write(&b, page.Frame{
		Title: "Pit board, afterbell", Class: "board", Nav: []page.Link{{Text: "Pit board", Href: "/", Current: true}},
		Body: template.HTML(fmt.Sprintf(`<main class="reading"><div class="outline" aria-hidden="true"></div><p role="status">Reading the data folder: %d of %d matches so far.</p></main>`, read, all)),
	})
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The board cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

func findOf(f index.Filter, all index.Facets) *find {
	out := &find{Filter: f}
	for _, c := range []facet{
		{"season", "Season", "all seasons", f.Season, all.Seasons, nil},
		{"event", "Event", "all events", f.Event, all.Events, nil},
		{"robot", "Robot", "all robots", f.Robot, all.Robots, nil},
		{"battery", "Battery", "all batteries", f.Battery, all.Batteries, nil},
		{"kind", "Finding", "all findings", f.Kind, all.Kinds, kindWords},
	} {
		if c.Value != "" && !slices.Contains(c.Values, c.Value) {
			c.Values = append(slices.Clone(c.Values), c.Value) // of an address; it fits nothing
		}
		if len(c.Values) > 1 || c.Value != "" || c.Name == "kind" && len(c.Values) > 0 {
			out.Facets = append(out.Facets, c)
		}
	}
	return out
}

// Word is what a choice is called.
func (c facet) Word(value string) string { return cmp.Or(c.Words[value], value) }

// kindWords are the kinds of findings as people call them, where that differs.
var kindWords = map[string]string{
	"slow_cycle": "slow cycle", "data_gap": "gap in the log", "move": "arm or lift", "autonomous": "autonomous period",
}

// groups parts rows where event or day changes; on is the last row above them, if any. A
// row without a day stays with the rows of its event.
func groups(rows []row, on *row) []group {
	var out []group
	for i, r := range rows {
		switch {
		case on == nil || !r.sameDay(*on):
			out = append(out, group{Head: r.day(), Day: r.day()})
		case len(out) == 0:
			out = append(out, group{Day: on.day()})
		}
		if on == nil || r.Date != "" || !r.sameDay(*on) {
			on = &rows[i]
		}
		last := &out[len(out)-1]
		last.Rows = append(last.Rows, r)
	}
	return out
}

// rowsOf are the rows of those matches. Those that must be drawn are drawn side by side.
func (s *Server) rowsOf(entries []index.Entry) []row {
	rows := make([]row, len(entries))
	var next atomic.Int64
	var workers sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(entries)) {
		workers.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(entries); i = int(next.Add(1)) - 1 {
				rows[i] = s.rowOfEntry(entries[i])
			}
		})
	}
	workers.Wait()
	return rows
}

func (s *Server) rowOfEntry(e index.Entry) row {
	r := s.rowOf(e.ID)
	r.Notes, r.Href = e.Notes, address(e.ID)
	if !e.Short {
		r.Href = longAddress(e.ID)
	}
	return r
}

// rowOf is the row of one match, from the cache when its report did not change.
func (s *Server) rowOf(id schemas.MatchID) row {
	info, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.ReportFile))
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
