package viewer

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"net/url"
	"path"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/schemas/parts"
	"github.com/afterbell/afterbell/schemas/tables"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
)

//go:embed season.css
var seasonCSS string

//go:embed season.tmpl
var seasonText string

var seasonTemplate = template.Must(template.New("season").Parse(seasonText))

// SeasonFunc looks at the matches of a robot in a season, in its newest when season is empty.
// notes say what was left out. The error wraps fs.ErrNotExist when there is no match.
type SeasonFunc func(robot, season string) (s schemas.Season, notes []string, err error)

// TrialFunc compares two versions that a robot had in turns, by the words of their entries in its
// parts log. The error says what is wrong with a and b, and wraps fs.ErrNotExist when there is no match.
type TrialFunc func(robot, season, a, b string) (schemas.Trial, error)

// seasonView is the season of a robot as its template needs it.
type seasonView struct {
	Robot, Year, Matches string
	Drivers              []string // for how long who drove
	Headline, Detail     string
	Notes                []string
	Picked               string // "before c", "since c" stand over the right column
	PickedText           string
	Marks, Axis          template.HTML
	Parts                []partView
	Sections             []seasonSection
	Trial                *trialView // nil where no trial can be had
	Post                 string
	Kinds                []string
	Today                string
}

type partView struct {
	Letter, At, Text, Href string
	Current                bool
	CloseTo                string
}

// seasonSection is one row of the page: what it shows in the margin, the picture, and beside it what
// was before and is since the picked entry.
type seasonSection struct {
	ID, Head, Words string
	Picture         template.HTML
	Rows            []seasonSide
	Note            string
}

// seasonSide is one measure before and since.
type seasonSide struct {
	Marker                    template.HTML
	Name                      string
	Before, Since, Difference string
	Hot                       bool
	Under                     string // smaller words below
	Line                      template.HTML
}

// seasonLink leads to the season of a match's robot.
func (s *Server) seasonLink(id schemas.MatchID) page.Link {
	return page.Link{Text: "Season", Href: "/s/" + url.PathEscape(id.Season) + "/" + url.PathEscape(id.Robot)}
}

