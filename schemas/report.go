package schemas

import (
	"math"
	"slices"
)

// ReportVersion is the value of Report.Report this program writes.
const ReportVersion = 1

// Report is everything concluded about one match: report.json. Times are log time in
// seconds. A pointer is nil (JSON null) when the value could not be found out; arrays are
// never null (Finish sees to that). The JSON Schema beside this file says the same and a
// test holds the two together.
type Report struct {
	Report        int           `json:"report"`
	From          From          `json:"from"`
	Match         Match         `json:"match"`
	Verdict       Verdict       `json:"verdict"`
	Analyses      []Analysis    `json:"analyses"`
	Quality       Quality       `json:"quality"`
	Findings      []Finding     `json:"findings"`
	Passes        []Pass        `json:"passes"`
	Stages        []StageSum    `json:"stages"`
	Jams          []Jam         `json:"jams"`
	SuspectedJams []Jam         `json:"suspected_jams"`
	Brownouts     []Brownout    `json:"brownouts"`
	Battery       Battery       `json:"battery"`
	StandbyDraws  []StandbyDraw `json:"standby_draws"`
	Cycles        []Cycle       `json:"cycles"`
	Usual         Usual         `json:"usual"`
	Placing       *Placing      `json:"placing"`
	Balances      []Balance     `json:"balances"`
	Moves         []Move        `json:"moves"`
	Mechanisms    []Mechanism   `json:"mechanisms"`
	Motors        []Motor       `json:"motors"`
	Autonomous    Autonomous    `json:"autonomous"`
	Unknowns      []Unknown     `json:"unknowns"`
	Mended        []Mended      `json:"mended"`
}

// From says which program, profile and samples a report was made of.
type From struct {
	Afterbell     string `json:"afterbell"`
	ProfileSHA256 string `json:"profile_sha256"`
	SignalsSHA256 string `json:"signals_sha256"`
	Seal          string `json:"seal,omitempty"`      // the seal number all files of a stored match carry
	StoredAt      string `json:"stored_at,omitempty"` // RFC 3339, when the match was first stored
}

// Match names the match and when its periods ran.
type Match struct {
	Season  string   `json:"season"`
	Event   string   `json:"event"`
	Match   string   `json:"match"`
	Robot   string   `json:"robot"`
	At      *string  `json:"at"` // RFC 3339, wall clock of the match's start, when known
	StartS  float64  `json:"start_s"`
	EndS    float64  `json:"end_s"`
	Periods []Period `json:"periods"`
	// Game is the profile's game section as far as pages need it to name things.
	Game Game `json:"game"`
	// CutFrom says which match this is a stretch of; nil for a whole one. A stretch is no part of
	// the robot's past, nor of a season's rates.
	CutFrom *CutFrom `json:"cut_from"`
}

// CutFrom is the match that a stretch was cut from, and what its sheet said there.
type CutFrom struct {
	Season   string    `json:"season"`
	Event    string    `json:"event"`
	Match    string    `json:"match"`
	FromS    float64   `json:"from_s"` // log time
	ToS      float64   `json:"to_s"`
	Finding  string    `json:"finding"`  // id of the finding it was cut for, may be empty
	Findings []Finding `json:"findings"` // of the whole match, in that stretch
}

// Game is the profile's game section as pages need it; lengths are zero where it says nothing.
type Game struct {
	Name        string  `json:"name"`
	AutonomousS float64 `json:"autonomous_s"`
	DriverS     float64 `json:"driver_s"`
	EndgameS    float64 `json:"endgame_s"`
	Piece       string  `json:"piece"` // what this game calls a piece, pieces and the platform
	Pieces      string  `json:"pieces"`
	Platform    string  `json:"platform"`
}

// Names of periods and modes.
const (
	PeriodAutonomous = "autonomous"
	PeriodDriver     = "driver"
	ModeDisabled     = "disabled"
)

