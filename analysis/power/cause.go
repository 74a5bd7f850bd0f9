package power

import (
	"math"

	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/series"
)

// Causes of a brownout.
const (
	CauseWeakBattery   = "weak_battery"
	CauseBadConnection = "bad_connection"
	CauseOverload      = "overload"
)

// Judged is what the cause of one brownout was decided on; a number that was not to be had
// is nil.
type Judged struct {
	Cause        string
	CurrentA     *float64 // whole current where the voltage was lowest
	HealthyV     *float64 // what a sound battery would have held at that current
	SoundV       *float64 // and its level without load then, relaxed as much as it would be
	SoundOhm     *float64 // and its resistance
	ExpectedV    *float64 // what this battery's load line expects there, from the second before
	UnexplainedV *float64 // how much lower it was
	TightV       *float64 // what this battery would have held with its connection at its best, when that is bad
	BehindV      *float64 // what a sound battery would have held behind the connection as it was
}

// model is what is known of the supply when dips are judged.
type model struct {
	pair     *aligned
	line     *LoadLine            // nil when refused
	unloaded [relaxations]float64 // V at no load before any relaxation, and ohm of each
	sound    float64              // ohm of a sound battery
}

func newModel(pair *aligned, line *LoadLine, usual float64, cfg Config) model {
	m := model{pair: pair, line: line, sound: cfg.SoundOhm}
	if cfg.LeastOhm <= usual && usual <= cfg.HealthyOhm {
		m.sound = usual
	}
	if line != nil {
		m.unloaded = pair.unloaded(line.perRead)
	}
	return m
}

// judge decides why the supply dipped, in this order:
//
//   - overload when even a sound battery would have dipped at that current,
//   - when the voltage fell far further than this battery's own resistance makes of the
//     current, and no peak of it can have passed between two readings, or its resistance
//     jumps, by what the connection took: see behindBadConnection,
//   - weak_battery when it was low at rest, or its open-circuit voltage is that of one that
//     is not charged, or its resistance is above a healthy one's,
//   - overload when nothing speaks against the battery,
//   - empty when the log does not tell, or the battery is none that the limits speak of.
func (m model) judge(d dip, restV *float64, enter float64, cfg Config) (j Judged) {
	speaksOf := func(v float64) bool { return cfg.LeastOpenV <= v && v <= cfg.MostOpenV }
	lowAtRest := restV != nil && speaksOf(*restV) && *restV < cfg.LowRestV
	if m.line == nil {
		if lowAtRest {
			j.Cause = CauseWeakBattery
		}
		return j
	}
	if !speaksOf(m.line.OpenCircuitV) {
		return j
	}
	ohm := m.line.perRead
	level := m.at(d.minAt)
	amps := m.pair.most(d.minAt)
	if m.pair.response != (response{}) && m.line.LooseOhm == 0 && level > d.minV {
		amps = (level - d.minV) / ohm // a late or slow reading does not show the peak
	}
	if math.IsNaN(amps) {
		return j
	}
	soundV := cfg.SoundV
	if !math.IsNaN(level) {
		soundV -= (m.unloaded[0] - level) * min(1, m.sound/ohm)
	}
	healthy := soundV - m.sound*amps
	j.CurrentA, j.HealthyV, j.SoundV, j.SoundOhm = schemas.Some(amps), schemas.Some(healthy), schemas.Some(soundV), schemas.Some(m.sound)
	explained := 0.0
	if open, before := m.pair.before(d.start, ohm); !math.IsNaN(open) {
		expected := open - ohm*amps
		explained = ohm * math.Abs(amps-before)
		j.ExpectedV, j.UnexplainedV = schemas.Some(expected), schemas.Some(expected-d.minV)
	}
	held := healthy >= enter
	if m.line.LooseOhm > 0 { // it may jump away from the peak and back: what flowed at the lowest reading
		if i := m.pair.nearest(d.minAt); !math.IsNaN(i) {
			held = soundV-m.sound*i >= enter
		}
	}
	worn := lowAtRest || m.line.OpenCircuitV < cfg.ChargedV
	fellFurther := j.UnexplainedV != nil && *j.UnexplainedV > cfg.LooseV+cfg.LooseShare*explained
	switch {
	case !held:
		j.Cause = CauseOverload
	case fellFurther && m.line.LooseOhm == 0 && m.pair.mayMiss(d):
		if worn || m.line.ResistanceOhm > cfg.HealthyOhm {
			j.Cause = CauseWeakBattery
		}
	case fellFurther:
		j.TightV = schemas.Some(d.minV + *j.UnexplainedV)
		j.behindBadConnection(d.minV, enter, worn || m.line.tightOhm() > cfg.HealthyOhm+cfg.JumpOhm, cfg)
	case m.line.LooseOhm > 0 && !math.IsNaN(level):
		j.TightV = schemas.Some(max(d.minV, level-m.line.TightOhm*amps))
		j.behindBadConnection(d.minV, enter, worn || m.line.TightOhm > cfg.HealthyOhm+cfg.JumpOhm, cfg)
	case worn, m.line.ResistanceOhm > cfg.HealthyOhm:
		j.Cause = CauseWeakBattery
	default:
		j.Cause = CauseOverload
	}
	return j
}

