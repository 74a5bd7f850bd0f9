package viewer

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"errors"
	"fmt"
	"html/template"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

//go:embed live.tmpl
var liveText string

var liveTemplate = template.Must(template.New("live").Parse(liveText))

// liveRow is one robot that is being collected, in words.
type liveRow struct {
	Robot, State, Problem string
	Silent                bool
	Facts                 []string
	Notes                 []string // of the signals that the profile names
	Ribbon                *liveRibbon
	Caution               string // where a note may send hands to the robot
}

// liveEvery is how often live rows are made anew for a board that is looked at.
const liveEvery = time.Second

// silentAfter is how old the newest sample may be, in seconds, before a row says so.
const silentAfter = 2

// liveRows is the part of the board that tells of robots being collected; empty when this
// process does not collect.
func (s *Server) liveRows() template.HTML {
	if s.options.Live == nil {
		return ""
	}
	robots := s.options.Live()
	var data struct {
		Newest string
		Robots []liveRow
	}
	var newest []string
	for _, r := range robots {
		data.Robots = append(data.Robots, rowOfLive(r))
		if r.Newest != "" {
			newest = append(newest, fmt.Sprintf("%s/%s %d", r.Newest, r.Robot, r.Seal))
		}
	}
	data.Newest = strings.Join(newest, ", ")
	var b bytes.Buffer
	if err := liveTemplate.Execute(&b, data); err != nil {
		s.options.Log.Error("live rows", "err", err)
		return ""
	}
	return template.HTML(b.String()) // made by html/template above
}

// rowOfLive puts a robot's state into words.
func rowOfLive(r schemas.LiveRobot) liveRow {
	row := liveRow{Robot: r.Robot, State: "collecting"}
	silent := r.SilentS != nil && *r.SilentS > silentAfter
	switch {
	case r.Sealing:
		row.State = "making the sheet"
		if r.Analyses > 0 {
			row.State += fmt.Sprintf(": %d of %d analyses done", r.Done, r.Analyses)
		}
	case !r.Connected && r.SilentS != nil:
		row.State, row.Silent = "not connected, silent for "+seconds(*r.SilentS), true
	case !r.Connected:
		row.State, row.Silent = "not connected", true
	case r.SilentS == nil:
		row.State = "connected, nothing sent yet"
	case silent:
		row.State, row.Silent = "silent for "+seconds(*r.SilentS), true
	}
	if r.Running {
		name := "match"
		if r.Match != "" {
			name = r.Match
		}
		row.Facts = append(row.Facts, fmt.Sprintf("%s, %s, %.0f s in", name, r.Period, r.RunningS))
	} else if r.Connected {
		row.Facts = append(row.Facts, "between matches")
	}
	if r.VoltsNow != nil {
		row.Facts = append(row.Facts, fmt.Sprintf("%.1f V now, lowest %.1f V", *r.VoltsNow, *r.VoltsLow))
	}
	if r.VoltsRest != nil {
		row.Facts = append(row.Facts, fmt.Sprintf("rests at %.2f V", *r.VoltsRest))
	}
	row.Facts = append(row.Facts, fmt.Sprintf("%d samples kept", r.Samples))
	if r.Lost != nil {
		row.Facts = append(row.Facts, fmt.Sprintf("%d of %d lost", *r.Lost, *r.LostOf))
	}
	if r.Mapped > 0 {
		row.Facts = append(row.Facts, fmt.Sprintf("%d of %d signals came lately", r.Came, r.Mapped))
		row.tellSignals(r)
	}
	if r.BoundMS != nil {
		row.Facts = append(row.Facts, fmt.Sprintf("clock known to ±%.1f ms", *r.BoundMS))
	}
	if r.Sources > 1 {
		row.Facts = append(row.Facts, fmt.Sprintf("%d computers", r.Sources))
	}
	if !r.Analyzed {
		row.Facts = append(row.Facts, "no profile: stored, not analyzed")
	}
	if r.Room != nil {
		row.Facts = append(row.Facts, schemas.RoomText(*r.Room))
	}
	row.Ribbon = ribbonOfLive(r)
	if r.Problem != "" {
		row.Problem = "The newest match could not be stored yet: " + r.Problem
	}
	return row
}

// mostNotes are written out in a row; the rest is counted.
const mostNotes = 3