// Period is one stretch of a match in which the robot was enabled in one mode.
type Period struct {
	Name   string  `json:"name"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// EnabledUntil is until when a robot that is enabled at atS stays so without a break, s, by the
// periods in the order of time: one may pass into the next. It is atS where none holds then.
func EnabledUntil(periods []Period, atS float64) float64 {
	for _, p := range periods {
		if p.StartS <= atS {
			atS = max(atS, p.EndS)
		}
	}
	return atS
}

// Severities, worst first.
const (
	SeverityStop  = "stop"
	SeverityFix   = "fix"
	SeverityWatch = "watch"
	SeverityNone  = "none"
)

// SeverityRank orders severities: 0 for stop, larger for milder.
func SeverityRank(s string) int {
	switch s {
	case SeverityStop:
		return 0
	case SeverityFix:
		return 1
	case SeverityWatch:
		return 2
	default:
		return 3
	}
}

// Verdict is the sheet's first sentence.
type Verdict struct {
	Severity string `json:"severity"`
	Text     string `json:"text"`
	Detail   string `json:"detail"` // the line below it
}

// Analysis says whether one analysis could look at this log, and if not, for want of what.
type Analysis struct {
	Name    string   `json:"name"`
	Ran     bool     `json:"ran"`
	Missing []string `json:"missing"`
	Reason  string   `json:"reason"`
}

// Quality is what the log itself is worth.
type Quality struct {
	Samples int      `json:"samples"`
	Signals int      `json:"signals"`
	Missing []string `json:"missing"` // mapped in the profile, not in the log
	Gaps    []Gap    `json:"gaps"`
	Faults  []Fault  `json:"faults"` // stretches where a signal is there but cannot be true
	Notes   []string `json:"notes"`
}

// Gap is a stretch in which a signal that usually comes at a steady rate did not.
// Signal is empty when nothing at all came.
type Gap struct {
	Signal string  `json:"signal"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Fault is a stretch in which a signal misbehaved: "dead" (never moved all match although
// its kind does), "frozen" (stopped moving), "drop-out" (said 0 in place of a reading),
// "outlier" (left the range of its own past), "no reading" (NaN or infinite); of a beam
// "stuck true", "stuck false" and "flicker"; "misread" (the profile reads it in a way that no
// robot explains); and "zero off" (a current that is read where none flows).
type Fault struct {
	Signal string  `json:"signal"`
	Kind   string  `json:"kind"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	Note   string  `json:"note"`
	// Confidence is the probability that it is one; null where it was not reckoned.
	Confidence *float64 `json:"confidence"`
}

// FaultMisread is the kind of a signal that the profile reads wrongly.
const FaultMisread = "misread"

// FaultZero is the kind of a current's sensor that does not read 0 where nothing flows.
const FaultZero = "zero off"

// Finding is one thing worth a person's attention, with its evidence.
type Finding struct {
	ID         string     `json:"id"` // kind-place-n
	Kind       string     `json:"kind"`
	Severity   string     `json:"severity"`
	StartS     float64    `json:"start_s"`
	EndS       float64    `json:"end_s"`
	Title      string     `json:"title"`
	Short      string     `json:"short"` // two or three words for a pin
	Because    string     `json:"because"`
	CostS      *float64   `json:"cost_s"`      // seconds of scoring lost
	CostPoints *float64   `json:"cost_points"` // and the points these are worth, where the profile says
	Confidence float64    `json:"confidence"`
	Spans      []Span     `json:"spans"` // every occurrence it speaks of, in order of time
	Numbers    []Number   `json:"numbers"`
	Evidence   []Evidence `json:"evidence"`
	Check      []string   `json:"check"`
	Caution    []string   `json:"caution"`
}

// Span is a stretch of log time.
type Span struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
}

// Number is a measured value with what is usual beside it.
type Number struct {
	Name  string   `json:"name"`
	Value *float64 `json:"value"`
	Unit  string   `json:"unit"`
	Usual *float64 `json:"usual"`
}

// Evidence points at the stretch of a signal that shows a finding.
type Evidence struct {
	Signal string  `json:"signal"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	Note   string  `json:"note"`
}

// Outcomes of a pass.
const (
	PassReleased  = "released"
	PassBackedOut = "backed_out"
	PassJammed    = "jammed"
	PassHeld      = "held"
)

// Pass is one piece going through the path.
type Pass struct {
	Piece   int         `json:"piece"`
	EnterS  *float64    `json:"enter_s"`
	LeaveS  *float64    `json:"leave_s"`
	Outcome string      `json:"outcome"`
	Counted *bool       `json:"counted"` // a score or a hand-over accounts for it; nil when not released, or nothing tells
	Stages  []StagePass `json:"stages"`
}

// StagePass is a piece at one stage: seen at its sensor, or estimated where it has none.
type StagePass struct {
	Stage     string   `json:"stage"`
	EnterS    *float64 `json:"enter_s"`
	LeaveS    *float64 `json:"leave_s"`
	EnterEstS *float64 `json:"enter_est_s"`
	LeaveEstS *float64 `json:"leave_est_s"`
}

// StageSum is one stage over the match: how long undisturbed passes took and how many jammed.
type StageSum struct {
	Stage       string   `json:"stage"`
	Sensor      bool     `json:"sensor"`
	TransitS    *float64 `json:"transit_s"` // median of today's undisturbed passes
	UsualS      *float64 `json:"usual_s"`
	UsualLowS   *float64 `json:"usual_low_s"` // 10 % and 90 % of the usual
	UsualHighS  *float64 `json:"usual_high_s"`
	Passes      int      `json:"passes"`
	Jams        int      `json:"jams"`
	UsualPasses int      `json:"usual_passes"` // passes the usual rests on
}

// Jam is a piece that stopped making progress although its stage was driven.
type Jam struct {
	Stage      string    `json:"stage"`
	StartS     float64   `json:"start_s"`
	EndS       float64   `json:"end_s"`
	Cleared    bool      `json:"cleared"`
	Confidence float64   `json:"confidence"`
	How        string    `json:"how"`   // one of the words below, empty when not cleared
	Cause      string    `json:"cause"` // one of the words below, or empty
	Piece      *int      `json:"piece"`
	StillS     *float64  `json:"still_s"` // when the roller stood still, with a speed signal
	PeakA      *float64  `json:"peak_a"`  // largest stage current while it stood
	OnsetLowS  *float64  `json:"onset_low_s"`
	OnsetHighS *float64  `json:"onset_high_s"`
	Reversals  int       `json:"reversals"` // times the driver reversed the stage meanwhile
	Weighed    []Weighed `json:"weighed"`   // the evidence, for and against
	// What it cost; nil for a jam that is only suspected, or where the log does not tell. The
	// low and high ends are nil where the cost is only "about" that.
	CostS          *float64 `json:"cost_s"` // seconds of scoring
	CostLowS       *float64 `json:"cost_low_s"`
	CostHighS      *float64 `json:"cost_high_s"`
	CostPoints     *float64 `json:"cost_points"`
	CostPointsLow  *float64 `json:"cost_points_low"`
	CostPointsHigh *float64 `json:"cost_points_high"`
	CostHow        string   `json:"cost_how"` // how the cost was reckoned
	Before         []Number `json:"before"`   // just before it started, with what is usual in good passes
	Common         []Common `json:"common"`   // what all jams of this stage share and good passes do not
	Links          []Link   `json:"links"`    // other events that made it, or that it made
}

// Common is one thing in which the jams of a stage differ from its good passes by more than
// chance, or from every good pass. It is the same for all jams of the stage.
type Common struct {
	What   string   `json:"what"`
	Value  *float64 `json:"value"` // median of the jams
	Unit   string   `json:"unit"`
	Usual  *float64 `json:"usual"`  // median of the good passes
	Jams   int      `json:"jams"`   // jams and good passes in which it could be measured
	Passes int      `json:"passes"` // good passes
	Beyond int      `json:"beyond"` // good passes that lie on the usual side of every jam
	P      float64  `json:"p"`      // rank-sum probability times the number of things compared, at most 1
	Text   string   `json:"text"`
}

// Kinds of a link: what a jam has to do with another event.
const (
	LinkSag   = "sag"        // a sag of the supply slowed the roller that jammed
	LinkCycle = "slow_cycle" // the jam made a cycle slow
	LinkDip   = "brownout"   // a brownout fell within the jam
)

// Link ties a jam to another event of the match. To names the event in the report, such as
// "cycles[4]"; it is empty for a sag that no list holds.
type Link struct {
	Kind   string  `json:"kind"`
	Role   string  `json:"role"` // "cause" of the jam or its "effect"
	To     string  `json:"to"`
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	Text   string  `json:"text"`
}

// How a jam ended.
const (
	JamMovedOn   = "moved_on"
	JamBackedOut = "backed_out"
	JamTakenOut  = "taken_out"
)

// What a jam looked like.
const (
	JamLocked       = "locked"
	JamSlipping     = "slipping"
	JamBetweenBeams = "between_beams"
	JamAtGate       = "at_gate"
	JamWedgedPair   = "wedged_pair"
)

// Weighed is one piece of evidence in the balance: log-odds in favour of the conclusion.
type Weighed struct {
	Kind    string  `json:"kind"` // one of the Weighed words
	What    string  `json:"what"`
	LogOdds float64 `json:"log_odds"`
}

// What kind of evidence an item is.
const (
	WeighedPrior      = "prior"          // what is believed before looking
	WeighedTime       = "time"           // how long it took
	WeighedMotor      = "motor"          // what the motor did
	WeighedReversed   = "reversed"       // the driver drove the stage back
	WeighedNoReversal = "no_reversal"    // nobody did, for long
	WeighedLent       = "command_lent"   // the stage's command is not logged, a neighbour's was taken
	WeighedUnlogged   = "command_none"   // nor any other
	WeighedQueue      = "queue"          // a piece ahead was in the way
	WeighedBeam       = "beam"           // the beam is not to be trusted
	WeighedBeamFault  = "beam_fault"     // the beam showed a piece that had gone
	WeighedBeamStill  = "beam_unchanged" // the beam never changed
	WeighedDrivenBack = "driven_back"    // it had been driven back before
	WeighedPassed     = "passed"         // a later piece passed it
	WeighedUncounted  = "uncounted"      // only the count of releases is missing
	WeighedUnreleased = "unreleased"     // nothing was released: what releases is not known
	WeighedReleased   = "released"       // it was counted as released
	WeighedUnseen     = "unseen"         // it may have left unseen
	WeighedDoubt      = "doubt"          // it may not have stood there at all
	WeighedGap        = "gap"            // the log has a gap in it
	WeighedPiece      = "piece"          // a piece was there, or none was seen to be
	WeighedJams       = "jams"           // jams took part of the time
	WeighedLoss       = "loss"           // what was seen to be lost
)

// Brownout is a dip of the supply under the controller's cut-off.
type Brownout struct {
	StartS      float64  `json:"start_s"`
	EndS        *float64 `json:"end_s"` // null if the log ends first
	MinV        float64  `json:"min_v"`
	MinAtS      float64  `json:"min_at_s"`
	VoltSeconds float64  `json:"volt_seconds"` // area under enter_v
	Branches    []Share  `json:"branches"`
	OtherShare  *float64 `json:"other_share"` // not in measured branches; nil also where these and the whole were read apart
	CurrentA    *float64 `json:"current_a"`   // whole current over the dip
	Period      string   `json:"period"`
	ShareShift  *float64 `json:"share_shift"`  // by how much a share changes at most when currents are read a sample earlier or later
	ResolutionS *float64 `json:"resolution_s"` // usual time between readings of the voltage: what is shorter may be missed
	UnseenS     float64  `json:"unseen_s"`     // in it, and just before its first sample, for which the voltage was not read
	Length      string   `json:"length"`       // the word of IEEE 1159 for how long it lasted, or empty
	Cause       string   `json:"cause"`        // weak_battery, bad_connection, overload, or empty
}

// What Brownout.Length says, after IEEE 1159-2019 at 60 Hz: up to half a cycle, to 30 cycles,
// to 3 s, to a minute, and longer.
const (
	LengthTransient     = "transient"
	LengthInstantaneous = "instantaneous"
	LengthMomentary     = "momentary"
	LengthTemporary     = "temporary"
	LengthLong          = "long"
)

// Share is one branch's part of the whole current over a dip, 0 to 1.
type Share struct {
	Name       string   `json:"name"`
	Share      float64  `json:"share"`
	ShortfallV *float64 `json:"shortfall_v"` // its fair part of how far the voltage fell under enter_v
	Necessary  string   `json:"necessary"`   // whether the dip took this branch: yes, no, or empty when the log cannot tell
	LimitA     *float64 `json:"limit_a"`     // the highest limit on this branch alone that would have prevented it, with 95 % probability
}

// What Share.Necessary says.
const (
	NecessaryYes     = "yes"
	NecessaryNo      = "no"
	NecessaryUnknown = ""
)

// StandbyDraw is a branch that drew current while the robot was disabled.
type StandbyDraw struct {
	Branch  string  `json:"branch"`
	Signal  string  `json:"signal"`
	StartS  float64 `json:"start_s"`
	EndS    float64 `json:"end_s"`
	MedianA float64 `json:"median_a"`
}

// Battery is what the load told about the battery.
type Battery struct {
	ID                 string   `json:"id"`
	RestV              *float64 `json:"rest_v"`
	RestChargeLow      *float64 `json:"rest_charge_low"` // how full rest_v says it was, 0 to 1, at least
	RestChargeHigh     *float64 `json:"rest_charge_high"`
	OpenCircuitV       *float64 `json:"open_circuit_v"`
	OpenCircuitLowV    *float64 `json:"open_circuit_low_v"`
	OpenCircuitHighV   *float64 `json:"open_circuit_high_v"`
	ResistanceOhm      *float64 `json:"resistance_ohm"`
	ResistanceLowOhm   *float64 `json:"resistance_low_ohm"`
	ResistanceHighOhm  *float64 `json:"resistance_high_ohm"`
	LooseLowOhm        *float64 `json:"loose_low_ohm"` // between which it jumps, as a loose connection makes it
	LooseHighOhm       *float64 `json:"loose_high_ohm"`
	Resistance1sOhm    *float64 `json:"resistance_1s_ohm"` // to a load that has been on for a second
	Resistance1sLowOhm *float64 `json:"resistance_1s_low_ohm"`

	Resistance1sHighOhm *float64 `json:"resistance_1s_high_ohm"`
	EnergyWh            *float64 `json:"energy_wh"`
	ChargeAh            *float64 `json:"charge_ah"`
	LowestV             *float64 `json:"lowest_v"`
	LowestAtS           *float64 `json:"lowest_at_s"`
	BrownoutA           *float64 `json:"brownout_a"` // where the load line meets enter_v
	BrownoutLowA        *float64 `json:"brownout_low_a"`
	BrownoutHighA       *float64 `json:"brownout_high_a"`
	LoadTestA           *float64 `json:"load_test_a"` // that would leave 9.6 V after 15 s
	LoadTestLowA        *float64 `json:"load_test_low_a"`
	PeakA               *float64 `json:"peak_a"`
	Reason              string   `json:"reason"` // why the resistance could not be told
	UsualResistanceOhm  *float64 `json:"usual_resistance_ohm"`
}

// What ended a cycle.
const (
	CycleScore    = "score"
	CycleHandover = "handover"
)

// Cycle is the time from one score to the next.
type Cycle struct {
	Kind      string   `json:"kind"`
	Pieces    int      `json:"pieces"`
	Period    string   `json:"period"`
	StartS    float64  `json:"start_s"`
	EndS      float64  `json:"end_s"`
	DurationS float64  `json:"duration_s"`
	Complete  bool     `json:"complete"`
	Slow      bool     `json:"slow"`
	Why       *string  `json:"why"`
	Phases    Phases   `json:"phases"`
	Pickup    string   `json:"pickup"` // the zone the piece was taken in, empty where that is not known
	Goal      string   `json:"goal"`   // the zone it was scored from
	WayM      *float64 `json:"way_m"`  // straight metres from the goal to the piece and back
	P         *float64 `json:"p"`      // chance that a usual cycle takes this long
	ExcessS   *float64 `json:"excess_s"`
	// PhaseP is the chance that each phase of a usual cycle takes as long as it did here.
	PhaseP PhaseChances `json:"phase_p"`
	// LostS is the time the robot was seen not to get on with its job beyond what happens on
	// every trip; nil when nothing shows it.
	LostS *float64 `json:"lost_s"`
	// Confidence that the cycle lost enough to be called slow; nil when it was not judged.
	Confidence *float64 `json:"confidence"`
	// Events are what was seen to cost time in a slow cycle, in order of their starts.
	Events []CycleEvent `json:"events"`
	// Align is how the robot lined up to place; nil where it was not seen to.
	Align *Align `json:"align"`
}

// Align is how a robot lined up to place a piece, by its distance from the aiming point.
type Align struct {
	ArrivedM    *float64 `json:"arrived_m"`   // how far off it was when it first came to a stop or turned
	Corrections *int     `json:"corrections"` // how often it moved nearer again after that
	AlignS      *float64 `json:"align_s"`     // from its entry into the goal zone, or when it saw its target, until it was near enough to stay
	PlacedM     *float64 `json:"placed_m"`    // how far off it was when the piece left
	Assisted    *bool    `json:"assisted"`    // whether the robot steered itself at the end of it; nil where nothing tells
}

// Placing is how lining up to place went over this match and the earlier ones the usual cycle
// may rest on, in the driver period.
type Placing struct {
	Cycles      int      `json:"cycles"`      // in which it was seen
	Matches     int      `json:"matches"`     // they lie in
	ArrivedM    *float64 `json:"arrived_m"`   // median
	Corrections *float64 `json:"corrections"` // mean
	AlignS      *float64 `json:"align_s"`     // median
	Assisted    int      `json:"assisted"`    // approaches in which the robot steered itself, of those whose align_s is known
	HandDriven  int      `json:"hand_driven"`
	// DifferenceS is by how many seconds the assisted approaches took longer (less: quicker) than
	// the hand-driven ones, by Hodges and Lehmann, with its 95 % interval; all nil with too few.
	DifferenceS *float64 `json:"difference_s"`
	LowS        *float64 `json:"low_s"`
	HighS       *float64 `json:"high_s"`
	Quicker     string   `json:"quicker"` // assisted, hand_driven, or empty when the log cannot tell
}

// What Placing.Quicker says.
const (
	QuickerAssisted = "assisted"
	QuickerByHand   = "hand_driven"
	QuickerUnknown  = ""
)

// CycleEvent is one thing that cost time in a cycle.
type CycleEvent struct {
	What   string  `json:"what"`  // jam, brownout, stood, blocked, missed_pickup, lined_up_again or piece_uncounted
	Phase  string  `json:"phase"` // return, collect, carry or place; empty where not known
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	Times  int     `json:"times"` // how often; 0 where it is not counted
}

// Phases of a cycle; nil where they cannot be told.
type Phases struct {
	ReturnS  *float64 `json:"return_s"`
	CollectS *float64 `json:"collect_s"`
	CarryS   *float64 `json:"carry_s"`
	PlaceS   *float64 `json:"place_s"`
}

// PhaseChances are chances by phase; nil where they cannot be told.
type PhaseChances struct {
	Return  *float64 `json:"return"`
	Collect *float64 `json:"collect"`
	Carry   *float64 `json:"carry"`
	Place   *float64 `json:"place"`
}

// Usual is this robot's usual cycle.
type Usual struct {
	CycleS  *float64 `json:"cycle_s"`
	LowS    *float64 `json:"low_s"` // 10 % and 90 %
	HighS   *float64 `json:"high_s"`
	Source  string   `json:"source"` // "matches" or "this match"
	Matches []string `json:"matches"`
	Cycles  int      `json:"cycles"`
	Phases  Phases   `json:"phases"`
}

// Outcomes of a balance attempt.
const (
	BalanceLevel  = "level"
	BalanceLeft   = "left"
	BalanceRanOut = "ran_out"
)

// Balance is one attempt to be level on the platform. Low and high ends hold the truth in 95 of
// 100, where not said otherwise.
type Balance struct {
	StartS       float64  `json:"start_s"`
	EndS         float64  `json:"end_s"`
	Outcome      string   `json:"outcome"`
	SettleS      *float64 `json:"settle_s"`
	SettleLowS   *float64 `json:"settle_low_s"`
	SettleHighS  *float64 `json:"settle_high_s"`
	Overshoots   int      `json:"overshoots"`
	DampingRatio *float64 `json:"damping_ratio"`
	DampingLow   *float64 `json:"damping_low"`
	DampingHigh  *float64 `json:"damping_high"`
	NaturalHz    *float64 `json:"natural_hz"`

	NaturalHzLow  *float64 `json:"natural_hz_low"`
	NaturalHzHigh *float64 `json:"natural_hz_high"`

	ApproachMS   *float64 `json:"approach_m_s"`   // over the half second before the start; null without a pose
	ClimbS       *float64 `json:"climb_s"`        // from the start to where the platform tipped; null when it did not
	CostS        *float64 `json:"cost_s"`         // over what a well-damped loop would have taken
	CostPoints   *float64 `json:"cost_points"`    // those seconds in pieces not scored
	DisturbedAtS *float64 `json:"disturbed_at_s"` // when something else moved the platform; null when not seen, or without a drive command
	LevelledBy   string   `json:"levelled_by"`    // "hand" where the command answers as a person does; empty: not told

	LoopSavesS     *float64 `json:"loop_saves_s"` // what a loop would have saved of an attempt by hand
	LoopSavesLowS  *float64 `json:"loop_saves_low_s"`
	LoopSavesHighS *float64 `json:"loop_saves_high_s"` // 80 of 100

	Diagnosis string        `json:"diagnosis"`
	Advice    string        `json:"advice"`
	Period    string        `json:"period"`
	PeakDeg   float64       `json:"peak_deg"`
	Swings    []Swing       `json:"swings"` // the peaks counted as overshoots
	Model     *BalanceModel `json:"model"`
	Retune    *Retune       `json:"retune"`
}

// Retune is a change of the levelling loop's gains: the proportional gain times GainFactor, that on
// the tilt rate times RateFactor, and on the tilt rate RateS times the new proportional gain besides.
type Retune struct {
	GainFactor  float64  `json:"gain_factor"`
	RateFactor  float64  `json:"rate_factor"`
	RateS       float64  `json:"rate_s"`
	FromTip     bool     `json:"from_tip"`    // only from when the platform tips: up the slope as they are
	DampingNow  float64  `json:"damping_now"` // by the models that tell of the change
	Damping     float64  `json:"damping"`     // to be expected with it
	DampingLow  float64  `json:"damping_low"`
	DampingHigh float64  `json:"damping_high"`
	SettleNowS  *float64 `json:"settle_now_s"` // from the last time at a stop to level for good, by the model
	SettleS     *float64 `json:"settle_s"`     // and with the change
	ClimbMoreS  float64  `json:"climb_more_s"` // that it takes longer up to where the platform tips
	MarginS     *float64 `json:"margin_s"`     // s that such a loop may be later than it is before it swings by itself
}

// Swing is the peak of one excursion past the level band.
type Swing struct {
	AtS  float64 `json:"at_s"`
	Tilt float64 `json:"tilt_deg"`
}

// BalanceModel is tilt(t) = offset + amplitude exp(-zeta w (t-start)) cos(wd (t-start) + phase).
type BalanceModel struct {
	StartS       float64 `json:"start_s"`
	EndS         float64 `json:"end_s"`
	OffsetDeg    float64 `json:"offset_deg"`
	AmplitudeDeg float64 `json:"amplitude_deg"`
	PhaseRad     float64 `json:"phase_rad"`
	WnRadS       float64 `json:"wn_rad_s"`
	Zeta         float64 `json:"zeta"`
	ErrorDeg     float64 `json:"error_deg"` // RMS of the fit
}

// Move is one change of target of an arm or lift.
type Move struct {
	Name      string   `json:"name"`
	StartS    float64  `json:"start_s"`
	EndS      float64  `json:"end_s"`
	From      float64  `json:"from"`
	To        float64  `json:"to"`
	SettleS   *float64 `json:"settle_s"`
	RiseS     *float64 `json:"rise_s"` // from a tenth of the way to nine tenths
	Overshoot float64  `json:"overshoot"`
	Outcome   string   `json:"outcome"` // MoveSettled and so on
	PeakA     *float64 `json:"peak_a"`
	MeanA     *float64 `json:"mean_a"` // over the stroke that rise_s is of

	Swing        string   `json:"swing"` // about the target: damped, steady; empty for none that can be told
	DampingRatio *float64 `json:"damping_ratio"`
	NaturalHz    *float64 `json:"natural_hz"`

	// Slow is slower than moves like it usually are; UsualSettleS is their median, P how often
	// chance alone makes one as slow.
	Slow         bool     `json:"slow"`
	P            *float64 `json:"p"`
	UsualSettleS *float64 `json:"usual_settle_s"`
	UsualCount   int      `json:"usual_count"`
	UsualSource  string   `json:"usual_source"` // matches, this match; empty without
}

// How a move ended.
const (
	MoveSettled    = "settled"
	MoveShort      = "short"      // of its target
	MoveSuperseded = "superseded" // by another before it was there
)

// How a position swung about its target.
const (
	SwingDamped = "damped"
	SwingSteady = "steady"
)

// Where a usual comes from.
const (
	UsualMatches   = "matches"
	UsualThisMatch = "this match"
)

// Mechanism is what the moves of one arm or lift tell together.
type Mechanism struct {
	Name  string   `json:"name"`
	Moves int      `json:"moves"`
	UpA   *float64 `json:"up_a"` // median of mean_a of moves to larger positions
	DownA *float64 `json:"down_a"`
	// WeightA is the part of it that carries the weight, which a counterbalance would spare;
	// FrictionA what either direction takes besides.
	WeightA     *float64 `json:"weight_a"`
	WeightLowA  *float64 `json:"weight_low_a"`
	WeightHighA *float64 `json:"weight_high_a"`
	FrictionA   *float64 `json:"friction_a"`
	Pairs       int      `json:"pairs"`  // moves with the next one back that these rest on
	Reason      string   `json:"reason"` // why weight_a cannot be told although there are pairs
	// Pace is how long its moves took beside those like them in earlier matches, and where
	// a match like those would lie.
	Pace          *float64 `json:"pace"`
	PaceUsualLow  *float64 `json:"pace_usual_low"`
	PaceUsualHigh *float64 `json:"pace_usual_high"`
	PaceMatches   int      `json:"pace_matches"`
	Slower        bool     `json:"slower"`
}

// Which current a motor's signal shows.
const (
	CurrentWinding = "winding" // that in the motor
	CurrentSupply  = "supply"  // that which its controller takes, smaller by the share of the time it is switched on
)

// Motor is one motor over the match, as far as its signals tell: V = I R + K w, with V the
// supply's voltage times the command.
type Motor struct {
	Name               string   `json:"name"`
	Current            string   `json:"current"`        // its signal
	Side               string   `json:"side"`           // winding, supply; empty when the log cannot tell
	ResistanceOhm      *float64 `json:"resistance_ohm"` // of the winding and the wires to where the supply is measured
	ResistanceLowOhm   *float64 `json:"resistance_low_ohm"`
	ResistanceHighOhm  *float64 `json:"resistance_high_ohm"`
	ConstantVS         *float64 `json:"constant_v_s"` // V for each rad/s of its speed signal
	ConstantLowVS      *float64 `json:"constant_low_v_s"`
	ConstantHighVS     *float64 `json:"constant_high_v_s"`
	ResidualA          *float64 `json:"residual_a"` // standard deviation of what that leaves in steady driving
	FreeA              *float64 `json:"free_a"`     // drawn running lightly: a fifth of steady driving takes less
	RestA              *float64 `json:"rest_a"`     // read while it was told to rest and stood
	RmsA               *float64 `json:"rms_a"`      // the steady current that would have warmed it as much, while enabled
	PeakA              *float64 `json:"peak_a"`
	StalledS           *float64 `json:"stalled_s"`
	Stalls             []Stall  `json:"stalls"`    // it stood although driven
	Unpowered          []Stall  `json:"unpowered"` // driven, and neither current nor speed
	Idle               []Stall  `json:"idle"`      // told to rest and standing, and current
	LimitA             *float64 `json:"limit_a"`   // the profile's: what it bears for ever
	TauS               *float64 `json:"tau_s"`     // and how slowly it warms
	Heat               *float64 `json:"heat"`      // most of that limit, 1 is as warm as it may be
	HeatAtS            *float64 `json:"heat_at_s"`
	Twin               string   `json:"twin"`       // the motor it was compared with
	TwinShare          *float64 `json:"twin_share"` // of the current of both when both were told the same
	TwinShareLow       *float64 `json:"twin_share_low"`
	TwinShareHigh      *float64 `json:"twin_share_high"`
	TwinBouts          int      `json:"twin_bouts"`
	UsualResistanceOhm *float64 `json:"usual_resistance_ohm"` // median of earlier matches
	// SpreadResistanceOhm and SpreadFreeA are robust standard deviations of earlier matches.
	SpreadResistanceOhm *float64 `json:"spread_resistance_ohm"`
	UsualFreeA          *float64 `json:"usual_free_a"`
	SpreadFreeA         *float64 `json:"spread_free_a"`
	UsualMatches        int      `json:"usual_matches"`
	Reason              string   `json:"reason"` // why its resistance is not known
}

// Stall is a stretch of a motor with its mean current, in the direction of its command.
type Stall struct {
	StartS float64 `json:"start_s"`
	EndS   float64 `json:"end_s"`
	MeanA  float64 `json:"mean_a"`
}

// Autonomous is what was done in the autonomous period; all nil when there was none.
type Autonomous struct {
	StartS         *float64    `json:"start_s"`
	EndS           *float64    `json:"end_s"`
	Pieces         *int        `json:"pieces"`
	ScoresS        []float64   `json:"scores_s"`
	EndX           *float64    `json:"end_x"`
	EndY           *float64    `json:"end_y"`
	EndHeading     *float64    `json:"end_heading"`
	EndErrorM      *float64    `json:"end_error_m"`       // from the median end of earlier matches
	UsualEndErrorM *float64    `json:"usual_end_error_m"` // median of the same for those matches
	UsualPieces    *float64    `json:"usual_pieces"`
	Track          []TrackedAt `json:"track"` // the driven path, at most some hundred points
}

// TrackedAt is the robot's place at a time.
type TrackedAt struct {
	AtS float64 `json:"at_s"`
	X   float64 `json:"x"`
	Y   float64 `json:"y"`
}

// Unknown is one row of "What this log cannot tell".
type Unknown struct {
	What   string `json:"what"`
	Signal string `json:"signal"` // the signal that would tell
	Shows  string `json:"shows"`  // what the sheet would then show
}

// How a finding of an earlier match stands.
const (
	MendedOpen       = "open"       // not seen since; chance may explain that, or nothing was counted
	MendedConvincing = "convincing" // today chance alone stopped explaining it
	MendedDone       = "done"       // not counted, not seen in some matches, followed no further
	MendedAgain      = "again"      // it happened again today
)

// Mended follows a stop or fix finding of an earlier match until chance alone does not explain
// that it stays away, or it happens again. Matches are named SEASON/EVENT/MATCH.
type Mended struct {
	Finding  string   `json:"finding"` // its id where it was last found
	Kind     string   `json:"kind"`
	Severity string   `json:"severity"`
	StartS   float64  `json:"start_s"` // log time of that match
	What     string   `json:"what"`    // in words, "jams in the lift"
	Last     string   `json:"last"`    // match in which it last happened
	Since    []string `json:"since"`   // matches since that could tell, this one with them
	State    string   `json:"state"`
	// What was counted, "passes", "minutes", "attempts", "moves"; empty where nothing can be.
	Counted      string   `json:"counted"`
	EventsBefore int      `json:"events_before"`
	TrialsBefore float64  `json:"trials_before"`
	From         string   `json:"from"` // the first match before that counts
	EventsToday  int      `json:"events_today"`
	TrialsSince  float64  `json:"trials_since"`
	Suspected    int      `json:"suspected"` // only suspected since
	Rate         *float64 `json:"rate"`      // before, for each trial, with its limits of 95 %
	RateLow      *float64 `json:"rate_low"`
	RateHigh     *float64 `json:"rate_high"`
	SinceUpTo    *float64 `json:"since_up_to"` // the highest rate at which none since is still seen 1 time in 20
	Chance       *float64 `json:"chance"`      // of none since, if nothing had changed
	Text         string   `json:"text"`
}

// Some is a pointer to v, or nil for NaN and infinities: what could not be found out is
// null, never zero.
func Some(v float64) *float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return nil
	}
	return &v
}

