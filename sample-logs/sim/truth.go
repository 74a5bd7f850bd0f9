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
		Periods: truePeriods(log.Find("robot/mode"), last),
	}
	t.Match.Game = schemas.Game{
		Name: gameName, AutonomousS: autonomousS, DriverS: driverS, EndgameS: endgameS,
		Piece: "loaf", Pieces: "loaves", Platform: "peel",
	}
	if n := len(t.Match.Periods); n > 0 {
		t.Match.StartS, t.Match.EndS = t.Match.Periods[0].StartS, t.Match.Periods[n-1].EndS
	}
	t.Quality.Samples, t.Quality.Signals = log.Samples(), len(log.Signals)
	t.Quality.Gaps = trueGaps(w, log)
	view := view{world: w, start: schemas.Seconds(first), end: schemas.Seconds(last), report: t}
	view.power()
	view.passes()
	view.cycles()
	view.autonomous()
	view.balances()
	view.moves()
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

func truePeriods(mode *schemas.Signal, last int64) []schemas.Period {
	var out []schemas.Period
	open := ""
	for i, name := range mode.Text {
		t := schemas.Seconds(mode.Time[i])
		if name == open {
			continue
		}
		if open != "" && open != schemas.ModeDisabled {
			out[len(out)-1].EndS = t
		}
		if name != schemas.ModeDisabled {
			out = append(out, schemas.Period{Name: name, StartS: t, EndS: schemas.Seconds(last)})
		}
		open = name
	}
	return out
}

// trueGaps are the stretches without any sample round each time the radio was out.
func trueGaps(w *world, log *schemas.Log) []schemas.Gap {
	var out []schemas.Gap
	for _, g := range w.scenario.gaps {
		middle := schemas.Micros(w.begin + g.start + g.length/2)
		before, after := int64(math.MinInt64), int64(math.MaxInt64)
		for _, s := range log.Signals {
			for _, t := range s.Time {
				if t <= middle {
					before = max(before, t)
				} else {
					after = min(after, t)
				}
			}
		}
		out = append(out, schemas.Gap{StartS: schemas.Seconds(before), EndS: schemas.Seconds(after)})
	}
	return out
}
