package power

import "math"

// loadTest is what two service manuals of vehicles ask of a 12 V lead-acid battery, charged,
// after 15 s under half of its cold cranking current: at least volts at the terminals, at
// degrees C. (One of them prints 18 for 16 degrees.)
var loadTest = [...]struct{ degrees, volts float64 }{
	{-18, 8.5}, {-12, 8.7}, {-7, 8.9}, {-1, 9.1}, {4, 9.3}, {10, 9.4}, {16, 9.5}, {20, 9.6},
}

const (
	loadTestS       = 15
	loadTestDegrees = 20 // when nobody measured it: indoors
)

// loadTestVolts is the least voltage of that test at a temperature, straight between the rows
// of the table. ok is false below its first row; above its last one more is never asked.
func loadTestVolts(degrees float64) (volts float64, ok bool) {
	last := len(loadTest) - 1
	switch {
	case !(degrees >= loadTest[0].degrees):
		return 0, false
	case degrees >= loadTest[last].degrees:
		return loadTest[last].volts, true
	}
	k := 0
	for degrees >= loadTest[k+1].degrees {
		k++
	}
	a, b := loadTest[k], loadTest[k+1]
	return a.volts + (b.volts-a.volts)*(degrees-a.degrees)/(b.degrees-a.degrees), true
}

// loadTestAmps is the current that battery and wiring could give for 15 s and stay over the
// voltage of the load test at 20 degrees, as charged as they were, and the low end of its
// 95 % interval. A sound, charged battery gives half the cold cranking current on its label.
func loadTestAmps(r relaxed, cfg Config) (amps, low float64) {
	limit, _ := loadTestVolts(loadTestDegrees)
	level, levelLow, _ := r.level(cfg)
	ohm, _, ohmHigh := r.after(loadTestS, cfg)
	amps = (level - limit) / ohm
	// The errors of the two are nearly the same one: a resistance too low makes a level too low.
	fall := math.Hypot(level-levelLow, amps*(ohmHigh-ohm)) / ohm
	return amps, max(0, amps-fall)
}