// Finish replaces nil slices by empty ones, so that arrays are never null in JSON.
func (r *Report) Finish() {
	fill(&r.Match.Periods)
	fill(&r.Analyses)
	for i := range r.Analyses {
		fill(&r.Analyses[i].Missing)
	}
	fill(&r.Quality.Missing)
	fill(&r.Quality.Gaps)
	fill(&r.Quality.Faults)
	fill(&r.Quality.Notes)
	fillFindings(&r.Findings)
	if c := r.Match.CutFrom; c != nil {
		fillFindings(&c.Findings)
	}
	fill(&r.Passes)
	for i := range r.Passes {
		fill(&r.Passes[i].Stages)
	}
	fill(&r.Stages)
	fill(&r.Jams)
	fill(&r.SuspectedJams)
	for _, jams := range [][]Jam{r.Jams, r.SuspectedJams} {
		for i := range jams {
			fill(&jams[i].Weighed)
			fill(&jams[i].Before)
			fill(&jams[i].Common)
			fill(&jams[i].Links)
		}
	}
	fill(&r.Brownouts)
	for i := range r.Brownouts {
		fill(&r.Brownouts[i].Branches)
	}
	fill(&r.StandbyDraws)
	fill(&r.Cycles)
	for i := range r.Cycles {
		fill(&r.Cycles[i].Events)
	}
	fill(&r.Usual.Matches)
	fill(&r.Balances)
	for i := range r.Balances {
		fill(&r.Balances[i].Swings)
	}
	fill(&r.Moves)
	fill(&r.Mechanisms)
	fill(&r.Motors)
	for i := range r.Motors {
		fill(&r.Motors[i].Stalls)
		fill(&r.Motors[i].Unpowered)
		fill(&r.Motors[i].Idle)
	}
	fill(&r.Autonomous.ScoresS)
	fill(&r.Autonomous.Track)
	fill(&r.Unknowns)
	fill(&r.Mended)
	for i := range r.Mended {
		fill(&r.Mended[i].Since)
	}
}

func fillFindings(findings *[]Finding) {
	fill(findings)
	for i := range *findings {
		f := &(*findings)[i]
		fill(&f.Spans)
		fill(&f.Numbers)
		fill(&f.Evidence)
		fill(&f.Check)
		fill(&f.Caution)
	}
}

func fill[T any](s *[]T) {
	if *s == nil {
		*s = []T{}
	}
}

// Ran is whether an analysis looked at the log.
func (r *Report) Ran(analysis string) bool {
	return slices.ContainsFunc(r.Analyses, func(a Analysis) bool { return a.Name == analysis && a.Ran })
}

// MedianCycleS is the median of the complete scoring cycles of the driver period, s; nil without.
func (r *Report) MedianCycleS() *float64 {
	var all []float64
	for _, c := range r.Cycles {
		if c.Kind == CycleScore && c.Complete && c.Period == PeriodDriver {
			all = append(all, c.DurationS)
		}
	}
	if len(all) == 0 {
		return nil
	}
	slices.Sort(all)
	return Some((all[len(all)/2] + all[(len(all)-1)/2]) / 2)
}
