package viewer

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/crew"
	"github.com/afterbell/afterbell/schemas/home"
	"github.com/afterbell/afterbell/viewer/index"
)

// mostForm bytes are read of a form: the id of a finding and a word.
const mostForm = 4 << 10

// judged is what the crew said of a match's findings. Notes that cannot be read are told to
// the log and shown as if there were none: the sheet matters more.
func (s *Server) judged(id schemas.MatchID, r *schemas.Report) map[string]string {
	verdicts, _ := crew.Parse(s.notesOf(id))
	return crew.Judged(r, verdicts)
}

// verdict takes what the crew says of a finding, by a form that needs no script, and leads
// back to the finding.
func (s *Server) verdict(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil {
		s.problem(w, http.StatusBadRequest, "The form cannot be read.", err.Error())
		return
	}
	happened, err := crew.ParseHappened(r.PostForm.Get("happened"))
	if err != nil {
		s.problem(w, http.StatusBadRequest, "The form says neither that it happened nor that it did not.", err.Error())
		return
	}
	id, ok := s.wanted(w, r)
	if !ok {
		return
	}
	report, err := s.readReport(id)
	if err != nil {
		s.problem(w, http.StatusInternalServerError, "The report cannot be read.", err.Error())
		return
	}
	finding := r.PostForm.Get("finding")
	i := slices.IndexFunc(report.Findings, func(f schemas.Finding) bool { return f.ID == finding })
	if i < 0 {
		s.problem(w, http.StatusNotFound, "The sheet has no such finding any more.",
			fmt.Sprintf("The match was analyzed again since the page was opened, and %q is not found now. Open the sheet anew.", finding))
		return
	}
	if err := s.note(id, report.Findings[i], happened); err != nil {
		s.notNoted(w, id, err)
		return
	}
	// The page is asked for anew, so that going back or loading again says nothing twice.
	sheet := strings.TrimSuffix(r.URL.Path, "/verdict")
	http.Redirect(w, r, fmt.Sprintf("%s#finding-%d", sheet, i+1), http.StatusSeeOther)
}

// notNoted answers a form whose note could not be kept.
func (s *Server) notNoted(w http.ResponseWriter, id schemas.MatchID, err error) {
	var locked *home.LockedError
	if errors.As(err, &locked) {
		s.problem(w, http.StatusServiceUnavailable, "Nothing was noted.", err.Error())
		return
	}
	s.options.Log.Error("notes", "match", id.String(), "err", err)
	s.problem(w, http.StatusInternalServerError, "Nothing was noted.", err.Error())
}

// remark takes what the crew notes of a match, or takes it back, and leads back to the notes.
func (s *Server) remark(w http.ResponseWriter, r *http.Request) {
	r.Body = http.MaxBytesReader(w, r.Body, mostForm)
	if err := r.ParseForm(); err != nil {
		s.problem(w, http.StatusBadRequest, "The form cannot be read.", err.Error())
		return
	}
	text, withdrawn := r.PostForm.Get("text"), false
	if r.PostForm.Has("withdraw") {
		text, withdrawn = r.PostForm.Get("withdraw"), true
	}
	remark, err := crew.NewRemark(text, s.now())
	if err != nil {
		s.problem(w, http.StatusBadRequest, "Nothing was noted.", err.Error()+". Go back and change it.")
		return
	}
	remark.Withdrawn = withdrawn
	id, ok := s.wanted(w, r)
	if !ok {
		return
	}
	line, err := remark.Line()
	if err == nil {
		err = s.home.AddNote(id, line)
	}
	if err != nil {
		s.notNoted(w, id, err)
		return
	}
	http.Redirect(w, r, strings.TrimSuffix(r.URL.Path, "/note")+"#notes", http.StatusSeeOther)
}

// said is what the crew noted of a match, and of earlier ones that its sheet follows.
func (s *Server) said(r *schemas.Report) crew.Said { return crew.SaidOf(r, s.notesOf) }

// notesOf are the notes of a match, none when they cannot be read.
func (s *Server) notesOf(id schemas.MatchID) []byte {
	data, err := s.home.Notes(id)
	if err != nil {
		s.options.Log.Error("notes", "match", id.String(), "err", err)
	}
	return data
}

func (s *Server) note(id schemas.MatchID, f schemas.Finding, happened string) error {
	line, err := crew.Note{
		Note: crew.Version, Kind: crew.KindVerdict, At: s.now().Format(time.RFC3339),
		Finding: f.ID, FindingKind: f.Kind, StartS: f.StartS, Confidence: f.Confidence, Happened: happened,
	}.Line()
	if err != nil {
		return err
	}
	return s.home.AddNote(id, line)
}

// agreed says how often the crew agreed with the findings of each robot, where
// it said anything.
func agreed(matches []index.Entry) []string {
	tallies := map[string]crew.Tally{}
	for _, m := range matches {
		if m.Tally.Judged > 0 {
			tallies[m.ID.Robot] = tallies[m.ID.Robot].Add(m.Tally)
		}
	}
	var out []string
	for robot, t := range tallies {
		out = append(out, fmt.Sprintf("%s: the crew agreed with %d of the %d %s it judged.", robot, t.Agreed, t.Judged, plural(t.Judged, "finding", "findings")))
	}
	slices.Sort(out)
	return out
}

func plural(n int, one, many string) string {
	if n == 1 {
		return one
	}
	return many
}
