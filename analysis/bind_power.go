package analysis

import (
	"fmt"
	"slices"

	"github.com/afterbell/afterbell/analysis/findings"
	"github.com/afterbell/afterbell/analysis/power"
	"github.com/afterbell/afterbell/analysis/standby"
	"github.com/afterbell/afterbell/analysis/stat"
	"github.com/afterbell/afterbell/schemas"
	"github.com/afterbell/afterbell/schemas/profile"
	"github.com/afterbell/afterbell/schemas/series"
)

// Between which a supply usually is, in V: nothing runs on less, and on more than the limit of
// extra-low voltage for dc (IEC 61140) no robot of this kind does. Beyond, it is in another unit.
const leastSupplyV, mostSupplyV = 3, 60

func lookAtPower(m *match) outcome {
	p := m.Profile.Power
	if p == nil {
		return off("power")
	}
	in := power.Input{
		Voltage: m.float(p.Voltage, (*profile.Ref).Volts), Current: m.float(p.Current, (*profile.Ref).Amps), Battery: m.text(p.Battery),
		Periods: m.report.Match.Periods, Start: m.start, End: m.end, Gaps: m.gaps,
	}
	if in.Voltage == nil {
		return m.without("voltage")
	}
	if len(in.Voltage.T) == 0 {
		return outcome{Reason: fmt.Sprintf("voltage: %s holds no reading", p.Voltage.Signal)}
	}
	if usual := stat.Median(in.Voltage.V); usual > mostSupplyV || usual < leastSupplyV {
		return outcome{Reason: fmt.Sprintf("voltage: %s is at %.6g V, on which no robot runs: set its unit or scale", p.Voltage.Signal, usual)}
	}
	in.UsualOhm = soundResistance(m.History)
	if b := p.Brownout; b != nil {
		in.EnterV, in.LeaveV = b.EnterV, b.LeaveV
	}
	for _, b := range p.Branches {
		if c := m.float(b.Current, (*profile.Ref).Amps); c != nil {
			in.Branches = append(in.Branches, power.Branch{Name: b.Name, Current: c})
		}
	}
	out := power.Detect(in, power.DefaultConfig())
	m.report.Brownouts, m.report.Battery = out.Brownouts, out.Battery
	m.report.Battery.UsualResistanceOhm = usualResistance(m.History, out.Battery.ID)
	m.why.Dips, m.why.Line = out.Judged, out.Line
	m.note(out.Notes)
	lookForStandbyDraws(m, in.Branches, in.Current)
	return outcome{}
}

// unworked is the voltage at no load before any work, where the load line was worth telling and
// is that of a 12 V battery; nil too where the connection jumps, which drowns what relaxation does.
func (m *match) unworked() *findings.Unworked {
	cfg := power.DefaultConfig()
	line := m.why.Line
	if line == nil || m.report.Battery.OpenCircuitV == nil || line.LooseOhm > 0 || !(cfg.LeastOpenV <= line.OpenCircuitV && line.OpenCircuitV <= cfg.MostOpenV) {
		return nil
	}
	return &findings.Unworked{Volts: line.OpenCircuitV, Low: line.OpenCircuitLow, High: line.OpenCircuitHigh}
}

// lookForStandbyDraws lists the branches that draw while disabled. Those that share a zero that
// is off draw nothing: their sensors are at fault.
func lookForStandbyDraws(m *match, branches []power.Branch, whole *series.Float) {
	in := standby.Input{Disabled: m.disabled()}
	for _, b := range branches {
		in.Branches = append(in.Branches, standby.Branch{Name: b.Name, Current: b.Current})
	}
	cfg := standby.DefaultConfig()
	zeros := standby.SharedZero(in, whole, cfg)
	for _, z := range zeros {
		m.report.Quality.Faults = append(m.report.Quality.Faults, schemas.Fault{
			Signal: z.Signal, Kind: schemas.FaultZero, StartS: schemas.Seconds(m.start), EndS: schemas.Seconds(m.end),
			Note: fmt.Sprintf("%s reads %.1f A at rest", z.Branch, z.RestA),
		})
	}
	for _, d := range standby.Detect(in, cfg) {
		if !slices.ContainsFunc(zeros, func(z standby.Zero) bool { return z.Branch == d.Branch }) {
			m.report.StandbyDraws = append(m.report.StandbyDraws, d)
		}
	}
}

// soundResistance is the median over this robot's earlier matches without a brownout or a
// connection that jumps, whatever the battery; 0 without three of them.
func soundResistance(history []*schemas.Report) float64 {
	var seen []float64
	for _, h := range history {
		if ohm, ok := steadyResistance(h); ok && len(h.Brownouts) == 0 {
			seen = append(seen, ohm)
		}
	}
	if len(seen) < 3 {
		return 0
	}
	return stat.Median(seen)
}

// usualResistance is the median over this robot's earlier matches with that battery, those in
// which a connection jumped left out; nil without one, and for a battery nobody named.
func usualResistance(history []*schemas.Report, id string) *float64 {
	var seen []float64
	for _, h := range history {
		if ohm, ok := steadyResistance(h); ok && id != "" && h.Battery.ID == id {
			seen = append(seen, ohm)
		}
	}
	if len(seen) == 0 {
		return nil
	}
	return schemas.Some(stat.Median(seen))
}

// steadyResistance is the resistance of a match in which it did not jump.
func steadyResistance(r *schemas.Report) (ohm float64, ok bool) {
	if r.Battery.ResistanceOhm == nil || r.Battery.LooseHighOhm != nil {
		return 0, false
	}
	return *r.Battery.ResistanceOhm, true
}
