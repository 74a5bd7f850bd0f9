package analysis

import (
	"slices"

	"github.com/afterbell/afterbell/analysis/compare"
	"github.com/afterbell/afterbell/analysis/quality"
	"github.com/afterbell/afterbell/schemas"
)

// Earlier is an earlier match of the robot: its log, and the report that was made of it.
type Earlier struct {
	Log    *schemas.Log
	Report *schemas.Report
}

// Compare analyzes one match and lays the pass of a piece over the robot's good passes, of
// this match and of the earlier ones handed in, whose logs are read by the same profile. At
// names the stage to align at and may be empty. The error is a compare.PassError when there
// is no such pass to compare.
func Compare(in Input, piece int, at string, earlier []Earlier) (*schemas.Comparison, error) {
	m, err := run(in, false)
	if err != nil {
		return nil, err
	}
	what := compare.Input{Match: m.compared(""), Piece: piece, At: at}
	for _, e := range earlier {
		start, end, ok := e.Log.Bounds()
		if !ok || in.Profile.Path == nil {
			continue
		}
		old := &match{
			Input: Input{Log: e.Log, Profile: in.Profile}, report: e.Report, start: start, end: end,
			gaps: quality.Silences(e.Log, quality.DefaultConfig()),
		}
		old.path, _ = old.pathInput()
		id := e.Report.Match
		what.Earlier = append(what.Earlier, old.compared(id.Season+"/"+id.Event+"/"+id.Match))
	}
	out, err := compare.Pass(what, compare.DefaultConfig())
	if err != nil {
		return nil, err
	}
	out.Match, out.Robot, out.MatchStartS = m.report.Match.Match, m.report.Match.Robot, m.report.Match.StartS
	return out, nil
}

// compared is a match as far as its passes can be compared.
func (m *match) compared(name string) compare.Match {
	return compare.Match{
		Name: name, Stages: m.path.Stages, Voltage: m.path.Voltage, Passes: m.report.Passes,
		Jams: slices.Concat(m.report.Jams, m.report.SuspectedJams), Gaps: m.gaps, End: m.end,
	}
}
