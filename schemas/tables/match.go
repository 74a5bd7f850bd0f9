package tables

import (
	"slices"
	"time"

	"github.com/afterbell/afterbell/schemas"
)

// Match is the row of match.parquet.
type Match struct {
	Seal          string `parquet:"seal"`
	ReportVersion int32  `parquet:"report_version"`
	Afterbell     string `parquet:"afterbell"`
	ProfileSHA256 string `parquet:"profile_sha256"`
	SignalsSHA256 string `parquet:"signals_sha256"`
	StoredAt      *int64 `parquet:"stored_at,optional,timestamp(microsecond)"` // UTC
	At            *int64 `parquet:"at,optional,timestamp(microsecond)"`        // UTC, of the match's start

	CutFrom *string `parquet:"cut_from,optional"` // SEASON/EVENT/MATCH that this is a stretch of

	StartS          float64  `parquet:"start_s"`
	EndS            float64  `parquet:"end_s"`
	AutonomousS     float64  `parquet:"autonomous_s"` // as the periods ran, not as the profile has them
	DriverS         float64  `parquet:"driver_s"`
	VerdictSeverity string   `parquet:"verdict_severity"`
	Verdict         string   `parquet:"verdict"`
	Samples         int64    `parquet:"samples"`
	Signals         int64    `parquet:"signals"`
	Stops           int64    `parquet:"stops"` // findings of each severity
	Fixes           int64    `parquet:"fixes"`
	Watches         int64    `parquet:"watches"`
	CostS           *float64 `parquet:"cost_s,optional"` // the findings' seconds lost, summed

	// Path.
	Passes        *int64 `parquet:"passes,optional"`
	Jams          *int64 `parquet:"jams,optional"`
	SuspectedJams *int64 `parquet:"suspected_jams,optional"`

	// Power.
	Brownouts         *int64   `parquet:"brownouts,optional"`
	LowestV           *float64 `parquet:"lowest_v,optional"`
	LowestAtS         *float64 `parquet:"lowest_at_s,optional"`
	Battery           *string  `parquet:"battery,optional"`
	RestV             *float64 `parquet:"rest_v,optional"`
	RestChargeLow     *float64 `parquet:"rest_charge_low,optional"`
	RestChargeHigh    *float64 `parquet:"rest_charge_high,optional"`
	OpenCircuitV      *float64 `parquet:"open_circuit_v,optional"`
	OpenCircuitLowV   *float64 `parquet:"open_circuit_low_v,optional"`
	OpenCircuitHighV  *float64 `parquet:"open_circuit_high_v,optional"`
	ResistanceOhm     *float64 `parquet:"resistance_ohm,optional"`
	ResistanceLowOhm  *float64 `parquet:"resistance_low_ohm,optional"`
	ResistanceHighOhm *float64 `parquet:"resistance_high_ohm,optional"`
	LooseLowOhm       *float64 `parquet:"loose_low_ohm,optional"`
	LooseHighOhm      *float64 `parquet:"loose_high_ohm,optional"`
	EnergyWh          *float64 `parquet:"energy_wh,optional"`
	ChargeAh          *float64 `parquet:"charge_ah,optional"`
	BrownoutA         *float64 `parquet:"brownout_a,optional"`
	PeakA             *float64 `parquet:"peak_a,optional"`

	Resistance1sOhm     *float64 `parquet:"resistance_1s_ohm,optional"`
	Resistance1sLowOhm  *float64 `parquet:"resistance_1s_low_ohm,optional"`
	Resistance1sHighOhm *float64 `parquet:"resistance_1s_high_ohm,optional"`
	BrownoutLowA        *float64 `parquet:"brownout_low_a,optional"`
	BrownoutHighA       *float64 `parquet:"brownout_high_a,optional"`
	LoadTestA           *float64 `parquet:"load_test_a,optional"`
	LoadTestLowA        *float64 `parquet:"load_test_low_a,optional"`
	UsualResistanceOhm  *float64 `parquet:"usual_resistance_ohm,optional"`
	BatteryReason       *string  `parquet:"battery_reason,optional"` // why the resistance could not be told

	// Cycles. CycleS is the median of complete scoring cycles of the driver period.
	Pieces     *int64   `parquet:"pieces,optional"` // scored in all periods
	Handovers  *int64   `parquet:"handovers,optional"`
	Cycles     *int64   `parquet:"cycles,optional"` // complete scoring cycles of the driver period
	SlowCycles *int64   `parquet:"slow_cycles,optional"`
	CycleS     *float64 `parquet:"cycle_s,optional"`
	// The scoring cycles of the driver period one by one: the complete ones, and how long those had
	// lasted that its end cut off.
	CycleTimesS []float64 `parquet:"cycle_times_s,optional,list"`
	CutOffS     []float64 `parquet:"cut_off_s,optional,list"`

	// Balance. BalanceSettleS is the median of the attempts that got level.
	BalanceAttempts *int64   `parquet:"balance_attempts,optional"`
	BalanceLevel    *int64   `parquet:"balance_level,optional"`
	BalanceSettleS  *float64 `parquet:"balance_settle_s,optional"`

	// Autonomous.
	AutonomousPieces     *int64   `parquet:"autonomous_pieces,optional"`
	AutonomousEndX       *float64 `parquet:"autonomous_end_x,optional"`
	AutonomousEndY       *float64 `parquet:"autonomous_end_y,optional"`
	AutonomousEndHeading *float64 `parquet:"autonomous_end_heading,optional"`
	AutonomousEndErrorM  *float64 `parquet:"autonomous_end_error_m,optional"`
}

