package clock

import (
	"encoding/json"
	"fmt"
)

// snapshot is a Track as JSON: stamps are [robot time, collector time] in microseconds.
type snapshot struct {
	Clock      int        `json:"clock"` // version of this form
	Upper      [][2]int64 `json:"upper"`
	Lower      [][2]int64 `json:"lower"`
	Exchanges  int        `json:"exchanges"`
	MinDelayUS float64    `json:"min_delay_us"`
	Breaks     int        `json:"breaks"`
}

const snapshotVersion = 1

// MarshalJSON writes all that a Track knows. One that is read back goes on as this one would.
// It is on the value, so that a Track inside a struct is written too.
func (t Track) MarshalJSON() ([]byte, error) {
	return json.Marshal(snapshot{
		Clock: snapshotVersion,
		Upper: pairs(t.upper.stamps), Lower: pairs(t.lower.stamps),
		Exchanges: t.exchanges, MinDelayUS: t.minDelay, Breaks: t.breaks,
	})
}

// UnmarshalJSON takes over what MarshalJSON wrote. What no Track can have written is an error
// and changes nothing.
func (t *Track) UnmarshalJSON(text []byte) error {
	var s snapshot
	if err := json.Unmarshal(text, &s); err != nil {
		return fmt.Errorf("clock snapshot: %w", err)
	}
	read, err := s.track()
	if err != nil {
		return fmt.Errorf("clock snapshot: %w; start a new track", err)
	}
	*t = read
	return nil
}

func (s snapshot) track() (Track, error) {
	var t Track
	var err error
	switch {
	case s.Clock != snapshotVersion:
		return t, fmt.Errorf("version %d, expected %d", s.Clock, snapshotVersion)
	case s.Exchanges < 0 || s.Breaks < 0 || s.MinDelayUS < 0 || s.MinDelayUS > longest:
		return t, fmt.Errorf("counts or delay out of range")
	case len(s.Lower) > 0 && len(s.Upper) == 0 || (len(s.Lower) > 0) != (s.Exchanges > 0):
		return t, fmt.Errorf("%d exchanges with %d limits from above and %d from below", s.Exchanges, len(s.Upper), len(s.Lower))
	}
	if t.upper.stamps, err = stamps(s.Upper); err != nil {
		return t, fmt.Errorf("upper %w", err)
	}
	if t.lower.stamps, err = stamps(s.Lower); err != nil {
		return t, fmt.Errorf("lower %w", err)
	}
	t.exchanges, t.minDelay, t.breaks = s.Exchanges, s.MinDelayUS, s.Breaks
	if len(s.Upper) > 0 && !t.refit(Wander) {
		return t, fmt.Errorf("its limits contradict each other")
	}
	return t, nil
}

func pairs(stamps []stamp) [][2]int64 {
	out := make([][2]int64, len(stamps))
	for i, p := range stamps {
		out[i] = [2]int64{p.robot, p.collector}
	}
	return out
}

func stamps(pairs [][2]int64) ([]stamp, error) {
	if len(pairs) > mostStamps {
		return nil, fmt.Errorf("has %d limits, more than %d", len(pairs), mostStamps)
	}
	out := make([]stamp, len(pairs))
	for i, p := range pairs {
		if i > 0 && p[0] <= pairs[i-1][0] {
			return nil, fmt.Errorf("limit %d is not after the one before it", i)
		}
		out[i] = stamp{robot: p[0], collector: p[1]}
	}
	return out, nil
}
