package tables

import "github.com/afterbell/afterbell/schemas"

// Cycle is a row of cycles.parquet.
type Cycle struct {
	Seal      string   `parquet:"seal"`
	Cycle     int32    `parquet:"cycle"` // counts from 0 in order of time
	Kind      string   `parquet:"kind"`
	Pieces    int32    `parquet:"pieces"`
	Period    string   `parquet:"period"`
	StartS    float64  `parquet:"start_s"`
	EndS      float64  `parquet:"end_s"`
	DurationS float64  `parquet:"duration_s"`
	Complete  bool     `parquet:"complete"`
	Slow      bool     `parquet:"slow"`
	Why       *string  `parquet:"why,optional"`
	ReturnS   *float64 `parquet:"return_s,optional"`
	CollectS  *float64 `parquet:"collect_s,optional"`
	CarryS    *float64 `parquet:"carry_s,optional"`
	PlaceS    *float64 `parquet:"place_s,optional"`
	P         *float64 `parquet:"p,optional"`
	ExcessS   *float64 `parquet:"excess_s,optional"`
	// The chance that each phase of a usual cycle takes as long.
	ReturnP  *float64 `parquet:"return_p,optional"`
	CollectP *float64 `parquet:"collect_p,optional"`
	CarryP   *float64 `parquet:"carry_p,optional"`
	PlaceP   *float64 `parquet:"place_p,optional"`
	LostS    *float64 `parquet:"lost_s,optional"`
	// Confidence that it lost enough to be called slow.
	Confidence *float64 `parquet:"confidence,optional"`
	Events     int32    `parquet:"events"` // how many things were seen to cost time; only of slow ones
	// How the robot lined up to place.
	ArrivedM    *float64 `parquet:"arrived_m,optional"`
	Corrections *int64   `parquet:"corrections,optional"`
	AlignS      *float64 `parquet:"align_s,optional"`
	PlacedM     *float64 `parquet:"placed_m,optional"`
	Assisted    *bool    `parquet:"assisted,optional"`
}

func cycleRows(r *schemas.Report) []Cycle {
	out := make([]Cycle, len(r.Cycles))
	for i, c := range r.Cycles {
		out[i] = Cycle{
			Seal: r.From.Seal, Cycle: int32(i), Kind: c.Kind, Pieces: int32(c.Pieces), Period: c.Period,
			StartS: c.StartS, EndS: c.EndS, DurationS: c.DurationS, Complete: c.Complete, Slow: c.Slow, Why: c.Why,
			ReturnS: c.Phases.ReturnS, CollectS: c.Phases.CollectS, CarryS: c.Phases.CarryS, PlaceS: c.Phases.PlaceS,
			ReturnP: c.PhaseP.Return, CollectP: c.PhaseP.Collect, CarryP: c.PhaseP.Carry, PlaceP: c.PhaseP.Place,
			P: c.P, ExcessS: c.ExcessS, LostS: c.LostS, Confidence: c.Confidence, Events: int32(len(c.Events)),
		}
		if a := c.Align; a != nil {
			out[i].ArrivedM, out[i].AlignS, out[i].PlacedM, out[i].Assisted = a.ArrivedM, a.AlignS, a.PlacedM, a.Assisted
			if a.Corrections != nil {
				n := int64(*a.Corrections)
				out[i].Corrections = &n
			}
		}
	}
	return out
}

// Pass is a row of passes.parquet: a piece at one stage. A pass of which no stage is known
// is one row without stage.
type Pass struct {
	Seal           string   `parquet:"seal"`
	Pass           int32    `parquet:"pass"` // counts from 0
	Piece          int32    `parquet:"piece"`
	EnterS         *float64 `parquet:"enter_s,optional"` // of the whole pass
	LeaveS         *float64 `parquet:"leave_s,optional"`
	Outcome        string   `parquet:"outcome"`
	Counted        *bool    `parquet:"counted,optional"`
	Stage          *string  `parquet:"stage,optional"`
	StageEnterS    *float64 `parquet:"stage_enter_s,optional"`
	StageLeaveS    *float64 `parquet:"stage_leave_s,optional"`
	StageEnterEstS *float64 `parquet:"stage_enter_est_s,optional"`
	StageLeaveEstS *float64 `parquet:"stage_leave_est_s,optional"`
}

