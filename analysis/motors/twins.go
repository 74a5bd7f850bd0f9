package motors

import (
	"math"

	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
)

// twinOf is the index of the motor that the i-th is a twin of, by what either says, else by
// their signals: one command and one speed are of one shaft, and two motors on it are twins. -1 for none.
func twinOf(all []*record, i int) int {
	for k, o := range all {
		if k != i && (o.Name == all[i].Twin || o.Twin == all[i].Name) {
			return k
		}
	}
	twin := -1
	for k, o := range all {
		if k == i || !sameShaft(o.Motor, all[i].Motor) {
			continue
		}
		if twin >= 0 || o.Twin != "" {
			return -1 // three of them, or it has another
		}
		twin = k
	}
	return twin
}

func sameShaft(a, b Motor) bool {
	return a.Command != nil && a.Speed != nil && b.Command != nil && b.Speed != nil &&
		a.Command.Name != "" && a.Command.Name == b.Command.Name && a.Speed.Name != "" && a.Speed.Name == b.Speed.Name
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
	var ratios, amps []float64
	var own, others, lasted float64
	from := int64(math.MinInt64 / 2)
	flush := func() {
		const least = 0.25 // s of a bout that say something
		if sum := own + others; lasted >= least && sum > 0 {
			own, others = max(own, 0.02*sum), max(others, 0.02*sum)
			ratios, amps = append(ratios, math.Log(own/others)), append(amps, sum/lasted)
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
	return worked(ratios, amps, cfg)
}

// worked are the ratios of the bouts in which the two worked hardest, if these are enough. Running
// lightly, the one whose constant is a per cent less carries much of what little there is to
// carry: K w takes nearly all of the voltage, and a per cent of that is as much as I R.
func worked(ratios, amps []float64, cfg Config) []float64 {
	const hard = 0.5 // of the hardest tenth; chosen by us
	most := stat.Quantile(0.9, amps)
	var out []float64
	for k, a := range amps {
		if a >= hard*most {
			out = append(out, ratios[k])
		}
	}
	if len(out) < cfg.TwinBouts {
		return ratios
	}
	return out
}
