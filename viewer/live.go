package viewer

import (
	"bytes"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"strings"

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
}

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
	row.Facts = append(row.Facts, fmt.Sprintf("%d samples kept", r.Samples))
	if r.BoundMS != nil {
		row.Facts = append(row.Facts, fmt.Sprintf("clock known to ±%.1f ms", *r.BoundMS))
	}
	if r.Sources > 1 {
		row.Facts = append(row.Facts, fmt.Sprintf("%d computers", r.Sources))
	}
	if !r.Analyzed {
		row.Facts = append(row.Facts, "no profile: stored, not analyzed")
	}
	if r.Problem != "" {
		row.Problem = "The newest match could not be stored yet: " + r.Problem
	}
	return row
}

func seconds(s float64) string {
	if s >= 100 {
		return fmt.Sprintf("%.0f s", s)
	}
	return fmt.Sprintf("%.1f s", s)
}

// live is the same part alone, for the script that keeps it fresh.
func (s *Server) live(w http.ResponseWriter, _ *http.Request) {
	if s.options.Live == nil {
		w.WriteHeader(http.StatusNoContent)
		return
	}
	s.write(w, http.StatusOK, []byte(s.liveRows()))
}

// samplesOnly is whether a match was stored without a profile: then there is nothing but its
// samples.
func (s *Server) samplesOnly(id schemas.MatchID) bool {
	_, err := os.Stat(filepath.Join(s.home.Dir(id), "robot.yaml"))
	return errors.Is(err, fs.ErrNotExist)
}

// outsideMatches is whether a stored match is samples that belong to no match: they are kept,
// and no page is about them.
func (s *Server) outsideMatches(id schemas.MatchID) bool {
	if !strings.HasPrefix(id.Match, "idle-") {
		return false
	}
	_, err := os.Stat(filepath.Join(s.home.Dir(id), "report.json"))
	return err != nil
}
