package collector

import (
	"math"

	"github.com/afterbell/afterbell/ingest/wire"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
)

// volts follows the supply, for those who watch while a match runs.
type volts struct {
	ref       *profile.Ref
	unit      string
	known     bool
	now, low  float64 // as they were sent
	lowestSet bool
}

// see takes in what a batch says of the supply.
func (v *volts) see(b *boot, rows *wire.Stored) {
	if v.ref == nil || b.Source != mainSource {
		return
	}
	for i := range rows.Samples {
		n := rows.SignalAt(i)
		if int(n) >= len(b.Entries) || b.Entries[n].Name != v.ref.Signal {
			continue
		}
		value := math.Float64frombits(rows.ValueAt(i))
		if b.Entries[n].Kind == schemas.Int64 {
			value = float64(int64(rows.ValueAt(i)))
		}
		if !finite(value) || b.Entries[n].Kind > schemas.Int64 {
			continue
		}
		v.unit, v.known, v.now = b.Entries[n].Unit, true, value
		if !v.lowestSet || value < v.low {
			v.low, v.lowestSet = value, true
		}
	}
}

// tell puts the supply into a status, in volts.
func (v *volts) tell(s *schemas.LiveRobot) {
	if !v.known {
		return
	}
	log := &schemas.Log{Signals: []*schemas.Signal{{
		Name: v.ref.Signal, Unit: v.unit, Kind: schemas.Float64, Time: []int64{0, 1}, Float: []float64{v.now, v.low},
	}}}
	series, err := v.ref.Volts(log)
	if err != nil || series == nil || len(series.V) < 2 {
		return
	}
	s.VoltsNow, s.VoltsLow = &series.V[0], &series.V[1]
}
