package power

// Config is how the supply is judged. Thresholds of batteries are for a 12 V sealed
// lead-acid battery; another kind needs its own.
type Config struct {
	// A silence is a gap when longer than both GapSteps usual steps of its signal and GapS
	// seconds. Chosen by us: a late sample is none, a lost second is.
	GapSteps float64
	GapS     float64

	// A step of the load is measured from the readings of AverageS seconds before it to
	// those after it, leaving out HalfGapS on either side for the step itself, the sensor's
	// lag and its smoothing. Where the sensors are slower than that, SlowHalfGapS. All
	// within the 200 ms that keep relaxation small. Chosen by us.
	AverageS, HalfGapS, SlowHalfGapS float64
	// SlowTimes is how many time constants of a current sensor that smooths are left out. By
	// then what the times of the readings leave unknown of the step has died away.
	SlowTimes float64
	// RelaxS is the time constant of the relaxation that is taken out of a step. The result
	// hardly depends on it, for a step is short. Chosen by us: between the tenth of a second
	// that still counts as resistance and the seconds of a battery's relaxation.
	RelaxS float64
	// FastestS is the fastest relaxation of the size of the resistance itself: what is faster
	// counts as resistance.
	FastestS float64

	// LevelsS are stretches in which voltage by current tells at the least the resistance;
	// steps that tell more than BeyondLevels times that measure something else. Chosen by us.
	LevelsS, BeyondLevels float64
	// LagS is the largest lag between the two sensors that is looked for. Chosen by us.
	LagS float64
	// A current sensor is believed to be late or slow when the voltage leaves more than
	// ToldEnough of the current's changes untold, and BetterFit of that goes with it. Chosen
	// by us.
	BetterFit, ToldEnough float64
	// And only when it leaves less than MostUntold of them: what is not told then is no
	// matter of time, a contact that jumps above all. Chosen by us: a third.
	MostUntold float64
	AnswerS    float64 // over which changes are compared for that. Chosen by us
	// LongestStepS is the slowest sampling that still shows a step of the load: past it
	// relaxation cannot be told from resistance.
	LongestStepS float64

	// Excitation: a step counts from NoiseTimes the current's noise on, and from LargeShare
	// of the match's large steps (their 99 % point); fewer than LeastSteps separate events,
	// or none, and the resistance is refused. Chosen by us: 5 and 5.
	NoiseTimes float64
	LargeShare float64
	LeastSteps int
	// WidestPart is the half width of the resistance's 95 % interval, as a part of it, from which
	// on it is not told: it would not tell a worn battery from a sound one, which differ by two.
	WidestPart float64
	EventS     float64 // steps nearer than this belong to one event of the load
	// SmoothedPart is by how much the resistance must fall from the shorter gap to the
	// longer for the current's sensor to be taken as a slow one. Chosen by us.
	SmoothedPart float64
	// ModelError is the part of the resistance, as a standard error, that timing,
	// relaxation and the sensors' scale may leave in it whatever the number of steps.
	// ApartError is added to it when voltage and current were read at different times, for
	// each second of the faster one's step. OpenErrorV is the like of the open-circuit
	// voltage. Chosen by us on synthetic batteries of other relaxation, lag and sampling
	// than assumed here; the sensors' scale is common practice.
	// RelaxError is that of what relaxation adds to a longer load, as a part of it.
	ModelError, ApartError, OpenErrorV, RelaxError float64
	Resamples                                      int // of the block bootstrap

	// The whole current is compared with its branches in means over ScaleS seconds, unless
	// their changes leave more than the part ScaleLeft of its own. Chosen by us: sensors of
	// power boards are right to some per cent.
	ScaleS, ScaleLeft float64
	// Scales that would have to lie further apart than ScaleApart are not what is wrong. Chosen by us.
	ScaleApart float64

	// The resistance from moment to moment is told from LocalA amperes on, where the noise of
	// a reading and what relaxation leaves are a thousandth of an ohm or two. With fewer than
	// LocalReadings it is not looked at. A connection is loose when the resistance spreads
	// over more than JumpOhm from its lowest to its highest tenth, and over half of that in
	// its middle half; LooseError is the standard error that its mean has besides, for the
	// moments without load. Chosen by us: a good crimp has less than 0.001 ohm.
	LocalA        float64
	LocalReadings int
	// TightestOhm is what a lug that came loose takes even at its best, more than a good crimp.
	JumpOhm, LooseError, TightestOhm float64
	// JumpsPerS is how often it changes by half of JumpOhm from one moment to the next, at least,
	// while there is a load. Chosen by us: a robot that drives shakes a lug every few seconds.
	JumpsPerS float64
	// Or it is over twice its middle, and over that by twice JumpOhm, at LooseTimes times a
	// second and more apart, for LooseReadings each. Chosen by us.
	LooseTimes, LooseReadings int

	// The resistance depends on the current when it differs by the part CurvedPart between
	// low currents and high ones, and the bend is CurvedTimes its standard error: real cells
	// bend, and so does relaxation that was not taken out whole. Chosen by us.
	CurvedPart, CurvedTimes float64

	// True rest: RestS seconds at the log's beginning with the robot disabled, no more than
	// RestA amperes (the controller's own draw) and, over its last SettledS seconds, a drift
	// under RestDriftVS volts a second. Chosen by us.
	RestS, RestA, SettledS, RestDriftVS float64

	// What a healthy battery with its wiring does, common practice for 12 V sealed
	// lead-acid of about 18 Ah: 0.012 to 0.025 ohm, and 12.4 V without load. Under LowRestV
	// at rest it is half empty at best, under ChargedV by the load line, in mid-match, it was not
	// charged (makers' tables of resting voltage: 12.6 V for three quarters, 12.3 V for half,
	// 12.0 V for a quarter).
	HealthyOhm float64
	// SoundOhm and SoundV are the sound battery that a dip is held against: the middle of
	// that, and the resting voltage of a full one (1.28 specific gravity plus 0.84, six
	// times: the trade's rule) less what half a match takes. Earlier matches of the robot
	// tell a better SoundOhm, within LeastOhm to HealthyOhm.
	SoundOhm, SoundV, LeastOhm float64
	LowRestV, ChargedV         float64
	// These batteries are the ones the thresholds speak of: their open-circuit voltage.
	LeastOpenV, MostOpenV float64
	// A dip is blamed on a connection when more than LooseV volts of it, and more than
	// LooseShare of what the resistance explains, go beyond the load line. Chosen by us.
	LooseV, LooseShare float64
	// ShiftMatters is the change of a share, by a shift of one sample between voltage and
	// current, from which on it is said. Chosen by us.
	ShiftMatters float64
}

