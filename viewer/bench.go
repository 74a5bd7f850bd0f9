package viewer

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"net/http"
	"net/url"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/viewer/draw"
	"github.com/afterbell/afterbell/viewer/page"
	"github.com/afterbell/afterbell/viewer/traces"
)

//go:embed bench.css
var benchCSS string

//go:embed bench.tmpl
var benchText string

var benchTemplate = template.Must(template.New("bench").Parse(benchText))

// benchScript is the part of the built pages that draws the bench.
const benchScript = "bench.js"

// earlyScript asks for its first samples.
const earlyScript = "early.js"

// benchView is the trace bench as its template needs it. Everything that moves is drawn by
// the script, from the addresses and times here; what does not is whole without it.
type benchView struct {
	API, Season      string
	Sheet            string
	StartS           float64 // log time of match time 0
	FirstS, LastS    float64 // of the log, in match time
	BellS            float64
	Strips           string // names of the signals shown when the address names none, line by line
	Name             string
	Ribbon, Video    template.HTML
	Findings         []benchFinding
	Known            string // benchKnown as JSON
	Built            bool
	Signals, Samples int
	Save             []page.Link // the whole match as files
}

// benchFinding is a finding with what opens it and what takes it home.
type benchFinding struct {
	Rank           int
	Mark           template.HTML
	Severity, Word string
	Title, When    string
	Href           string
	Save           []page.Link
}

// benchKnown is what the script must know to draw the first picture, said with the page so
// that it asks for nothing but the samples.
type benchKnown struct {
	Signals  []apiSignal  `json:"signals"` // of the strips
	Findings []knownBands `json:"findings"`
}

// knownBands is what bands are drawn from, under the names that a report has for it.
type knownBands struct {
	Rank     int                `json:"rank"`
	Severity string             `json:"severity"`
	Title    string             `json:"title"`
	Short    string             `json:"short"`
	StartS   float64            `json:"start_s"`
	EndS     float64            `json:"end_s"`
	Spans    []schemas.Span     `json:"spans"`
	Evidence []schemas.Evidence `json:"evidence"`
}

// benchHref is the address of a stretch in match time with these signals as strips.
func benchHref(bench string, fromS, toS float64, signals []string) string {
	v := url.Values{}
	v.Set("from", seconds3(fromS))
	v.Set("to", seconds3(toS))
	for _, s := range signals {
		v.Add("s", s)
	}
	return bench + "?" + v.Encode()
}

func seconds3(s float64) string { return strconv.FormatFloat(s, 'f', 3, 64) }

// stretchOf is what leads from a sheet to the bench: the stretch is in log time there.
func stretchOf(bench string, startS float64) func(fromS, toS float64, signals ...string) string {
	return func(fromS, toS float64, signals ...string) string {
		return benchHref(bench, fromS-startS, toS-startS, signals[:min(len(signals), mostStrips)])
	}
}

// mostStrips are opened by a link.
const mostStrips = 8

func (s *Server) bench(w http.ResponseWriter, r *http.Request) {
	id, ok := s.wanted(w, r)
	if !ok {
		return
	}
	v, err := s.benchOf(id, r.URL.Path, r.URL.Query()["s"])
	if err != nil {
		s.options.Log.Error("bench", "match", id.String(), "err", err)
		s.problem(w, http.StatusInternalServerError, fmt.Sprintf("The signals of %s cannot be shown.", id.Match), err.Error())
		return
	}
	var body, b bytes.Buffer
	if v.BellS > 0 && v.Built {
		v.Video = page.Video(v.BellS)
		w.Header().Set("Content-Security-Policy", policy+page.VideoPolicy)
	}
	if err = benchTemplate.Execute(&body, v); err == nil {
		scripts := s.scripts
		if v.Built {
			scripts.Early = []string{page.AssetsPath + earlyScript}
			scripts.Run = append([]string{page.AssetsPath + benchScript}, scripts.Run...) // the strips first
		}
		err = page.Write(&b, page.Frame{
			Title: v.Name + ": trace bench", Class: "bench",
			Nav: []page.Link{
				{Text: "Pit board", Href: "/"},
				{Text: "Match sheet", Href: v.Sheet},
				{Text: "Trace bench", Href: r.URL.Path, Current: true},
				s.seasonLink(id),
			},
			Aside:  []page.Link{{Text: "Copy link to this view", Href: r.URL.Path, ID: "copy"}},
			Status: v.Name + ", " + id.Event, Scripts: scripts, Newest: s.known(),
			Body: template.HTML(body.String()), // made by html/template above
		})
	}
	if err != nil {
		s.options.Log.Error("bench", "match", id.String(), "err", err)
		s.problem(w, http.StatusInternalServerError, "The bench cannot be drawn.", err.Error())
		return
	}
	s.write(w, http.StatusOK, b.Bytes())
}