func passRows(r *schemas.Report) []Pass {
	out := []Pass{}
	for i, p := range r.Passes {
		row := Pass{
			Seal: r.From.Seal, Pass: int32(i), Piece: int32(p.Piece),
			EnterS: p.EnterS, LeaveS: p.LeaveS, Outcome: p.Outcome, Counted: p.Counted,
		}
		if len(p.Stages) == 0 {
			out = append(out, row)
		}
		for _, s := range p.Stages {
			row.Stage = &s.Stage
			row.StageEnterS, row.StageLeaveS = s.EnterS, s.LeaveS
			row.StageEnterEstS, row.StageLeaveEstS = s.EnterEstS, s.LeaveEstS
			out = append(out, row)
		}
	}
	return out
}

// Stage is a row of stages.parquet.
type Stage struct {
	Seal     string   `parquet:"seal"`
	Position int32    `parquet:"position"` // along the path, from 0
	Stage    string   `parquet:"stage"`
	Sensor   bool     `parquet:"sensor"`
	TransitS *float64 `parquet:"transit_s,optional"` // median of undisturbed passes
	Passes   int32    `parquet:"passes"`             // that entered the stage
	Jams     int32    `parquet:"jams"`
	// What wears shows before it fails.
	Reversals int32    `parquet:"reversals"`       // times it was run back while a piece was stuck in it
	FreeA     *float64 `parquet:"free_a,optional"` // current of its motor running lightly
}

func stageRows(r *schemas.Report) []Stage {
	out := make([]Stage, len(r.Stages))
	for i, s := range r.Stages {
		out[i] = Stage{
			Seal: r.From.Seal, Position: int32(i), Stage: s.Stage, Sensor: s.Sensor,
			TransitS: s.TransitS, Passes: int32(s.Passes), Jams: int32(s.Jams),
		}
		for _, j := range r.Jams {
			if j.Stage == s.Stage {
				out[i].Reversals += int32(j.Reversals)
			}
		}
		for _, m := range r.Motors {
			if m.Name == s.Stage {
				out[i].FreeA = m.FreeA
			}
		}
	}
	return out
}

// Mechanism is a row of mechanisms.parquet: the moves of one arm or lift together.
type Mechanism struct {
	Seal    string   `parquet:"seal"`
	Name    string   `parquet:"name"`
	Moves   int32    `parquet:"moves"`
	Settled int32    `parquet:"settled"`
	Short   int32    `parquet:"short"`
	SettleS *float64 `parquet:"settle_s,optional"` // median of the moves that settled
	UpA     *float64 `parquet:"up_a,optional"`
	DownA   *float64 `parquet:"down_a,optional"`
	Pace    *float64 `parquet:"pace,optional"`
}

func mechanismRows(r *schemas.Report) []Mechanism {
	out := make([]Mechanism, len(r.Mechanisms))
	for i, m := range r.Mechanisms {
		row := Mechanism{Seal: r.From.Seal, Name: m.Name, Moves: int32(m.Moves), UpA: m.UpA, DownA: m.DownA, Pace: m.Pace}
		var took []float64
		for _, v := range r.Moves {
			switch {
			case v.Name != m.Name:
			case v.Outcome == schemas.MoveShort:
				row.Short++
			case v.Outcome == schemas.MoveSettled && v.SettleS != nil:
				row.Settled++
				took = append(took, *v.SettleS)
			}
		}
		row.SettleS = median(took)
		out[i] = row
	}
	return out
}

// Jam is a row of jams.parquet and of suspected_jams.parquet.
type Jam struct {
	Seal       string   `parquet:"seal"`
	Stage      string   `parquet:"stage"`
	StartS     float64  `parquet:"start_s"`
	EndS       float64  `parquet:"end_s"`
	Cleared    bool     `parquet:"cleared"`
	Confidence float64  `parquet:"confidence"`
	How        *string  `parquet:"how,optional"`
	Cause      *string  `parquet:"cause,optional"`
	Piece      *int64   `parquet:"piece,optional"`
	StillS     *float64 `parquet:"still_s,optional"`
	PeakA      *float64 `parquet:"peak_a,optional"`
	OnsetLowS  *float64 `parquet:"onset_low_s,optional"`
	OnsetHighS *float64 `parquet:"onset_high_s,optional"`
	Reversals  int32    `parquet:"reversals"`
}

