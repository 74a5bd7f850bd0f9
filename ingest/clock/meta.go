package clock

import "encoding/json"

// MetaBoots is the key under which the clocks of a match's power-ups are kept with its samples:
// a JSON array of BootMeta, in the order of their numbers.
const MetaBoots = "boots"

// BootMeta is what is kept of the clock of one power-up.
type BootMeta struct {
	Source    string   `json:"source"`
	Boot      string   `json:"boot"`
	ShiftUS   int64    `json:"shift_us"`  // added to the boot's own time for the times of the file
	OffsetUS  *float64 `json:"offset_us"` // collector less robot at the match's start, by the clock fit
	DriftPPM  *float64 `json:"drift_ppm"`
	BoundUS   *float64 `json:"bound_us"` // the offset is right to within this; null when only arrivals tell it
	Exchanges int      `json:"exchanges"`
	Collector string   `json:"collector,omitempty"` // whose clock the offset is of
	Run       int64    `json:"run,omitempty"`       // and of which of its runs, by when that began
}

// Kept are the clocks kept in the metadata of a file; nil where there are none.
func Kept(meta map[string]string) []BootMeta {
	var out []BootMeta
	if json.Unmarshal([]byte(meta[MetaBoots]), &out) != nil {
		return nil
	}
	return out
}

// Fitted is whether the offset is known, and to within what.
func (m BootMeta) Fitted() bool { return m.OffsetUS != nil && m.BoundUS != nil && m.DriftPPM != nil }