func matchRow(r *schemas.Report) Match {
	m := Match{
		Seal: r.From.Seal, ReportVersion: int32(r.Report), Afterbell: r.From.Afterbell,
		ProfileSHA256: r.From.ProfileSHA256, SignalsSHA256: r.From.SignalsSHA256,
		StartS: r.Match.StartS, EndS: r.Match.EndS,
		VerdictSeverity: r.Verdict.Severity, Verdict: r.Verdict.Text,
		Samples: int64(r.Quality.Samples), Signals: int64(r.Quality.Signals),
	}
	m.StoredAt = instant(r.From.StoredAt)
	if r.Match.At != nil {
		m.At = instant(*r.Match.At)
	}
	for _, p := range r.Match.Periods {
		switch p.Name {
		case schemas.PeriodAutonomous:
			m.AutonomousS += p.EndS - p.StartS
		case schemas.PeriodDriver:
			m.DriverS += p.EndS - p.StartS
		}
	}
	if c := r.Match.CutFrom; c != nil {
		m.CutFrom = text(c.Season + "/" + c.Event + "/" + c.Match)
	}
	m.findings(r.Findings)
	if r.Ran("path") {
		m.Passes, m.Jams, m.SuspectedJams = count(r.Passes), count(r.Jams), count(r.SuspectedJams)
	}
	if r.Ran("power") {
		m.Brownouts = count(r.Brownouts)
		m.battery(r.Battery)
	}
	if r.Ran("cycles") {
		m.cycles(r.Cycles)
	}
	if r.Ran("balance") {
		m.balances(r.Balances)
	}
	if r.Ran("autonomous") {
		m.autonomous(r.Autonomous)
	}
	return m
}

func (m *Match) findings(findings []schemas.Finding) {
	for _, f := range findings {
		switch f.Severity {
		case schemas.SeverityStop:
			m.Stops++
		case schemas.SeverityFix:
			m.Fixes++
		case schemas.SeverityWatch:
			m.Watches++
		}
		if f.CostS != nil {
			total := *f.CostS
			if m.CostS != nil {
				total += *m.CostS
			}
			m.CostS = &total
		}
	}
}