func (s *Server) season(w http.ResponseWriter, r *http.Request) {
	robot, year := r.PathValue("robot"), r.PathValue("season")
	if s.options.Season == nil {
		s.nothingHere(w, r)
		return
	}
	look, notes, err := s.options.Season(robot, year)
	if err != nil {
		s.problem(w, http.StatusNotFound, "There is no such season.", err.Error())
		return
	}
	nav := []page.Link{{Text: "Pit board", Href: "/"}, {Text: "Season", Href: r.URL.Path, Current: true}}
	if n := len(look.Matches); n > 0 {
		if href := s.fleetHref(look.Matches[n-1].Season, look.Matches[n-1].Event); href != "" {
			nav = append(nav, page.Link{Text: "Fleet", Href: href})
		}
	}
	v := seasonOf(look, notes, r.URL.Query().Get("part"), r.URL.Path)
	v.Today = s.now().Format(time.DateOnly)
	v.Trial = s.trialOf(&look, r.URL.Query(), robot, year)
	var body, b bytes.Buffer
	if err = seasonTemplate.Execute(&body, v); err == nil {
		err = page.Write(&b, page.Frame{
			Title: v.Robot + ": season " + v.Year, Class: "season",
			Nav:    nav,
			Aside:  []page.Link{{Text: "Save as CSV", Href: strings.TrimSuffix(r.URL.Path, "/") + "/season.csv"}, {Text: "Parquet", Href: strings.TrimSuffix(r.URL.Path, "/") + "/season.parquet"}, {Text: "JSON", Href: strings.TrimSuffix(r.URL.Path, "/") + "/season.json"}},
			Status: fmt.Sprintf("%s, %s, %s", v.Robot, v.Year, v.Matches), Scripts: s.scripts, Newest: s.known(),
			Body: template.HTML(body.String()), // made by html/template above
		})
	}
	if err != nil {
		s.options.Log.Error("season", "robot", robot, "err", err)
		s.problem(w, http.StatusInternalServerError, "The season cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

func seasonOf(look schemas.Season, notes []string, picked, path string) *seasonView {
	v := &seasonView{
		Robot: look.Robot, Headline: look.Headline, Detail: look.Detail, Notes: notes, Post: strings.TrimSuffix(path, "/") + "/part", Kinds: parts.Kinds,
		Matches: count(len(look.Matches), "match", "matches"),
	}
	if len(look.Matches) > 0 {
		v.Year = look.Matches[0].Season
	}
	at := slices.IndexFunc(look.Parts, func(p schemas.SeasonPart) bool { return p.Letter == picked })
	if at < 0 { // the newest that has matches on both sides
		for i, p := range look.Parts {
			if len(p.Effects) > 0 {
				at = i
			}
		}
	}
	for _, d := range look.Drivers {
		text := fmt.Sprintf("%.1f h driven", d.MatchHours)
		if d.Sessions > 0 {
			text += fmt.Sprintf(", %.1f h of practice", d.PracticeHours)
		}
		if d.Name != "" {
			text = d.Name + ": " + text
		}
		v.Drivers = append(v.Drivers, text)
	}
	var effects []schemas.SeasonEffect
	if at >= 0 {
		p := look.Parts[at]
		v.Picked, v.PickedText, effects = p.Letter, p.Text, p.Effects
	}
	for i, p := range look.Parts {
		v.Parts = append(v.Parts, partView{
			Letter: p.Letter, At: p.At, Text: p.Text, Href: "?part=" + url.QueryEscape(p.Letter) + "#parts", Current: i == at, CloseTo: strings.Join(p.CloseTo, ", "),
		})
	}
	y := draw.Year{Season: &look, Picked: v.Picked}
	figure := func(id string, make func(draw.Year, float64) (*draw.Picture, bool)) template.HTML {
		return page.Figure(id, page.Layout{Beside: true}, func(width float64) (*draw.Picture, bool) { return make(y, width) })
	}
	v.Marks, v.Axis = figure("marks", draw.SeasonMarks), figure("axis", draw.SeasonAxis)
	add := func(x seasonSection) {
		if x.Picture != "" {
			v.Sections = append(v.Sections, x)
		}
	}
	run := func(id, head, words, name, lower, higher string) {
		add(seasonSection{
			ID: id, Head: head, Words: words, Note: noteOf(&look, name),
			Picture: figure(id, func(y draw.Year, width float64) (*draw.Picture, bool) { return draw.RunChart(y, name, width) }),
			Rows:    sides(&look, effects, name, lower, higher),
		})
	}
	run("cycle", "Cycle time", "Median of each match. Shaded: limits of chance. Wedge below: change point, its line where it may lie.", "cycle_s", "faster", "slower")
	add(seasonSection{
		ID: "jams", Head: "Jams by stage", Words: "A square is a jam, a point is a match without one.",
		Picture: figure("jams", draw.SeasonJams), Rows: jamSides(&look, effects), Note: growthOf(&look),
	})
	add(seasonSection{
		ID: "batteries", Head: "Battery resistance", Words: "Fitted in each match. Whiskers: 95 %, of what has changed.",
		Picture: figure("batteries", draw.SeasonBatteries), Rows: batterySides(&look),
	})
	run("voltage", "Lowest voltage", "The least the supply fell to in each match.", "lowest_v", "lower", "higher")
	balance := seasonSection{
		ID: "balance", Head: "Balance", Words: "Seconds to level. Crosses did not come level; a short bar: no attempt.",
		Picture: figure("balance", draw.SeasonBalance), Note: noteOf(&look, "balance_settle_s"),
	}
	balance.Rows = append(sides(&look, effects, "balance_settle_s", "sooner", "later"), sides(&look, effects, "balance_level_rate", "less often", "more often")...)
	add(balance)
	add(seasonSection{
		ID: "wear", Head: "Wear", Words: "Transit, current and moves, in percent of the first matches. What has changed has its name.",
		Picture: figure("wear", draw.SeasonWear), Rows: wearSides(&look),
	})
	run("autonomous", "Autonomous", "Pieces that counted.", "autonomous_score", "fewer", "more")
	return v
}

func count(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func measureOf(s *schemas.Season, name string) *schemas.SeasonMeasure {
	i := slices.IndexFunc(s.Measures, func(m schemas.SeasonMeasure) bool { return m.Name == name })
	if i < 0 {
		return nil
	}
	return &s.Measures[i]
}

func noteOf(s *schemas.Season, name string) string {
	if m := measureOf(s, name); m != nil {
		return m.Note
	}
	return ""
}

func growthOf(s *schemas.Season) string {
	if s.Growth == nil {
		return ""
	}
	return s.Growth.Note
}

// sides is one measure before and since the picked entry.
func sides(s *schemas.Season, effects []schemas.SeasonEffect, name, lower, higher string) []seasonSide {
	m := measureOf(s, name)
	i := slices.IndexFunc(effects, func(e schemas.SeasonEffect) bool { return e.Measure == name })
	if m == nil || i < 0 {
		return nil
	}
	e := effects[i]
	out := seasonSide{
		Before: sideText(m, e.Before), Since: sideText(m, e.Since), Difference: draw.SeasonDifference(e.Difference, m.Unit), Hot: e.Seen,
		Line: page.Small(draw.Difference(e.Difference, e.Low, e.High, lower, higher, 250), "", "difference"),
	}
	out.Under = fmt.Sprintf("%s, %s; %s", count(e.Before.Matches, "match", "matches"), count(e.Since.Matches, "match", "matches"), intervalText(m, e))
	if c := e.Cycles; c != nil {
		out.Under += "; " + c.Words()
	}
	if name == "balance_level_rate" {
		out.Under = "came level; " + intervalText(m, e)
	}
	return []seasonSide{out}
}

func sideText(m *schemas.SeasonMeasure, side schemas.SeasonSide) string {
	if side.Of != nil {
		return fmt.Sprintf("%d of %d", *side.Events, *side.Of)
	}
	return draw.SeasonAmount(side.Value, m.Unit)
}

func intervalText(m *schemas.SeasonMeasure, e schemas.SeasonEffect) string {
	if e.Low == nil || e.High == nil {
		return "too few to say how sure"
	}
	return "95 %: " + draw.SeasonDifference(*e.Low, m.Unit) + " to " + draw.SeasonDifference(*e.High, m.Unit)
}

func jamSides(s *schemas.Season, effects []schemas.SeasonEffect) []seasonSide {
	var out []seasonSide
	for i := range s.Measures {
		m := &s.Measures[i]
		stage, ok := strings.CutPrefix(m.Name, "jam_rate/")
		if !ok {
			continue
		}
		side := seasonSide{Name: stage}
		k := slices.IndexFunc(effects, func(e schemas.SeasonEffect) bool { return e.Measure == m.Name })
		switch {
		case k >= 0:
			e := effects[k]
			side.Before, side.Since, side.Difference, side.Hot = sideText(m, e.Before), sideText(m, e.Since), "none seen", e.Seen
			if e.Seen {
				side.Difference = draw.SeasonDifference(e.Difference, m.Unit)
				side.Under = intervalText(m, e)
				if h := e.Since.PerHour; h != nil {
					side.Under += fmt.Sprintf("; %.0f an hour since, %.0f before", h.Value, e.Before.PerHour.Value)
				}
			}
		default:
			events, of := 0, 0
			for _, p := range m.Points {
				events, of = events+*p.Events, of+*p.Of
			}
			side.Since = fmt.Sprintf("%d of %d", events, of)
			if len(m.Changes) > 0 {
				side.Difference, side.Hot = "has changed", true
			}
		}
		out = append(out, side)
	}
	return out
}

// mostWear is how many rows of what wears stand beside their picture.
const mostWear = 6

// wearSides lists what has changed of what wears, most first: at first, now, and by how much.
func wearSides(s *schemas.Season) []seasonSide {
	var out []seasonSide
	var by []float64
	quiet := 0
	for i := range s.Measures {
		m := &s.Measures[i]
		if !draw.InWear(m) {
			continue
		}
		if len(m.Changes) == 0 && m.Trend == nil {
			quiet++
			continue
		}
		first, now := draw.WearFirst(m), wearNow(m)
		size := math.Abs(now/first - 1)
		at := 0
		for at < len(by) && by[at] >= size {
			at++
		}
		by = slices.Insert(by, at, size)
		out = slices.Insert(out, at, seasonSide{
			Name: draw.WearName(m), Before: draw.SeasonFine(first, m.Unit), Since: draw.SeasonFine(now, m.Unit),
			Difference: draw.SeasonDifference(now/first-1, ""), Hot: true,
		})
	}
	if len(out) > mostWear {
		quiet, out = quiet+len(out)-mostWear, out[:mostWear]
	}
	if quiet > 0 {
		out = append(out, seasonSide{Name: "others", Difference: fmt.Sprintf("%d: none seen", quiet)})
	}
	return out
}

// wearNow is the newest level of a measure, or where its drift has come to.
func wearNow(m *schemas.SeasonMeasure) float64 {
	if n := len(m.Levels); n > 0 {
		return m.Levels[n-1].Value
	}
	newest := m.Points[max(0, len(m.Points)-3):]
	sum := 0.0
	for _, p := range newest {
		sum += p.Value
	}
	return sum / float64(len(newest))
}

// batterySides lists the batteries, those with most to say first: what they have now and how
// that went.
func batterySides(s *schemas.Season) []seasonSide {
	var out []seasonSide
	place := 0
	for i := range s.Measures {
		m := &s.Measures[i]
		name, ok := strings.CutPrefix(m.Name, "resistance_ohm/")
		if !ok {
			continue
		}
		now := m.Points[len(m.Points)-1].Value
		if n := len(m.Levels); n > 0 {
			now = m.Levels[n-1].Value
		}
		side := seasonSide{Name: name, Since: draw.SeasonAmount(now, "ohm"), Hot: len(m.Changes) > 0 || m.Trend != nil}
		side.Marker = page.Small(draw.MarkerPicture(draw.Marker(place), side.Hot), "", "marker")
		place++
		switch {
		case m.P == nil:
			side.Difference = count(len(m.Points), "match", "matches") + ": too few"
		case m.Trend != nil:
			side.Difference = trendWords(s, m)
		case len(m.Changes) > 0:
			c := m.Changes[len(m.Changes)-1]
			side.Difference = draw.SeasonDifference(c.After-c.Before, "ohm") + " since " + s.Matches[c.Index].Match
		default:
			side.Difference = "steady"
		}
		out = append(out, side)
	}
	slices.SortStableFunc(out, func(a, b seasonSide) int {
		switch {
		case a.Hot == b.Hot:
			return 0
		case a.Hot:
			return -1
		}
		return 1
	})
	return out
}

// trendWords are how a measure drifts, or drifted.
func trendWords(s *schemas.Season, m *schemas.SeasonMeasure) string {
	t, newest := m.Trend, m.Points[len(m.Points)-1].Index
	word := map[bool]string{true: "rising", false: "falling"}[t.PerMatch > 0]
	if t.Until < newest {
		return map[bool]string{true: "rose", false: "fell"}[t.PerMatch > 0] + " until " + s.Matches[t.Until].Match
	}
	if t.From > m.Points[0].Index {
		word += " since " + s.Matches[t.From].Match
	}
	return word
}

// seasonFile answers with the season as a file: JSON, or the points as CSV or Parquet.
func (s *Server) seasonFile(w http.ResponseWriter, r *http.Request) {
	if s.options.Season == nil {
		http.NotFound(w, r)
		return
	}
	look, _, err := s.options.Season(r.PathValue("robot"), r.PathValue("season"))
	if err != nil {
		http.Error(w, err.Error(), http.StatusNotFound)
		return
	}
	name := look.Robot + "-season"
	form, write := "text/csv; charset=utf-8", look.WriteCSV
	ending := path.Ext(r.URL.Path)
	switch ending {
	case ".json":
		form, write = "application/json", look.WriteJSON
	case ".parquet":
		form = "application/vnd.apache.parquet"
		write = func(w io.Writer) error { return tables.WriteSeason(w, &look) }
	}
	w.Header().Set("Content-Type", form)
	w.Header().Set("Content-Disposition", `attachment; filename="`+name+ending+`"`)
	_ = write(w) // whoever asked is gone
}

// addPart takes an entry of the parts log by a form that needs no script.
func (s *Server) addPart(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil {
		s.problem(w, http.StatusBadRequest, "The form cannot be read.", err.Error())
		return
	}
	at, day, err := parts.ParseWhen(strings.TrimSpace(r.PostForm.Get("at")), time.Local)
	e := parts.Entry{At: at, Day: day, Kind: r.PostForm.Get("kind"), Text: strings.TrimSpace(r.PostForm.Get("text"))}
	if err == nil {
		err = e.Check()
	}
	if err != nil {
		s.problem(w, http.StatusBadRequest, "The entry was not added.", err.Error()+". Go back and change it.")
		return
	}
	robot := r.PathValue("robot")
	if _, _, err := s.options.Season(robot, ""); err != nil {
		s.problem(w, http.StatusNotFound, "The entry was not added.", err.Error())
		return
	}
	if err := s.home.AddPart(robot, e); err != nil {
		status := http.StatusInternalServerError
		var locked *home.LockedError
		if errors.As(err, &locked) {
			status = http.StatusServiceUnavailable
		}
		s.problem(w, status, "The entry was not added.", err.Error())
		return
	}
	http.Redirect(w, r, strings.TrimSuffix(r.URL.Path, "/part")+"#parts", http.StatusSeeOther)
}