// behindBadConnection decides between a connection that took something and the battery behind
// it. With the connection at its best the supply would have held TightV, or a little more, for
// even then a lug that came loose takes some; a sound battery behind the same connection would
// have held what a sound one does less what the connection took. It is the connection when the
// battery is sound, or would have held and a sound one would not; the battery when that would
// not have held either, but a sound one would. Where it took both, or either would have done,
// there is no one cause.
func (j *Judged) behindBadConnection(minV, enter float64, worn bool, cfg Config) {
	behind := *j.HealthyV - (*j.TightV - minV)
	j.BehindV = schemas.Some(behind)
	switch {
	case !worn, behind < enter && *j.TightV >= enter:
		j.Cause = CauseBadConnection
	case behind >= enter && *j.TightV+cfg.TightestOhm**j.CurrentA < enter:
		j.Cause = CauseWeakBattery
	}
}

// at is the level at no load at t, by the last reading that knows it within a second.
func (m model) at(t int64) float64 {
	for k := series.Before(m.pair.T, t); k >= 0 && t-m.pair.T[k] < 1_000_000; k-- {
		if v := m.pair.level(k, m.unloaded); !math.IsNaN(v) {
			return v
		}
	}
	return math.NaN()
}

// most is the largest current about t, within a step and a half: a short peak may have
// passed between two readings.
func (a *aligned) most(t int64) float64 {
	reach := a.step*3/2 + 20_000
	largest := math.NaN()
	for k := series.From(a.T, t-reach); k < len(a.T) && a.T[k] <= t+reach; k++ {
		if i := a.I[k]; !math.IsNaN(i) && !(i <= largest) {
			largest = i
		}
	}
	return largest
}

// nearest is the current of the reading nearest to t, A; NaN when there is none within a step.
func (a *aligned) nearest(t int64) float64 {
	k := series.From(a.T, t)
	if k > 0 && (k == len(a.T) || a.T[k]-t > t-a.T[k-1]) {
		k--
	}
	if k == len(a.T) || max(a.T[k]-t, t-a.T[k]) > a.step {
		return math.NaN()
	}
	return a.I[k]
}

// mayMiss says whether a peak of the current that made a dip may have passed between two
// readings: voltage and current were not read together, and the dip lasted from its only reading
// to the next, give or take half a step for readings that come late.
func (a *aligned) mayMiss(d dip) bool { return a.apart && 2*(d.end-d.start) <= 3*a.step }

// before is the level of V + R I over the second before t, with its relaxation as it was
// then, and the current; NaN when that second is not known.
func (a *aligned) before(t int64, ohm float64) (open, amps float64) {
	n := 0.0
	for k := series.From(a.T, t-1_000_000); k < len(a.T) && a.T[k] < t-50_000; k++ {
		if e := a.V[k] + ohm*a.I[k]; !math.IsNaN(e) {
			open += e
			amps += a.I[k]
			n++
		}
	}
	return open / n, amps / n
}
