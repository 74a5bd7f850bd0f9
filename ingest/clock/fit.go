package clock

// Fit is how a robot's clock runs against the collector's, as far as is known. No field is
// ever NaN. Infinite bounds cannot be written as JSON: write null.
type Fit struct {
	At         int64   // robot time of reference, microseconds: when the last exchange ended; without any, the newest sample's
	Offset     float64 // collector less robot at At, microseconds
	Bound      float64 // the true offset at At is within this of Offset, microseconds; +Inf when OneSided
	DriftPPM   float64 // microseconds by which the offset grows in a second of robot time
	DriftBound float64 // the true drift is within this of DriftPPM; +Inf when OneSided
	Exchanges  int     // taken in since the last break
	MinDelay   float64 // the least delay of these, microseconds; 0 when there are none
	OneSided   bool    // only arrivals are known: Offset is too great by the least delay, which nobody knows
	Breaks     int     // how often the clock stepped; what was stamped before a step needs the Fit from before it
}

// Collector is the collector's time at a time of the robot's clock, both in microseconds:
// robotUS + Offset + DriftPPM*(robotUS-At). Beyond 2^53 us it is right to a part in 2^52.
func (f Fit) Collector(robotUS int64) float64 {
	return float64(robotUS) + (f.Offset + f.DriftPPM/1e6*since(robotUS, f.At))
}

// Robot is the robot's time at a time of the collector's clock: Collector the other way round.
func (f Fit) Robot(collectorUS float64) float64 {
	later := collectorUS - float64(f.At) - f.Offset
	return float64(f.At) + later/(1+f.DriftPPM/1e6)
}
