package power

// LoadLine is V = OpenCircuitV - ResistanceOhm * I with 95 % intervals.
type LoadLine struct {
	OpenCircuitV, OpenCircuitLow, OpenCircuitHigh      float64
	ResistanceOhm, ResistanceLowOhm, ResistanceHighOhm float64
	Points                                             int
}
