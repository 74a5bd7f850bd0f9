package power

import (
	"fmt"
	"math"

	"github.com/afterbell/afterbell/schemas"
)

// slowS is after how many seconds of load the slower resistance is given.
const slowS = 1.0

// report writes what the load line tells of the battery: the line itself, what relaxation adds
// to it, and where it meets enter, with 95 % intervals. A line known too badly to be worth telling
// still says which of the dips it cannot explain.
func (l *LoadLine) report(b *schemas.Battery, pair *aligned, from, to int64, enter float64, cfg Config) {
	if half := l.ResistanceHighOhm - l.ResistanceOhm; half > cfg.WidestPart*l.ResistanceOhm {
		b.Reason = fmt.Sprintf("too little to go by: %.1f milliohm, give or take %.1f, from %d steps of the load", l.ResistanceOhm*1e3, half*1e3, l.Points)
		return
	}
	open, half := l.relaxed.through(pair, from, to, cfg)
	if math.IsNaN(open) || math.IsNaN(half) {
		return
	}
	b.OpenCircuitV, b.OpenCircuitLowV, b.OpenCircuitHighV = schemas.Some(open), schemas.Some(open-half), schemas.Some(open+half)
	b.ResistanceOhm = schemas.Some(l.ResistanceOhm)
	b.ResistanceLowOhm, b.ResistanceHighOhm = schemas.Some(l.ResistanceLowOhm), schemas.Some(l.ResistanceHighOhm)
	if l.LooseOhm > 0 {
		b.LooseLowOhm, b.LooseHighOhm = schemas.Some(l.TightOhm), schemas.Some(l.LooseOhm)
	}
	if enter > 0 {
		// The line turns about the mean of the readings: its slope's error moves the meeting by
		// how far that lies from there.
		amps := (open - enter) / l.ResistanceOhm
		off := math.Hypot(cfg.OpenErrorV*1.96, (l.ResistanceHighOhm-l.ResistanceOhm)*(amps-l.relaxed.meanI)) / l.ResistanceOhm
		b.BrownoutA, b.BrownoutLowA, b.BrownoutHighA = schemas.Some(amps), schemas.Some(amps-off), schemas.Some(amps+off)
	}
	if l.LooseOhm > 0 || math.IsNaN(l.relaxed.fit[0]) {
		return // a contact that moves drowns what relaxation does
	}
	scale := l.ResistanceOhm / l.perRead // for amperes as they are
	slow, low, high := l.relaxed.after(slowS, cfg)
	b.Resistance1sOhm = schemas.Some(slow * scale)
	b.Resistance1sLowOhm, b.Resistance1sHighOhm = schemas.Some(low*scale), schemas.Some(high*scale)
	if l.OpenCircuitV < cfg.LeastOpenV || l.OpenCircuitV > cfg.MostOpenV {
		return // the test is one of 12 V batteries
	}
	amps, least := loadTestAmps(l.relaxed, cfg)
	b.LoadTestA, b.LoadTestLowA = schemas.Some(amps/scale), schemas.Some(least/scale)
}
