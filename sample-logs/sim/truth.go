package sim

import (
	"math"
	"reflect"

	"github.com/afterbell/afterbell/schemas"
)

// truth is the report an analysis without error would give, as far as the simulation knows:
// read from the noise-free state at the times of the samples that are in the log, by the
// project's definitions. It shares no code with the analyses.
func truth(w *world, m *Match) *schemas.Report {
	log := m.Log
	first, last, _ := log.Bounds()
	t := &schemas.Report{Report: schemas.ReportVersion}
	t.Verdict.Severity = schemas.SeverityNone
	t.Match = schemas.Match{
		Season: m.Season, Event: m.Event, Match: m.MatchName, Robot: m.Robot, At: &m.At,
		Periods: truePeriods(w, first, last),
	}
	t.Match.Game = schemas.Game{
		Name: gameName, AutonomousS: autonomousS, DriverS: driverS, EndgameS: endgameS,
		Piece: "loaf", Pieces: "loaves", Platform: "peel",
	}
	if n := len(t.Match.Periods); n > 0 {
		t.Match.StartS, t.Match.EndS = t.Match.Periods[0].StartS, t.Match.Periods[n-1].EndS
	}
	t.Quality.Samples, t.Quality.Signals = log.Samples(), len(log.Signals)
	quality(w, log, &t.Quality)
	view := view{world: w, start: schemas.Seconds(first), end: schemas.Seconds(last), report: t}
	view.power()
	unsure, creeps := view.passes()
	if len(unsure) > 0 {
		m.leave("jams", unsure)
	}
	m.Creeps = creeps
	if unsure := view.cycles(); len(unsure) > 0 {
		m.leave("cycles", unsure)
	}
	view.lost()
	view.autonomous()
	view.balances()
	view.moves()
	view.mechanism()
	view.motors()
	t.Finish()
	roundAll(reflect.ValueOf(t))
	return t
}

// roundAll rounds every number to the millionth: nothing here is known better.
func roundAll(v reflect.Value) {
	switch v.Kind() {
	case reflect.Float64:
		v.SetFloat(math.Round(v.Float()*1e6)/1e6 + 0) // no minus zero
	case reflect.Pointer:
		if !v.IsNil() {
			roundAll(v.Elem())
		}
	case reflect.Struct:
		for i := range v.NumField() {
			roundAll(v.Field(i))
		}
	case reflect.Slice:
		for i := range v.Len() {
			roundAll(v.Index(i))
		}
	}
}

const gameName = "Bakehouse Relay"

// view is what the parts of the truth look at.
type view struct {
	world      *world
	start, end float64 // s, first and last sample of the log
	report     *schemas.Report
}

// truePeriods are when each ran, by the samples that tell the mode; without any the whole log
// is one driver period.
func truePeriods(w *world, first, last int64) []schemas.Period {
	if len(w.recorder.modes) == 0 {
		return []schemas.Period{{Name: schemas.PeriodDriver, StartS: schemas.Seconds(first), EndS: schemas.Seconds(last)}}
	}
	var out []schemas.Period
	open := ""
	for _, m := range w.recorder.modes {
		t := schemas.Seconds(m.at)
		if m.mode == open {
			continue
		}
		if open != "" && open != schemas.ModeDisabled {
			out[len(out)-1].EndS = t
		}
		if m.mode != schemas.ModeDisabled {
			out = append(out, schemas.Period{Name: m.mode, StartS: t, EndS: schemas.Seconds(last)})
		}
		open = m.mode
	}
	return out
}
