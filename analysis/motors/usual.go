package motors

import (
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// tellUsual writes what this motor's resistance and running current were in earlier matches:
// their medians, and how far single matches lie from them (robust standard deviation).
func tellUsual(row *schemas.Motor, history [][]schemas.Motor, cfg Config) {
	var ohm, free []float64
	for _, match := range history {
		for _, m := range match {
			if m.Name != row.Name {
				continue
			}
			if m.ResistanceOhm != nil && m.Side == row.Side {
				ohm = append(ohm, *m.ResistanceOhm)
			}
			if m.FreeA != nil {
				free = append(free, *m.FreeA)
			}
		}
	}
	if len(ohm) >= cfg.LeastMatches {
		row.UsualResistanceOhm, row.SpreadResistanceOhm = schemas.Some(stat.Median(ohm)), schemas.Some(stat.MADToSigma*stat.MAD(ohm))
	}
	if len(free) >= cfg.LeastMatches {
		row.UsualFreeA, row.SpreadFreeA = schemas.Some(stat.Median(free)), schemas.Some(stat.MADToSigma*stat.MAD(free))
	}
	row.UsualMatches = max(len(ohm), len(free))
}