// DefaultConfig is the configuration used unless a caller knows better.
func DefaultConfig() Config {
	return Config{
		GapSteps: 3, GapS: 0.2,
		AverageS: 0.015, HalfGapS: 0.02, SlowHalfGapS: 0.04, SlowTimes: 2,
		RelaxS: 0.5, FastestS: 0.1, LevelsS: 10, BeyondLevels: 1.5, LagS: 0.1, BetterFit: 0.1, ToldEnough: 0.01, MostUntold: 1.0 / 3, AnswerS: 0.1, LongestStepS: 0.1,
		NoiseTimes: 5, LargeShare: 0.1, LeastSteps: 5, WidestPart: 0.5, EventS: 0.3, SmoothedPart: 0.02, ModelError: 0.0075, ApartError: 0.5, OpenErrorV: 0.02, RelaxError: 0.05, Resamples: 200,
		ScaleS: 0.25, ScaleLeft: 0.08, ScaleApart: 0.1,
		CurvedPart: 0.15, CurvedTimes: 5, LocalA: 25, LocalReadings: 20, JumpOhm: 0.008, LooseError: 0.1, TightestOhm: 0.003, JumpsPerS: 1.0 / 3, LooseTimes: 3, LooseReadings: 3,
		RestS: 3, RestA: 5, SettledS: 10, RestDriftVS: 0.003,
		HealthyOhm: 0.025, SoundOhm: 0.0185, SoundV: 12.65, LeastOhm: 0.012, LowRestV: 12.2, ChargedV: 12.45, LeastOpenV: 9, MostOpenV: 15,
		LooseV: 0.7, LooseShare: 0.5, ShiftMatters: 0.05,
	}
}
