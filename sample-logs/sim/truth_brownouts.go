package sim

import (
	"math"
	"strconv"

	"github.com/afterbell/afterbell/schemas"
)

// brownouts runs the rule with hysteresis over the samples.
func (v view) brownouts(volts *clean) {
	enter, leave := v.world.supply.cutOff, v.world.supply.recover
	var what blame
	open := -1
	for i, u := range volts.v {
		switch {
		case open < 0 && u < enter:
			open = i
		case open >= 0 && u >= leave:
			v.brownout(volts, open, i, &what)
			open = -1
		}
	}
	if open >= 0 {
		v.brownout(volts, open, len(volts.v), &what)
	}
}

// brownout writes down the dip of samples i up to j.
func (v view) brownout(volts *clean, i, j int, what *blame) {
	enter := v.world.supply.cutOff
	out := schemas.Brownout{StartS: schemas.Seconds(volts.t[i]), MinV: math.Inf(1)}
	for k := i; k < j; k++ {
		if volts.v[k] < out.MinV {
			out.MinV, out.MinAtS = volts.v[k], schemas.Seconds(volts.t[k])
		}
		if k+1 < len(volts.v) && volts.v[k] < enter {
			out.VoltSeconds += (enter - volts.v[k]) * schemas.Seconds(volts.t[k+1]-volts.t[k])
		}
	}
	if j < len(volts.v) {
		out.EndS = schemas.Some(schemas.Seconds(volts.t[j]))
	}
	for _, p := range v.report.Match.Periods {
		if p.StartS <= out.StartS && out.StartS < p.EndS {
			out.Period = p.Name
		}
	}
	v.shares(&out, volts.t[i], volts.t[j-1])
	out.Cause = what.cause(v.world, volts.step[i:j])
	what.without(v.world, &out, volts.step[i:j])
	v.report.Brownouts = append(v.report.Brownouts, out)
}

// shares says who drew the current from t0 to t1 inclusive: parts of the whole current, or
// of the sum of all branches where the whole is not logged. A branch that is not logged has
// no share; it is in the rest.
func (v view) shares(out *schemas.Brownout, t0, t1 int64) {
	rec := v.world.recorder
	whole, logged := rec.clean("power/current").mean(t0, t1)
	var found []schemas.Share
	sum := 0.0
	all := breakers(v.world)
	for i, b := range all {
		if amps, ok := rec.clean(branchID(i)).mean(t0, t1); ok {
			found = append(found, schemas.Share{Name: b.name, Share: amps})
			sum += amps
		}
	}
	if !logged {
		if len(found) < len(all) {
			return
		}
		whole = sum
	}
	if whole <= 0 {
		return
	}
	for i := range found {
		found[i].Share = part(found[i].Share / whole)
	}
	out.Branches = found
	if logged {
		out.CurrentA = schemas.Some(whole)
		out.OtherShare = schemas.Some(part(1 - sum/whole))
	}
}

// part is a share as a report can hold it: a branch that feeds back has none.
func part(share float64) float64 { return max(0, min(1, share)) }

func branchID(i int) string { return "power/branch/" + strconv.Itoa(i) }

// mean of the samples from t0 to t1 inclusive.
func (c *clean) mean(t0, t1 int64) (float64, bool) {
	if c == nil {
		return 0, false
	}
	sum, n := 0.0, 0
	for i, t := range c.t {
		if t0 <= t && t <= t1 {
			sum, n = sum+c.v[i], n+1
		}
	}
	return sum / float64(n), n > 0
}

// blame replays a match with the same currents drawn from other supplies: what would the
// voltage have been with the battery as it was before anything was done to it, with sound
// connections, and with each of the two alone.
type blame struct {
	sound    []float64 // V at every step: sound battery, sound connections
	loose    []float64 // sound battery, connections as they were
	worn     []float64 // battery as it was, sound connections
	replayed bool

	reached reached // the battery as it was, before the last dip asked for
}

// Causes of a brownout.
const (
	causeBattery    = "weak_battery"
	causeConnection = "bad_connection"
	causeOverload   = "overload"
)

// cause of a dip at those steps. It is the load when the sound supply would have dipped at
// the same currents too. Else it is whichever of battery and connection was needed for the
// dip and brought it about alone; where both were needed, or either would have done, there
// is no one cause and it stays empty.
func (b *blame) cause(w *world, steps []int) string {
	rec := &w.drawn
	if !b.replayed {
		b.replayed = true
		b.sound = rec.replay(*w.sound, false)
		if rec.contact != nil {
			b.loose, b.worn = rec.replay(*w.sound, true), rec.replay(rec.fresh, false)
		}
	}
	dips := func(volts []float64) bool {
		for _, k := range steps {
			if volts[k] < w.supply.cutOff {
				return true
			}
		}
		return false
	}
	if dips(b.sound) {
		return causeOverload
	}
	if rec.contact == nil {
		return causeBattery
	}
	connection, worn := dips(b.loose), dips(b.worn)
	switch {
	case connection && !worn:
		return causeConnection
	case worn && !connection:
		return causeBattery
	}
	return ""
}
