package viewer

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

//go:embed fleet.css
var fleetCSS string

//go:embed fleet.tmpl
var fleetText string

var fleetTemplate = template.Must(template.New("fleet").Parse(fleetText))

// FleetFunc compares the robots of an event in a season, in its newest when season is empty.
// notes say what was left out. The error wraps fs.ErrNotExist when there is no match.
type FleetFunc func(event, season string) (f schemas.Fleet, notes []string, err error)

// fleetView is an event as its template needs it.
type fleetView struct {
	Event, Year, Robots, Matches string
	Headline, Detail             string
	Notes                        []string
	Orders                       []page.Link
	Sections                     []fleetSection
}

// fleetSection is one measure of all robots.
type fleetSection struct {
	ID, Head, Words, Note string
	Picture               template.HTML
	Robots                []fleetRobot
}

type fleetRobot struct{ Name, Said string }

// fleetHref leads to the robots of an event; empty where nothing compares them.
func (s *Server) fleetHref(season, event string) string {
	if s.options.Fleet == nil {
		return ""
	}
	return "/e/" + url.PathEscape(season) + "/" + url.PathEscape(event)
}

func (s *Server) fleet(w http.ResponseWriter, r *http.Request) {
	event := r.PathValue("event")
	if s.options.Fleet == nil {
		s.nothingHere(w, r)
		return
	}
	f, notes, err := s.options.Fleet(event, r.PathValue("season"))
	if errors.Is(err, fs.ErrNotExist) {
		s.problem(w, http.StatusNotFound, "There is no such event.", err.Error())
		return
	}
	by := r.URL.Query().Get("by")
	if err == nil && by != "" && f.Measure(by) == nil {
		s.problem(w, http.StatusBadRequest, "The address is not understood.", fmt.Sprintf("by=%q is no measure of this event", by), page.Link{Text: "By name", Href: r.URL.Path})
		return
	}
	var body, b bytes.Buffer
	if err == nil {
		err = fleetTemplate.Execute(&body, fleetOf(&f, notes, by, r.URL.Path))
	}
	if err == nil {
		nav := append(s.nav(r, ""), page.Link{Text: "Fleet", Href: r.URL.Path, Current: true})
		err = page.Write(&b, page.Frame{
			Title: f.Event + ": fleet " + f.Season, Class: "fleet", Nav: nav,
			Aside:   []page.Link{{Text: "JSON", Href: apiPath + "/e/" + url.PathEscape(f.Event) + "?" + url.Values{"season": {f.Season}}.Encode()}},
			Status:  fmt.Sprintf("%s, %s", f.Event, f.Season),
			Scripts: s.scripts, Newest: s.known(),
			Body: template.HTML(body.String()), // made by html/template above
		})
	}
	if err != nil {
		s.options.Log.Error("fleet", "event", event, "err", err)
		s.problem(w, http.StatusInternalServerError, "The event cannot be shown.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

// fleetWords say below the head of a measure what it is.
var fleetWords = map[string]string{
	"cycle_s":            "Mean of the matches’ medians. Less is better.",
	"jam_rate":           "Share of pieces that jammed on their way through. Less is better.",
	"balance_level_rate": "Share of attempts. More is better.",
	"balance_settle_s":   "Of attempts that came level, so read it with their share. Less is better.",
	"lowest_v":           "Mean of the least the supply fell to in each match. More is better.",
	"resistance_ohm":     "Of the batteries as they were used. Less is better.",
}

func fleetOf(f *schemas.Fleet, notes []string, by, path string) *fleetView {
	v := &fleetView{
		Event: f.Event, Year: f.Season, Headline: f.Headline, Detail: f.Detail, Notes: notes,
		Robots: count(len(f.Robots), "robot", "robots"), Matches: count(f.Matches, "match sheet", "match sheets"),
	}
	if len(f.Measures) > 0 && len(f.Robots) > 1 {
		v.Orders = append(v.Orders, page.Link{Text: "name", Href: path, Current: by == ""})
	}
	order := f.Order(by)
	for i := range f.Measures {
		m := &f.Measures[i]
		if v.Orders != nil {
			v.Orders = append(v.Orders, page.Link{Text: strings.ToLower(m.Title), Href: path + "?by=" + url.QueryEscape(m.Name), Current: by == m.Name})
		}
		sec := fleetSection{ID: m.Name, Head: m.Title, Words: fleetWords[m.Name], Note: m.Note}
		sec.Picture = page.Figure(m.Name, page.Layout{}, func(width float64) (*draw.Picture, bool) { return draw.FleetChart(f, m, order, width) })
		for _, robot := range order {
			if e := m.Estimate(robot); e != nil {
				sec.Robots = append(sec.Robots, fleetRobot{robot, draw.FleetSentence(m, e)})
			}
		}
		v.Sections = append(v.Sections, sec)
	}
	return v
}

// apiFleet answers with the robots of an event side by side.
func (s *Server) apiFleet(w http.ResponseWriter, r *http.Request) error {
	q, err := url.ParseQuery(r.URL.RawQuery)
	if err != nil {
		return notUnderstood("%v", err)
	}
	none := problem{http.StatusNotFound, "There is no such event.", "This server compares no robots."}
	if s.options.Fleet == nil {
		return none
	}
	f, _, err := s.options.Fleet(r.PathValue("event"), q.Get("season"))
	if errors.Is(err, fs.ErrNotExist) {
		none.detail = err.Error()
		return none
	}
	if err != nil {
		return err
	}
	return s.apiJSON(w, f)
}
