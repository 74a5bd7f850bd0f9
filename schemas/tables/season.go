package tables

import (
	"io"

	"github.com/afterbell/afterbell/schemas"
)

// SeasonPoint is a row of a season's table: what a match came to in one measure.
type SeasonPoint struct {
	Index   int32    `parquet:"index"` // of the match, in order of time from 0
	Season  string   `parquet:"season"`
	Event   string   `parquet:"event"`
	Match   string   `parquet:"match"`
	Robot   string   `parquet:"robot"`
	At      *int64   `parquet:"at,optional,timestamp(microsecond)"` // UTC
	Measure string   `parquet:"measure"`
	Unit    string   `parquet:"unit"`
	Value   float64  `parquet:"value"`
	Low     *float64 `parquet:"low,optional"` // 95 %
	High    *float64 `parquet:"high,optional"`
	Events  *int64   `parquet:"events,optional"` // of a rate: how often it happened
	Of      *int64   `parquet:"of,optional"`     // and of how many
}

// WriteSeason writes every point of a season as a Parquet table, the rows that its CSV has.
func WriteSeason(w io.Writer, s *schemas.Season) error {
	rows := []SeasonPoint{}
	whole := func(v *int) *int64 {
		if v == nil {
			return nil
		}
		n := int64(*v)
		return &n
	}
	for _, m := range s.Measures {
		for _, p := range m.Points {
			match := s.Matches[p.Index]
			row := SeasonPoint{
				Index: int32(p.Index), Season: match.Season, Event: match.Event, Match: match.Match, Robot: s.Robot,
				Measure: m.Name, Unit: m.Unit, Value: p.Value, Low: p.Low, High: p.High, Events: whole(p.Events), Of: whole(p.Of),
			}
			if match.At != nil {
				row.At = instant(*match.At)
			}
			rows = append(rows, row)
		}
	}
	return WriteRows(w, rows)
}
