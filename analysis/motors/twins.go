package motors

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// twinOf is the index of the motor that the i-th is a twin of, by what either says; -1 for none.
func twinOf(all []*record, i int) int {
	for k, o := range all {
		if k != i && (o.Name == all[i].Twin || o.Twin == all[i].Name) {
			return k
		}
	}
	return -1
}

// tellTwin writes which share of the work of both the motor did: of the current of both, in
// the bouts in which both were told the same. Each bout gives the logarithm of their ratio,
// and the middle of those and its 95 % interval (stat.Centre) are told as a share.
func tellTwin(row *schemas.Motor, r, twin *record, cfg Config) {
	row.Twin = twin.Name
	ratios := alike(r, twin, cfg)
	row.TwinBouts = len(ratios)
	if len(ratios) < cfg.TwinBouts {
		return
	}
	share := func(logRatio float64) *float64 { return schemas.Some(1 / (1 + math.Exp(-logRatio))) }
	middle, low, high := stat.Centre(ratios, 0.95)
	row.TwinShare, row.TwinShareLow, row.TwinShareHigh = share(middle), share(low), share(high)
}

// alike is ln of the ratio of the currents of two twins, by bouts. Without commands both
// count as told the same whenever they draw.
func alike(r, twin *record, cfg Config) []float64 {
	other := straight(twin.Current, cfg)
	told := holds(twin.Command, cfg)
	blind := r.Command == nil && twin.Command == nil
	var out []float64
	var own, others, lasted float64
	from := int64(math.MinInt64 / 2)
	flush := func() {
		const least = 0.25 // s of a bout that say something
		if sum := own + others; lasted >= least && sum > 0 {
			own, others = max(own, 0.02*sum), max(others, 0.02*sum)
			out = append(out, math.Log(own/others))
		}
		own, others, lasted = 0, 0, 0
	}
	for k := range r.rows {
		x := &r.rows[k]
		b := other.at(x.t) - twin.zero
		u := told.at(x.t)
		same := !blind && x.u >= 2*cfg.MinCommand && math.Abs(math.Abs(u)-x.u) <= cfg.Alike && (u < 0) == x.back
		if blind {
			same = math.Abs(x.i)+math.Abs(b) > max(2, 6*(r.noiseA+twin.noiseA))
		}
		if x.off || x.sag || math.IsNaN(b) || !same {
			continue
		}
		if x.t-from > int64(cfg.BoutS*1e6) {
			flush()
			from = x.t
		}
		own, others, lasted = own+math.Abs(x.i)*x.dt, others+math.Abs(b)*x.dt, lasted+x.dt
	}
	flush()
	return out
}