// tellSignals says which signals are not as they should be. Nothing is said while nothing
// comes at all: the state says that.
func (row *liveRow) tellSignals(r schemas.LiveRobot) {
	if r.SilentS == nil || *r.SilentS > silentAfter {
		return
	}
	notes := schemas.Noteworthy(r.Signals)
	row.Notes = notes[:min(len(notes), mostNotes)]
	if more := len(notes) - mostNotes; more > 0 {
		row.Notes = append(row.Notes, fmt.Sprintf("and %d more: afterbell precheck %s", more, r.Robot))
	}
	if len(notes) > 0 {
		row.Caution = "Before hands go in: robot disabled, main breaker off, stored energy released, eye protection."
	}
}

// liveRibbon is the supply since the match began, as the ribbon of a sealed match shows it:
// the upper edge straight, the lower edge at the least voltage of each second.
type liveRibbon struct {
	Width, Height int
	Band, Fringe  string // paths
	Cut           int    // x up to which the match has come
	Label         string
}

// The small ribbon: 6 V has no thickness and 12.8 V all of it. The row is as long as a match
// is, or as what came when that is longer.
const (
	liveWide, liveHigh = 336, 19
	bandHigh           = 17.0
	emptyV, fullV      = 6.0, 12.8
	usualMatchS        = 150.0
)

func ribbonOfLive(r schemas.LiveRobot) *liveRibbon {
	if !r.Running || len(r.Strip) < 2 {
		return nil
	}
	whole := max(usualMatchS, r.RunningS)
	x := func(s float64) float64 { return s / whole * liveWide }
	y := func(v float64) float64 { return 1 + bandHigh*min(1, max(0, (v-emptyV)/(fullV-emptyV))) }
	lowest := r.Strip[0].LowV
	outline := func(v func(schemas.LiveSecond) float64) string {
		var b strings.Builder
		fmt.Fprintf(&b, "M%.1f 1", x(r.Strip[0].S))
		for _, s := range r.Strip {
			fmt.Fprintf(&b, "L%.1f %.1f", x(s.S), y(v(s)))
			lowest = min(lowest, s.LowV)
		}
		last := r.Strip[len(r.Strip)-1].S
		fmt.Fprintf(&b, "L%.1f 1Z", x(last))
		return b.String()
	}
	out := &liveRibbon{Width: liveWide, Height: liveHigh, Cut: int(x(r.RunningS))}
	out.Fringe = outline(func(s schemas.LiveSecond) float64 { return s.HighV })
	out.Band = outline(func(s schemas.LiveSecond) float64 { return s.LowV })
	out.Label = fmt.Sprintf("Supply voltage of the %.0f s so far, lowest %.1f V.", r.RunningS, lowest)
	return out
}

func seconds(s float64) string {
	if s >= 100 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f s", s)
}

// liveEvents are the live rows as server-sent events (WHATWG HTML, 9.2), one whenever something
// changed, until whoever listens goes away.
func (s *Server) liveEvents(w http.ResponseWriter, r *http.Request) {
	if s.options.Live == nil {
		w.WriteHeader(http.StatusNoContent) // which tells a browser to ask no more
		return
	}
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	tick := time.NewTicker(liveEvery)
	defer tick.Stop()
	for said := ""; ; {
		if now := string(s.liveRows()); now != said {
			said = now
			if _, err := io.WriteString(w, "data: "+strings.ReplaceAll(now, "\n", "\ndata: ")+"\n\n"); err != nil {
				return
			}
			if err := out.Flush(); err != nil {
				return
			}
		}
		select {
		case <-r.Context().Done():
			return
		case <-tick.C:
		}
	}
}

// liveJSON is the same for programs.
func (s *Server) liveJSON(w http.ResponseWriter, _ *http.Request) {
	if s.options.Live == nil {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	w.Header().Set("Content-Type", "application/json")
	if err := json.NewEncoder(w).Encode(map[string]any{"robots": s.options.Live()}); err != nil {
		s.options.Log.Debug("live robots not delivered", "err", err)
	}
}

// samplesOnly is whether a match was stored without a profile: then there is nothing but its
// samples.
func (s *Server) samplesOnly(id schemas.MatchID) bool {
	_, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.ProfileFile))
	return errors.Is(err, fs.ErrNotExist)
}

// outsideMatches is whether a stored match is samples that belong to no match: they are kept,
// and no page is about them.
func (s *Server) outsideMatches(id schemas.MatchID) bool {
	if !strings.HasPrefix(id.Match, schemas.IdlePrefix) {
		return false
	}
	_, err := os.Stat(filepath.Join(s.home.Dir(id), schemas.ReportFile))
	return err != nil
}