// keptBench is a bench without what a request adds to it, and what it was made of.
type keptBench struct {
	match   *traces.Match
	changed time.Time // of the report; zero without one
	size    int64
	view    benchView
	bands   []knownBands
}

// mostBenches are kept, some 60 kB each.
const mostBenches = 16

// benchOf is the bench of a match, which may have been stored without a report, with the
// strips that an address names.
func (s *Server) benchOf(id schemas.MatchID, at string, asked []string) (*benchView, error) {
	m, err := s.traces.Open(s.home.Dir(id))
	if err != nil {
		return nil, reimport(err)
	}
	kept, err := s.keptBench(id, at, m)
	if err != nil {
		return nil, err
	}
	v := kept.view
	strips := slices.DeleteFunc(slices.Clone(asked), func(name string) bool { return name == "" })
	if len(strips) == 0 {
		strips = strings.Split(v.Strips, "\n")
	}
	known := benchKnown{signalsOf(m, func(name string) bool { return slices.Contains(strips, name) }), kept.bands}
	var names []string
	for _, one := range known.Signals {
		names = append(names, one.Name)
	}
	if len(names) > 0 {
		// They are asked for as soon as the page is there, so they are read meanwhile. What
		// goes wrong is told then.
		go func() { _, _ = m.Traces(names[:min(len(names), mostSignals)]) }()
	}
	text, err := json.Marshal(known)
	v.Known = string(text)
	return &v, err
}

// keptBench is a bench that was made before, made anew when its match changed.
func (s *Server) keptBench(id schemas.MatchID, at string, m *traces.Match) (keptBench, error) {
	made := keptBench{match: m, bands: []knownBands{}}
	if info, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.ReportFile)); err == nil {
		made.changed, made.size = info.ModTime(), info.Size()
	}
	s.benchesMu.Lock()
	had, ok := s.benches[at]
	s.benchesMu.Unlock()
	if ok && had.match == m && had.changed.Equal(made.changed) && had.size == made.size {
		return had, nil
	}
	if err := s.makeBench(&made, id, at); err != nil {
		return made, err
	}
	s.benchesMu.Lock()
	defer s.benchesMu.Unlock()
	if len(s.benches) >= mostBenches {
		clear(s.benches)
	}
	s.benches[at] = made
	return made, nil
}

func (s *Server) makeBench(made *keptBench, id schemas.MatchID, at string) error {
	m := made.match
	q := asked{match: m}
	first, last := q.bounds()
	made.view = benchView{
		API: apiPath + path.Join("/m", id.Event, id.Match, id.Robot), Season: id.Season, Sheet: "/m" + strings.TrimPrefix(at, "/t"),
		FirstS: schemas.Seconds(first), LastS: schemas.Seconds(last), Name: id.Match + " " + id.Robot, Signals: len(m.Infos()),
	}
	v := &made.view
	for _, i := range m.Infos() {
		v.Samples += i.Samples
	}
	_, v.Built = s.assets[benchScript]
	whole, err := s.loadForRibbon(id)
	if err != nil && !s.samplesOnly(id) {
		return err
	}
	if err == nil {
		v.conclude(whole, at)
		for i, f := range whole.report.Findings {
			made.bands = append(made.bands, knownBands{i + 1, f.Severity, f.Title, f.Short, f.StartS, f.EndS, f.Spans, f.Evidence})
		}
	} else {
		v.BellS = v.LastS - v.FirstS
		v.StartS, v.FirstS, v.LastS = v.FirstS, 0, v.BellS
	}
	if v.Strips == "" {
		for _, i := range m.Infos()[:min(len(m.Infos()), 4)] {
			v.Strips += i.Name + "\n"
		}
	}
	v.Save = s.saveLinks(v, nil, v.FirstS, v.LastS)
	for i := range v.Findings {
		f := whole.report.Findings[i]
		signals, from, to := evidenceOf(f)
		v.Findings[i].Save = s.saveLinks(v, signals, from-v.StartS, to-v.StartS)
	}
	return nil
}

