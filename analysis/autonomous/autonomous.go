// Package autonomous says what the robot did by itself: what it scored and when, where it
// drove and where it ended, and how far that is from where it usually ends.
//
// The end is what gives a bad autonomous away. A wheel that slipped, a bump, a wrong start:
// the robot drives its path all the same, and stands somewhere else at the end. A robot
// that was sent another way than usual looks alike; only the crew knows.
package autonomous

import (
	"math"

	"github.com/afterbell/afterbell/analysis/cycles"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Input is what the autonomous analysis looks at; Score and pose may be nil.
type Input struct {
	Score         *series.Float
	X, Y, Heading *series.Float
	Modes         []schemas.Period // disabled stretches included
	Periods       []schemas.Period
	History       []schemas.Autonomous // of earlier matches
}

// Config is what counts as known and as usual.
type Config struct {
	// LateS is how long after the period a score while disabled still belongs to it: 3 s, as
	// the report's format says.
	LateS float64
	// EndGapS is how old the pose may be at the period's end. Chosen by us: an autonomous
	// robot drives some metres a second.
	EndGapS float64
	// LeastMatches earlier matches make a usual end and a usual number of pieces. Chosen by
	// us: the median of two is no middle.
	LeastMatches int
	// TrackPoints is the most points of the driven path that are kept.
	TrackPoints int
}

// DefaultConfig is the configuration used unless a caller knows better.
func DefaultConfig() Config {
	return Config{LateS: 3, EndGapS: 0.5, LeastMatches: 3, TrackPoints: 200}
}

// Detect describes the match's first autonomous period; without one everything is nil.
// ScoresS has one time for each piece. EndErrorM is the distance of the end from the median
// end of the earlier matches, x and y for themselves.
func Detect(in Input, cfg Config) schemas.Autonomous {
	var a schemas.Autonomous
	which := -1
	for i := len(in.Periods) - 1; i >= 0; i-- {
		if in.Periods[i].Name == schemas.PeriodAutonomous {
			which = i
		}
	}
	if which < 0 {
		return a
	}
	period := in.Periods[which]
	a.StartS, a.EndS = schemas.Some(period.StartS), schemas.Some(period.EndS)
	scored(&a, in, which, cfg)
	start, end := schemas.Micros(period.StartS), schemas.Micros(period.EndS)
	a.EndHeading = last(in.Heading, start, end, cfg)
	if in.X != nil && in.Y != nil {
		a.EndX, a.EndY = last(in.X, start, end, cfg), last(in.Y, start, end, cfg)
		a.Track = track(in.X, in.Y, start, end, cfg.TrackPoints)
		a.EndErrorM, a.UsualEndErrorM = endError(a, in.History, cfg)
	}
	return a
}

func scored(a *schemas.Autonomous, in Input, period int, cfg Config) {
	if in.Score == nil || len(in.Score.T) == 0 {
		return
	}
	a.ScoresS = []float64{}
	for _, s := range cycles.Attribute(in.Score.Rises(), in.Periods, in.Modes, cfg.LateS) {
		for range s.Pieces {
			if s.Period == period {
				a.ScoresS = append(a.ScoresS, schemas.Seconds(s.T))
			}
		}
	}
	pieces := len(a.ScoresS)
	a.Pieces = &pieces
	var usual []float64
	for _, h := range in.History {
		if h.Pieces != nil {
			usual = append(usual, float64(*h.Pieces))
		}
	}
	if len(usual) >= cfg.LeastMatches {
		a.UsualPieces = schemas.Some(stat.Median(usual))
	}
}

// last is the newest reading at the period's end, nil when it is older than EndGapS or from
// before the period.
func last(s *series.Float, start, end int64, cfg Config) *float64 {
	if s == nil {
		return nil
	}
	i := series.Before(s.T, end)
	if i < 0 || s.T[i] < start || end-s.T[i] > schemas.Micros(cfg.EndGapS) {
		return nil
	}
	return schemas.Some(s.V[i])
}

// endError is the distance of the end from the median end of the earlier matches, and how
// far those usually end from it themselves: their median distance. Both are nil with fewer
// than LeastMatches earlier ends.
func endError(a schemas.Autonomous, history []schemas.Autonomous, cfg Config) (today, usual *float64) {
	var x, y []float64
	for _, h := range history {
		if h.EndX != nil && h.EndY != nil {
			x, y = append(x, *h.EndX), append(y, *h.EndY)
		}
	}
	if a.EndX == nil || a.EndY == nil || len(x) < cfg.LeastMatches {
		return nil, nil
	}
	midX, midY := stat.Median(x), stat.Median(y)
	away := make([]float64, len(x))
	for i := range x {
		away[i] = math.Hypot(x[i]-midX, y[i]-midY)
	}
	return schemas.Some(math.Hypot(*a.EndX-midX, *a.EndY-midY)), schemas.Some(stat.Median(away))
}

// track is the path at most points times spread evenly from the first sample of x in the
// period to the last, both kept, with y as it stood then.
func track(x, y *series.Float, start, end int64, most int) []schemas.TrackedAt {
	from, to := series.From(x.T, start), series.From(x.T, end+1)
	n := min(to-from, most)
	var out []schemas.TrackedAt
	for k := range n {
		i := from
		if n > 1 {
			i += k * (to - from - 1) / (n - 1)
		}
		if v, ok := y.At(x.T[i]); ok {
			out = append(out, schemas.TrackedAt{AtS: schemas.Seconds(x.T[i]), X: x.V[i], Y: v})
		}
	}
	return out
}
