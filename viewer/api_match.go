package viewer

import (
	"net/http"
	"strings"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/pyramid"
	"github.com/afterbell/afterbell/viewer/traces"
)

// apiMatchRow is a match in the list of all.
type apiMatchRow struct {
	Season string  `json:"season"`
	Event  string  `json:"event"`
	Match  string  `json:"match"`
	Robot  string  `json:"robot"`
	At     *string `json:"at"` // when it began, RFC 3339; null when nobody knows
	// Verdict is null for a match without a report that can be read.
	Verdict *apiVerdict `json:"verdict"`
	Trouble string      `json:"trouble"` // why there is none; empty when there is
}

type apiVerdict struct {
	Severity string `json:"severity"`
	Text     string `json:"text"`
}

// apiMatches lists all matches, newest first.
func (s *Server) apiMatches(w http.ResponseWriter, _ *http.Request) error {
	table, err := s.index.Now()
	if err != nil {
		return err
	}
	out := []apiMatchRow{}
	for _, e := range table.Entries {
		q := apiMatchRow{Season: e.ID.Season, Event: e.ID.Event, Match: e.ID.Match, Robot: e.ID.Robot}
		if e.At != "" {
			q.At = &e.At
		}
		if e.Whole {
			q.Verdict = &apiVerdict{e.Severity, e.Verdict}
		} else {
			q.Trouble = s.rowOfEntry(e).Trouble
		}
		out = append(out, q)
	}
	return s.apiJSON(w, map[string]any{"matches": out})
}

// apiMatch says what a match is about, without concluding anything.
func (s *Server) apiMatch(q asked) error {
	type period struct {
		Name   string  `json:"name"`
		StartS float64 `json:"start_s"`
		EndS   float64 `json:"end_s"`
	}
	first, last := q.bounds()
	samples := 0
	for _, i := range q.match.Infos() {
		samples += i.Samples
	}
	out := map[string]any{
		"season": q.id.Season, "event": q.id.Event, "match": q.id.Match, "robot": q.id.Robot,
		"seal": q.match.Seal, "signals_sha256": q.match.SHA256, "signals": len(q.match.Infos()), "samples": samples,
		"first_s": schemas.Seconds(first), "last_s": schemas.Seconds(last), "start_s": nil, "end_s": nil,
	}
	periods := []period{}
	if r, err := s.readReport(q.id); err == nil {
		out["start_s"], out["end_s"] = r.Match.StartS, r.Match.EndS
		for _, p := range r.Match.Periods {
			periods = append(periods, period{p.Name, p.StartS, p.EndS})
		}
	}
	out["periods"] = periods
	return s.apiJSON(q.w, out)
}

// apiReport is the report as it is stored.
func (s *Server) apiReport(q asked) error {
	r, err := s.readReport(q.id)
	if err != nil {
		return err
	}
	return s.apiJSON(q.w, r)
}

// apiFindings are the findings of the report with their ranks.
func (s *Server) apiFindings(q asked) error {
	r, err := s.readReport(q.id)
	if err != nil {
		return err
	}
	type ranked struct {
		Rank int `json:"rank"`
		schemas.Finding
	}
	out := []ranked{}
	for i, f := range r.Findings {
		out = append(out, ranked{i + 1, f})
	}
	return s.apiJSON(q.w, map[string]any{"findings": out})
}

// apiSignal is one signal of a match.
type apiSignal struct {
	Name    string  `json:"name"`
	Group   string  `json:"group"` // what stands before the last slash of its name
	Type    string  `json:"type"`
	Unit    string  `json:"unit"`
	Samples int     `json:"samples"`
	RateHz  float64 `json:"rate_hz"` // mean over its own first to last sample; 0 with fewer than two
	FirstS  float64 `json:"first_s"`
	LastS   float64 `json:"last_s"`
	// What follows is null where it is not known without reading every sample, or where
	// there is no reading.
	Readings *int     `json:"readings"`
	Least    *float64 `json:"least"`
	Greatest *float64 `json:"greatest"`
	Changes  *int     `json:"changes"`
	Gaps     *int     `json:"gaps"`
}

func (s *Server) apiSignals(q asked) error {
	return s.apiJSON(q.w, map[string]any{"signals": signalsOf(q.match, func(string) bool { return true })})
}

// signalsOf describes those signals of a match that are wanted, in order of name.
func signalsOf(m *traces.Match, wanted func(name string) bool) []apiSignal {
	out := []apiSignal{}
	sums := m.Summaries()
	for i, info := range m.Infos() {
		if !wanted(info.Name) {
			continue
		}
		group := ""
		if at := strings.LastIndexByte(info.Name, '/'); at >= 0 {
			group = info.Name[:at]
		}
		one := apiSignal{
			Name: info.Name, Group: group, Type: info.Kind.String(), Unit: info.Unit, Samples: info.Samples,
			FirstS: schemas.Seconds(info.FirstUS), LastS: schemas.Seconds(info.LastUS),
		}
		if d := one.LastS - one.FirstS; d > 0 {
			one.RateHz = float64(info.Samples-1) / d
		}
		if sums != nil {
			one.know(sums[i])
		}
		out = append(out, one)
	}
	return out
}

func (a *apiSignal) know(sum pyramid.Summary) {
	a.Readings, a.Least, a.Greatest, a.Changes, a.Gaps = &sum.Readings, sum.Least, sum.Greatest, &sum.Changes, &sum.Gaps
}