func jamRows(seal string, jams []schemas.Jam) []Jam {
	out := make([]Jam, len(jams))
	for i, j := range jams {
		out[i] = Jam{
			Seal: seal, Stage: j.Stage, StartS: j.StartS, EndS: j.EndS, Cleared: j.Cleared,
			Confidence: j.Confidence, How: text(j.How), Cause: text(j.Cause), Piece: int64s(j.Piece),
			StillS: j.StillS, PeakA: j.PeakA, OnsetLowS: j.OnsetLowS, OnsetHighS: j.OnsetHighS,
			Reversals: int32(j.Reversals),
		}
	}
	return out
}

// Brownout is a row of brownouts.parquet.
type Brownout struct {
	Seal        string   `parquet:"seal"`
	Brownout    int32    `parquet:"brownout"` // counts from 0
	StartS      float64  `parquet:"start_s"`
	EndS        *float64 `parquet:"end_s,optional"`
	MinV        float64  `parquet:"min_v"`
	MinAtS      float64  `parquet:"min_at_s"`
	VoltSeconds float64  `parquet:"volt_seconds"`
	CurrentA    *float64 `parquet:"current_a,optional"`
	OtherShare  *float64 `parquet:"other_share,optional"`
	Period      *string  `parquet:"period,optional"`
	Cause       *string  `parquet:"cause,optional"`

	ShareShift  *float64 `parquet:"share_shift,optional"`
	ResolutionS *float64 `parquet:"resolution_s,optional"`
	UnseenS     float64  `parquet:"unseen_s"`
	Length      *string  `parquet:"length,optional"`
}

func brownoutRows(r *schemas.Report) []Brownout {
	out := make([]Brownout, len(r.Brownouts))
	for i, b := range r.Brownouts {
		out[i] = Brownout{
			Seal: r.From.Seal, Brownout: int32(i), StartS: b.StartS, EndS: b.EndS, MinV: b.MinV, MinAtS: b.MinAtS,
			VoltSeconds: b.VoltSeconds, CurrentA: b.CurrentA, OtherShare: b.OtherShare,
			Period: text(b.Period), Cause: text(b.Cause),
			ShareShift: b.ShareShift, ResolutionS: b.ResolutionS, UnseenS: b.UnseenS, Length: text(b.Length),
		}
	}
	return out
}

// Branch is a row of brownout_branches.parquet.
type Branch struct {
	Seal     string  `parquet:"seal"`
	Brownout int32   `parquet:"brownout"` // as in brownouts.parquet
	Branch   string  `parquet:"branch"`
	Share    float64 `parquet:"share"`

	ShortfallV *float64 `parquet:"shortfall_v,optional"`
	Necessary  string   `parquet:"necessary"` // yes, no, or empty
	LimitA     *float64 `parquet:"limit_a,optional"`
}

func branchRows(r *schemas.Report) []Branch {
	out := []Branch{}
	for i, b := range r.Brownouts {
		for _, s := range b.Branches {
			out = append(out, Branch{r.From.Seal, int32(i), s.Name, s.Share, s.ShortfallV, s.Necessary, s.LimitA})
		}
	}
	return out
}