// conclude adds what the report knows of the match.
func (v *benchView) conclude(m *stored, at string) {
	scene := draw.NewScene(m.report, m.profile, m.log)
	v.StartS = m.report.Match.StartS
	v.FirstS, v.LastS = v.FirstS-v.StartS, v.LastS-v.StartS
	v.BellS = scene.Bell()
	links := map[int]string{}
	for i, f := range m.report.Findings {
		signals, from, to := evidenceOf(f)
		room := max(0.1*(to-from), 0.5)
		links[i+1] = benchHref(at, from-room-v.StartS, to+room-v.StartS, signals)
		v.Findings = append(v.Findings, benchFinding{
			Rank: i + 1, Mark: page.Small(draw.SeverityMark(f.Severity, i+1, 11), "", ""), Severity: f.Severity, Word: draw.SeverityWord(f.Severity), Title: f.Title,
			When: seconds1(from-v.StartS) + " to " + seconds1(to-v.StartS) + " s", Href: links[i+1],
		})
	}
	v.Strips = strings.Join(firstStrips(m.report, m.profile), "\n")
	if v.BellS > 0 {
		v.Ribbon = page.Figure("overview", page.Layout{}, func(width float64) (*draw.Picture, bool) {
			return draw.Ribbon(scene, draw.RibbonOptions{Width: width, Small: true, Link: func(rank int) string { return links[rank] }}), true
		})
	}
}

func seconds1(s float64) string { return strconv.FormatFloat(s, 'f', 1, 64) }

// evidenceOf is the stretch a finding rests on with the signals that show it.
func evidenceOf(f schemas.Finding) (signals []string, fromS, toS float64) {
	fromS, toS = f.StartS, f.EndS
	for i, e := range f.Evidence {
		if i == 0 {
			fromS, toS = e.StartS, e.EndS
		}
		if e.Signal != "" && !slices.Contains(signals, e.Signal) && len(signals) < mostStrips {
			signals = append(signals, e.Signal)
		}
	}
	return signals, fromS, toS
}

// firstStrips are what a bench shows that is opened without saying what: the signals of the
// worst finding, else the supply and the path.
func firstStrips(r *schemas.Report, p *profile.Profile) []string {
	for _, f := range r.Findings {
		if signals, _, _ := evidenceOf(f); len(signals) > 1 {
			return signals
		}
	}
	var out []string
	for _, ref := range p.Refs() {
		if len(out) < 4 && !slices.Contains(out, ref.Ref.Signal) && !slices.Contains(r.Quality.Missing, ref.Ref.Signal) {
			out = append(out, ref.Ref.Signal)
		}
	}
	return out
}

// linkedFormats are the forms that pages offer; the interface knows more.
var linkedFormats = []string{"csv", "parquet", "arrow"}

// saveLinks lead to a stretch of signals, in match time, as files.
func (s *Server) saveLinks(v *benchView, signals []string, fromS, toS float64) []page.Link {
	var out []page.Link
	for _, f := range s.options.Formats {
		if !slices.Contains(linkedFormats, f.Name) {
			continue
		}
		q := url.Values{"season": {v.Season}, "format": {f.Name}, "from": {seconds3(fromS + v.StartS)}, "to": {seconds3(toS + v.StartS)}}
		if len(signals) > 0 {
			q["signal"] = signals
		}
		out = append(out, page.Link{Text: formatName(f.Name), Href: v.API + "/samples?" + q.Encode()})
	}
	return out
}

// formatName is how a form of files is called in a sentence.
func formatName(name string) string {
	if name == "csv" {
		return "CSV"
	}
	return strings.ToUpper(name[:1]) + name[1:]
}