func (m *Match) battery(b schemas.Battery) {
	m.LowestV, m.LowestAtS = b.LowestV, b.LowestAtS
	m.Battery = text(b.ID)
	m.RestV, m.RestChargeLow, m.RestChargeHigh, m.OpenCircuitV = b.RestV, b.RestChargeLow, b.RestChargeHigh, b.OpenCircuitV
	m.ResistanceOhm, m.ResistanceLowOhm, m.ResistanceHighOhm = b.ResistanceOhm, b.ResistanceLowOhm, b.ResistanceHighOhm
	m.EnergyWh, m.ChargeAh = b.EnergyWh, b.ChargeAh
	m.BrownoutA, m.PeakA = b.BrownoutA, b.PeakA
	m.OpenCircuitLowV, m.OpenCircuitHighV = b.OpenCircuitLowV, b.OpenCircuitHighV
	m.LooseLowOhm, m.LooseHighOhm = b.LooseLowOhm, b.LooseHighOhm
	m.Resistance1sOhm, m.Resistance1sLowOhm, m.Resistance1sHighOhm = b.Resistance1sOhm, b.Resistance1sLowOhm, b.Resistance1sHighOhm
	m.BrownoutLowA, m.BrownoutHighA = b.BrownoutLowA, b.BrownoutHighA
	m.LoadTestA, m.LoadTestLowA = b.LoadTestA, b.LoadTestLowA
	m.UsualResistanceOhm, m.BatteryReason = b.UsualResistanceOhm, text(b.Reason)
}

func (m *Match) cycles(cycles []schemas.Cycle) {
	var pieces, handovers, slow int64
	var durations []float64
	for _, c := range cycles {
		switch {
		case c.Kind == schemas.CycleHandover:
			handovers++
		case !c.Complete && c.Period == schemas.PeriodDriver:
			m.CutOffS = append(m.CutOffS, c.DurationS)
		case c.Complete:
			pieces += int64(c.Pieces)
			if c.Slow {
				slow++
			}
			if c.Period == schemas.PeriodDriver {
				durations = append(durations, c.DurationS)
			}
		}
	}
	m.Pieces, m.Handovers, m.SlowCycles = &pieces, &handovers, &slow
	m.Cycles, m.CycleS, m.CycleTimesS = count(durations), median(durations), durations
}

func (m *Match) balances(attempts []schemas.Balance) {
	var level int64
	var settles []float64
	for _, a := range attempts {
		if a.Outcome == schemas.BalanceLevel {
			level++
		}
		if a.SettleS != nil {
			settles = append(settles, *a.SettleS)
		}
	}
	m.BalanceAttempts, m.BalanceLevel, m.BalanceSettleS = count(attempts), &level, median(settles)
}

func (m *Match) autonomous(a schemas.Autonomous) {
	m.AutonomousPieces = int64s(a.Pieces)
	m.AutonomousEndX, m.AutonomousEndY, m.AutonomousEndHeading = a.EndX, a.EndY, a.EndHeading
	m.AutonomousEndErrorM = a.EndErrorM
}

// instant is an RFC 3339 time in microseconds of UTC, nil when s is none.
func instant(s string) *int64 {
	at, err := time.Parse(time.RFC3339Nano, s)
	if err != nil {
		return nil
	}
	us := at.UnixMicro()
	return &us
}

// median is nil for no values; the middle two of an even number are averaged.
func median(v []float64) *float64 {
	if len(v) == 0 {
		return nil
	}
	s := slices.Sorted(slices.Values(v))
	m := (s[(len(s)-1)/2] + s[len(s)/2]) / 2
	return &m
}

func count[T any](s []T) *int64 {
	n := int64(len(s))
	return &n
}

func int64s(v *int) *int64 {
	if v == nil {
		return nil
	}
	n := int64(*v)
	return &n
}

// text is nil where the report says nothing.
func text(s string) *string {
	if s == "" {
		return nil
	}
	return &s
}
