package compare

import (
	"math"
	"slices"

	"github.com/afterbell/afterbell/analysis/path"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// track is one signal by its part in the robot, so that it is found in another match too.
type track struct{ signal, role, stage string }

// tracks are the signals the robot has, of every stage in order, the supply last.
func (in Input) tracks() []track {
	var out []track
	for _, s := range in.Stages {
		if s.Sensor != nil {
			out = append(out, track{s.Sensor.Name, "beam", s.Name})
		}
		for _, f := range []struct {
			of   *series.Float
			role string
		}{{s.Command, "command"}, {s.Current, "current"}, {s.Speed, "speed"}} {
			if f.of != nil {
				out = append(out, track{f.of.Name, f.role, s.Name})
			}
		}
	}
	if in.Voltage != nil {
		out = append(out, track{in.Voltage.Name, "voltage", ""})
	}
	return out
}

// read are the values of a track at the points of the grid after a piece came; NaN where the
// log does not tell, or the match has no such signal.
func (m *Match) read(t track, came int64, grid []int64, cfg Config) schemas.Gappy {
	out := make(schemas.Gappy, len(grid))
	times, value, hold := m.source(t, cfg)
	for i, d := range grid {
		at := came + d
		k := series.Before(times, at)
		out[i] = math.NaN()
		if k >= 0 && at <= m.End && at-times[k] <= hold && !m.silent(at) {
			out[i] = value(k)
		}
	}
	return out
}

// source is where a track's readings are and for how long, in µs, one of them holds. Beams
// and commands are often logged on change only and hold until the next.
func (m *Match) source(t track, cfg Config) (times []int64, value func(int) float64, hold int64) {
	f := m.Voltage
	if t.role != "voltage" {
		k := slices.IndexFunc(m.Stages, func(s path.Stage) bool { return s.Name == t.stage })
		if k < 0 {
			return nil, nil, 0
		}
		s := m.Stages[k]
		if t.role == "beam" {
			if s.Sensor == nil {
				return nil, nil, 0
			}
			return s.Sensor.T, func(i int) float64 {
				if s.Sensor.V[i] {
					return 1
				}
				return 0
			}, math.MaxInt64
		}
		f = map[string]*series.Float{"command": s.Command, "current": s.Current, "speed": s.Speed}[t.role]
	}
	if f == nil {
		return nil, nil, 0
	}
	hold = math.MaxInt64
	if t.role != "command" {
		hold = max(3*series.Step(f.T), schemas.Micros(cfg.HoldS))
	}
	return f.T, func(i int) float64 { return f.V[i] }, hold
}

// silent is whether nothing at all was logged about a time.
func (m *Match) silent(at int64) bool {
	return slices.ContainsFunc(m.Gaps, func(g series.Interval) bool { return g.Start < at && at < g.End })
}

// band is the median and the 10 and 90 % points of the rows at every point, and how many
// rows have a value there; NaN where too few have.
func band(rows []schemas.Gappy, points int, cfg Config) (median, low, high schemas.Gappy, count []int) {
	median, low, high = make(schemas.Gappy, points), make(schemas.Gappy, points), make(schemas.Gappy, points)
	count = make([]int, points)
	for k := range points {
		var v []float64
		for _, r := range rows {
			if !math.IsNaN(r[k]) {
				v = append(v, r[k])
			}
		}
		count[k] = len(v)
		median[k], low[k], high[k] = math.NaN(), math.NaN(), math.NaN()
		if len(v) >= cfg.Fewest {
			median[k], low[k], high[k] = stat.Median(v), stat.Quantile(0.1, v), stat.Quantile(0.9, v)
		}
	}
	return median, low, high, count
}

// slack is how far outside of the band a value may be without a word: less is rounding,
// noise, or a hair's breadth beyond passes that are all alike. Chosen by us; of a speed it
// is that part of its largest median.
var slack = map[string]float64{"beam": 0.5, "command": 0.05, "current": 1, "speed": 0.05, "voltage": 0.1}

// leaves are the stretches in which the values are outside of the band for LeaveS or longer,
// above or below. A point that is not known ends a stretch.
func leaves(s schemas.ComparedSignal, at []float64, cfg Config) []schemas.Leave {
	allowed := slack[s.Role]
	if s.Role == "speed" {
		top := 0.0
		for _, v := range s.Median {
			if a := math.Abs(v); a > top { // false for NaN
				top = a
			}
		}
		allowed *= top
	}
	var out []schemas.Leave
	side, from := "", 0
	end := func(k int) {
		if side == "" || at[k-1]-at[from] < cfg.LeaveS-1e-9 {
			return // it was inside, or out for too short
		}
		l := schemas.Leave{StartS: at[from], EndS: at[k-1], Side: side}
		for i := from; i < k; i++ {
			by := s.Value[i] - s.High[i]
			if side == "below" {
				by = s.Low[i] - s.Value[i]
			}
			if by > l.By {
				l.By, l.AtS = by, at[i]
			}
		}
		out = append(out, l)
	}
	for k := range at {
		now := ""
		switch { // all false for NaN
		case s.Value[k] > s.High[k]+allowed:
			now = "above"
		case s.Value[k] < s.Low[k]-allowed:
			now = "below"
		}
		if now != side {
			end(k)
			side, from = now, k
		}
	}
	if side != "" {
		end(len(at))
	}
	return out
}