// Balance is a row of balances.parquet.
type Balance struct {
	Seal          string   `parquet:"seal"`
	StartS        float64  `parquet:"start_s"`
	EndS          float64  `parquet:"end_s"`
	Outcome       string   `parquet:"outcome"`
	SettleS       *float64 `parquet:"settle_s,optional"`
	SettleLowS    *float64 `parquet:"settle_low_s,optional"`
	SettleHighS   *float64 `parquet:"settle_high_s,optional"`
	Overshoots    int32    `parquet:"overshoots"`
	DampingRatio  *float64 `parquet:"damping_ratio,optional"`
	DampingLow    *float64 `parquet:"damping_low,optional"`
	DampingHigh   *float64 `parquet:"damping_high,optional"`
	NaturalHz     *float64 `parquet:"natural_hz,optional"`
	NaturalHzLow  *float64 `parquet:"natural_hz_low,optional"`
	NaturalHzHigh *float64 `parquet:"natural_hz_high,optional"`
	PeakDeg       float64  `parquet:"peak_deg"`
	ApproachMS    *float64 `parquet:"approach_m_s,optional"`
	ClimbS        *float64 `parquet:"climb_s,optional"`
	CostS         *float64 `parquet:"cost_s,optional"`
	CostPoints    *float64 `parquet:"cost_points,optional"`
	DisturbedAtS  *float64 `parquet:"disturbed_at_s,optional"`
	LevelledBy    *string  `parquet:"levelled_by,optional"`
	LoopSavesS    *float64 `parquet:"loop_saves_s,optional"`
	Diagnosis     *string  `parquet:"diagnosis,optional"`
	Period        *string  `parquet:"period,optional"`
}

func balanceRows(r *schemas.Report) []Balance {
	out := make([]Balance, len(r.Balances))
	for i, b := range r.Balances {
		out[i] = Balance{
			Seal: r.From.Seal, StartS: b.StartS, EndS: b.EndS, Outcome: b.Outcome,
			SettleS: b.SettleS, SettleLowS: b.SettleLowS, SettleHighS: b.SettleHighS, Overshoots: int32(b.Overshoots),
			DampingRatio: b.DampingRatio, DampingLow: b.DampingLow, DampingHigh: b.DampingHigh,
			NaturalHz: b.NaturalHz, NaturalHzLow: b.NaturalHzLow, NaturalHzHigh: b.NaturalHzHigh, PeakDeg: b.PeakDeg,
			ApproachMS: b.ApproachMS, ClimbS: b.ClimbS, CostS: b.CostS, CostPoints: b.CostPoints, DisturbedAtS: b.DisturbedAtS,
			LevelledBy: text(b.LevelledBy), LoopSavesS: b.LoopSavesS, Diagnosis: text(b.Diagnosis), Period: text(b.Period),
		}
	}
	return out
}

// Move is a row of moves.parquet.
type Move struct {
	Seal      string   `parquet:"seal"`
	Name      string   `parquet:"name"`
	StartS    float64  `parquet:"start_s"`
	EndS      float64  `parquet:"end_s"`
	From      float64  `parquet:"from"`
	To        float64  `parquet:"to"`
	SettleS   *float64 `parquet:"settle_s,optional"`
	RiseS     *float64 `parquet:"rise_s,optional"`
	Overshoot float64  `parquet:"overshoot"`
	Outcome   string   `parquet:"outcome"`
	PeakA     *float64 `parquet:"peak_a,optional"`
	MeanA     *float64 `parquet:"mean_a,optional"`

	Swing        string   `parquet:"swing"`
	DampingRatio *float64 `parquet:"damping_ratio,optional"`
	NaturalHz    *float64 `parquet:"natural_hz,optional"`
	Slow         bool     `parquet:"slow"`
	P            *float64 `parquet:"p,optional"`
	UsualSettleS *float64 `parquet:"usual_settle_s,optional"`
}

func moveRows(r *schemas.Report) []Move {
	out := make([]Move, len(r.Moves))
	for i, m := range r.Moves {
		out[i] = Move{
			Seal: r.From.Seal, Name: m.Name, StartS: m.StartS, EndS: m.EndS, From: m.From, To: m.To,
			SettleS: m.SettleS, RiseS: m.RiseS, Overshoot: m.Overshoot, Outcome: m.Outcome, PeakA: m.PeakA, MeanA: m.MeanA,
			Swing: m.Swing, DampingRatio: m.DampingRatio, NaturalHz: m.NaturalHz, Slow: m.Slow, P: m.P, UsualSettleS: m.UsualSettleS,
		}
	}
	return out
}

