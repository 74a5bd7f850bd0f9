package power

// restCharge is what a 12 V sealed lead-acid battery (AGM) shows at rest: from volts on it
// is at least low full, 0 to 1. An owner's manual of a vehicle maker prints these classes:
// 12.8 to 13.2 V full, from 12.6 V 75 %, from 12.3 V 50 %, from 12.0 V 25 %, less below. They agree
// with the trade's rule that a cell shows its acid's specific gravity plus 0.84 V: 1.28 when
// full makes 12.72 V.
var restCharge = [...]struct{ volts, low, high float64 }{
	{12.8, 1, 1},
	{12.6, 0.75, 1},
	{12.3, 0.5, 0.75},
	{12.0, 0.25, 0.5},
	{emptyV, 0, 0.25},
}

const (
	emptyV     = 10.5 // all but flat: 1.75 V a cell ends a discharge (common practice). Less is a dead cell or another kind of battery
	chargingV  = 13.2 // the table's end. More is a charger, or the hour after one
	restWidthV = 0.05 // how far makes, temperature and sensor leave the table in doubt. Chosen by us
)

// chargeAtRest is how full a 12 V sealed lead-acid battery is that shows volts at true
// rest, 0 to 1, as a range: all classes of the table within 0.05 V. ok is false outside the
// table. Under load or right after it the same voltage means something else.
func chargeAtRest(volts float64) (low, high float64, ok bool) {
	if !(volts >= emptyV && volts <= chargingV) {
		return 0, 0, false
	}
	low, high = 1, 0
	for i, class := range restCharge {
		above := chargingV
		if i > 0 {
			above = restCharge[i-1].volts
		}
		if volts+restWidthV >= class.volts && volts-restWidthV < above {
			low, high = min(low, class.low), max(high, class.high)
		}
	}
	return low, high, true
}