// Motor is a row of motors.parquet.
type Motor struct {
	Seal              string   `parquet:"seal"`
	Name              string   `parquet:"name"`
	Side              string   `parquet:"side"`
	ResistanceOhm     *float64 `parquet:"resistance_ohm,optional"`
	ResistanceLowOhm  *float64 `parquet:"resistance_low_ohm,optional"`
	ResistanceHighOhm *float64 `parquet:"resistance_high_ohm,optional"`
	ConstantVS        *float64 `parquet:"constant_v_s,optional"`
	ConstantLowVS     *float64 `parquet:"constant_low_v_s,optional"`
	ConstantHighVS    *float64 `parquet:"constant_high_v_s,optional"`
	ResidualA         *float64 `parquet:"residual_a,optional"`
	FreeA             *float64 `parquet:"free_a,optional"`
	RestA             *float64 `parquet:"rest_a,optional"`
	RmsA              *float64 `parquet:"rms_a,optional"`
	PeakA             *float64 `parquet:"peak_a,optional"`
	StalledS          *float64 `parquet:"stalled_s,optional"`
	Stalls            int32    `parquet:"stalls"`
	UnpoweredS        float64  `parquet:"unpowered_s"`
	IdleS             float64  `parquet:"idle_s"`
	Heat              *float64 `parquet:"heat,optional"`
	HeatAtS           *float64 `parquet:"heat_at_s,optional"`
	Twin              string   `parquet:"twin"`
	TwinShare         *float64 `parquet:"twin_share,optional"`
	TwinShareLow      *float64 `parquet:"twin_share_low,optional"`
	TwinShareHigh     *float64 `parquet:"twin_share_high,optional"`
}

func motorRows(r *schemas.Report) []Motor {
	lasted := func(spans []schemas.Stall) float64 {
		sum := 0.0
		for _, s := range spans {
			sum += s.EndS - s.StartS
		}
		return sum
	}
	out := make([]Motor, len(r.Motors))
	for i, m := range r.Motors {
		out[i] = Motor{
			Seal: r.From.Seal, Name: m.Name, Side: m.Side,
			ResistanceOhm: m.ResistanceOhm, ResistanceLowOhm: m.ResistanceLowOhm, ResistanceHighOhm: m.ResistanceHighOhm,
			ConstantVS: m.ConstantVS, ConstantLowVS: m.ConstantLowVS, ConstantHighVS: m.ConstantHighVS,
			ResidualA: m.ResidualA, FreeA: m.FreeA, RestA: m.RestA, RmsA: m.RmsA, PeakA: m.PeakA,
			StalledS: m.StalledS, Stalls: int32(len(m.Stalls)), UnpoweredS: lasted(m.Unpowered), IdleS: lasted(m.Idle),
			Heat: m.Heat, HeatAtS: m.HeatAtS, Twin: m.Twin, TwinShare: m.TwinShare, TwinShareLow: m.TwinShareLow, TwinShareHigh: m.TwinShareHigh,
		}
	}
	return out
}

// Finding is a row of findings.parquet.
type Finding struct {
	Seal        string   `parquet:"seal"`
	ID          string   `parquet:"id"`
	Kind        string   `parquet:"kind"`
	Severity    string   `parquet:"severity"`
	StartS      float64  `parquet:"start_s"`
	EndS        float64  `parquet:"end_s"`
	Occurrences int32    `parquet:"occurrences"`
	CostS       *float64 `parquet:"cost_s,optional"`
	CostPoints  *float64 `parquet:"cost_points,optional"`
	Confidence  float64  `parquet:"confidence"`
	Title       string   `parquet:"title"`
	Because     string   `parquet:"because"`
}

func findingRows(r *schemas.Report) []Finding {
	out := make([]Finding, len(r.Findings))
	for i, f := range r.Findings {
		out[i] = Finding{
			Seal: r.From.Seal, ID: f.ID, Kind: f.Kind, Severity: f.Severity, StartS: f.StartS, EndS: f.EndS,
			Occurrences: int32(len(f.Spans)), CostS: f.CostS, CostPoints: f.CostPoints, Confidence: f.Confidence, Title: f.Title, Because: f.Because,
		}
	}
	return out
}
